"""Runs the samples' BASIC listings: as much of the 8-bit home computer's second BASIC as they use.

From memory of the machine's user guide. It reads the text of a listing, types the answers it is
given, and has a drive with one image in it. What it cannot make out, or what the machine would
refuse, raises BasicError.
"""

import re
from collections.abc import Callable, Iterable, Mapping
from math import floor, sqrt

Value = float | str

ANSWER_LIMIT = 200_000
"""Statements before a program counts as hung."""

TOKEN = re.compile(
    r'\s*(?:(?P<text>"[^"]*"?)|(?P<number>(?:\d+\.?\d*|\.\d+))|(?P<word>[A-Z]+\d?\$?)'
    r"|(?P<sign><=|>=|<>|[-+*/=<>(),;#]))"
)
STRING_OR_COLON = re.compile(r'"[^"]*"?|:')


class BasicError(Exception):
    """What the machine would print with a question mark before it."""


class Stopped(Exception):  # END, or the last line
    pass


class Waiting(Exception):
    """The program asks for one more answer or key than there are."""


class Restarted(Exception):  # LOAD in a program runs it again with its variables
    pass


class Drive:
    """The drive as BASIC programs see it: open channels on one image."""

    def __init__(
        self,
        file: Callable[[str], bytes],
        record_bytes: Mapping[str, int],
        block: Callable[[int, int], bytes],
    ):
        """file: a file's bytes by name, or KeyError. record_bytes: record lengths of REL files."""
        self.file, self.record_bytes, self.block = file, record_bytes, block
        self.channels: dict[int, tuple[str, bytes]] = {}
        self.at: dict[int, int] = {}
        self.loaded: list[str] = []

    def open(self, number: int, name: str) -> None:
        if number in self.channels:
            raise BasicError("FILE OPEN")
        plain = name.removesuffix(",S,R")
        data = b"" if number == 15 or name == "#" else self.file(plain)
        self.channels[number] = (plain, data)
        self.at[number] = 0

    def command(self, text: str) -> None:
        """The commands P (to a record) and U1 (read a block), as sent on channel 15."""
        if text.startswith("P"):
            channel, low, high, place = (ord(c) for c in text[1:5])
            number = channel & 0x0F
            name, _ = self.channels[number]
            record = low + 256 * high - 1
            self.at[number] = record * self.record_bytes[name] + place - 1
        elif text.startswith("U1"):
            number, _, track, sector = (int(part) for part in text[2:].split())
            self.channels[number] = ("#", self.block(track, sector))
            self.at[number] = 0
        else:
            raise BasicError("SYNTAX ERROR of the drive")

    def byte(self, number: int) -> tuple[int, bool]:
        """The next byte, and whether it is the last one."""
        _, data = self.channels[number]
        at = self.at[number]
        self.at[number] += 1
        return data[at], at + 1 >= len(data)


class BasicMachine:
    def __init__(
        self,
        listing: Iterable[str],
        answers: Iterable[str] = (),
        keys: Iterable[str] = (),
        drive: Drive | None = None,
    ):
        """answers: lines typed at INPUT. keys: what each GET finds, "" where no key is down."""
        self.lines: list[tuple[int, list[str]]] = []
        for line in listing:
            number, text = line.split(" ", 1)
            self.lines.append((int(number), split_statements(text)))
        self.places = {number: i for i, (number, _) in enumerate(self.lines)}
        self.answers, self.keys, self.drive = list(answers), list(keys), drive
        self.printed = ""
        self.column = 0
        self.memory: dict[int, int] = {}
        self.called: list[int] = []
        self.jiffies = 0
        self.seed = 1
        self.clear()
        self.restart()

    def clear(self) -> None:
        self.values: dict[str, Value] = {}
        self.arrays: dict[str, list[Value]] = {}

    def restart(self) -> None:
        self.line, self.place = 0, 0
        self.loops: list[tuple[str, float, float, int, int]] = []
        self.returns: list[tuple[int, int]] = []
        self.restore()

    def restore(self) -> None:
        rows = [s[4:].strip() for _, stmts in self.lines for s in stmts if s.startswith("DATA")]
        self.data = [item for row in rows for item in split_items(row)]

    def run(self) -> str:
        """Run to the end, or until an answer or key is wanted that is not there; all it printed."""
        try:
            for _ in range(ANSWER_LIMIT):
                self.step()
        except (Stopped, Waiting):
            return self.printed
        raise BasicError(f"still running at line {self.lines[self.line][0]}")

    def step(self) -> None:
        if self.line >= len(self.lines):
            raise Stopped
        number, statements = self.lines[self.line]
        if self.place >= len(statements):
            self.line, self.place = self.line + 1, 0
            return
        statement = statements[self.place]
        self.place += 1
        try:
            self.do(statement)
        except Restarted:
            self.restart()
        except (BasicError, LookupError, TypeError, ValueError) as error:
            raise BasicError(f"line {number}: {statement}: {error!r}") from error

    def do(self, statement: str) -> None:
        if statement.startswith(("REM", "DATA")) or not statement:
            return
        word = re.match(r"[A-Z]+#?", statement)
        name = word[0] if word else ""
        action = getattr(self, f"do_{name.lower().replace('#', '_file')}", None)
        if action:
            action(statement[len(name) :])
        else:
            reader = Reader(self, statement)
            target = reader.target()
            reader.expect("=")
            self.assign(target, reader.expression())
            reader.end()

    # --- statements -----------------------------------------------------------------------------

    def do_print(self, rest: str) -> None:
        self.write(self.print_list(Reader(self, rest)))

    def print_list(self, reader: "Reader") -> str:
        out, column, newline = "", self.column, True
        while not reader.done:
            newline = True
            if reader.take(";"):
                newline = False
                continue
            if reader.take(","):
                out += " " * (10 - (column + len(out)) % 10)
                newline = False
                continue
            if reader.take("TAB"):
                reader.expect("(")
                to = int(reader.number())
                reader.expect(")")
                out += " " * (to - column - len(out))
                continue
            value = reader.expression()
            out += value if isinstance(value, str) else f"{shown(value)} "
        return out + ("\r" if newline else "")

    def write(self, text: str) -> None:
        for character in text:
            if character == "\r":
                self.column = 0
                self.printed += "\n"
            elif ord(character) >= 32 and ord(character) < 128:
                self.column += 1
                self.printed += character

    def do_print_file(self, rest: str) -> None:
        reader = Reader(self, rest)
        number = int(reader.number())
        reader.expect(",")
        assert number == 15 and self.drive
        column, self.column = self.column, 0
        self.drive.command(self.print_list(reader))
        self.column = column

    def do_input(self, rest: str) -> None:
        reader = Reader(self, rest)
        if reader.peek.startswith('"'):
            self.write(str(reader.expression()))
            reader.expect(";")
        self.write("? ")
        target = reader.target()
        reader.end()
        if not self.answers:
            raise Waiting
        answer = self.answers.pop(0)
        self.write(answer + "\r")
        self.assign(target, answer if target[0].endswith("$") else float(answer))

    def do_input_file(self, rest: str) -> None:
        reader = Reader(self, rest)
        number = int(reader.number())
        assert self.drive
        while reader.take(","):
            target = reader.target()
            text = ""
            if number == 15:
                text = "00"
            else:
                while (code := self.drive.byte(number))[0] != 13:
                    text += chr(code[0])
                self.values["ST"] = 64.0 if code[1] else 0.0
            if len(text) > 80 or set(text) & set(",:"):
                raise BasicError(f"INPUT# cannot take {text!r}")
            self.assign(target, text if target[0].endswith("$") else float(text))

    def do_get(self, rest: str) -> None:
        if not self.keys:
            raise Waiting
        self.assign(Reader(self, rest).target(), self.keys.pop(0))

    def do_get_file(self, rest: str) -> None:
        reader = Reader(self, rest)
        number = int(reader.number())
        reader.expect(",")
        assert self.drive
        code, _ = self.drive.byte(number)
        self.assign(reader.target(), chr(code) if code else "")

    def do_open(self, rest: str) -> None:
        reader = Reader(self, rest)
        numbers = [int(reader.number())]
        name = ""
        while reader.take(","):
            value = reader.expression()
            if isinstance(value, str):
                name = value
            else:
                numbers.append(int(value))
        assert self.drive and numbers[1] == 8
        self.drive.open(numbers[0], name)

    def do_close(self, rest: str) -> None:
        assert self.drive
        del self.drive.channels[int(Reader(self, rest).number())]

    def do_load(self, rest: str) -> None:
        name = Reader(self, rest).expression()
        assert self.drive and isinstance(name, str) and rest.endswith(",8,1")
        self.drive.file(name)
        self.drive.loaded.append(name)
        raise Restarted

    def do_sys(self, rest: str) -> None:
        self.called.append(int(Reader(self, rest).number()))

    def do_poke(self, rest: str) -> None:
        reader = Reader(self, rest)
        address = int(reader.number())
        reader.expect(",")
        value = int(reader.number())
        reader.end()
        if not (0 <= address <= 65535 and 0 <= value <= 255):
            raise BasicError("ILLEGAL QUANTITY")
        self.memory[address] = value

    def do_clr(self, rest: str) -> None:
        self.clear()
        self.restore()

    def do_if(self, rest: str) -> None:
        reader = Reader(self, rest)
        holds = reader.number()
        reader.expect("THEN")
        then = rest[reader.start :].strip()
        if not holds:
            self.line, self.place = self.line + 1, 0
        elif then.isdigit():
            self.go(int(then))
        else:
            self.do(then)

    def do_goto(self, rest: str) -> None:
        self.go(int(rest))

    def do_gosub(self, rest: str) -> None:
        self.returns.append((self.line, self.place))
        self.go(int(rest))

    def do_return(self, rest: str) -> None:
        self.line, self.place = self.returns.pop()

    def do_on(self, rest: str) -> None:
        reader = Reader(self, rest)
        choice = int(reader.number())
        reader.expect("GOTO")
        targets = [int(part) for part in rest[reader.start :].split(",")]
        if 1 <= choice <= len(targets):
            self.go(targets[choice - 1])

    def go(self, number: int) -> None:
        self.line, self.place = self.places[number], 0

    def do_for(self, rest: str) -> None:
        reader = Reader(self, rest)
        name, _ = reader.target()
        reader.expect("=")
        self.values[name] = reader.number()
        reader.expect("TO")
        limit = reader.number()
        step = reader.number() if reader.take("STEP") else 1.0
        reader.end()
        self.loops = [loop for loop in self.loops if loop[0] != name]
        self.loops.append((name, limit, step, self.line, self.place))

    def do_next(self, rest: str) -> None:
        while self.loops and rest.strip() not in ("", self.loops[-1][0]):
            self.loops.pop()
        if not self.loops:
            raise BasicError("NEXT WITHOUT FOR")
        name, limit, step, line, place = self.loops[-1]
        value = self.number_of(name) + step
        self.values[name] = value
        if value <= limit if step > 0 else value >= limit:
            self.line, self.place = line, place
        else:
            self.loops.pop()

    def do_read(self, rest: str) -> None:
        reader = Reader(self, rest)
        while True:
            target = reader.target()
            item = self.data.pop(0)
            self.assign(target, item if target[0].endswith("$") else float(item))
            if not reader.take(","):
                return

    def do_restore(self, rest: str) -> None:
        self.restore()

    def do_dim(self, rest: str) -> None:
        reader = Reader(self, rest)
        while True:
            name, index = reader.target()
            if index is None or name in self.arrays:
                raise BasicError("REDIM'D ARRAY")
            self.arrays[name] = ["" if name.endswith("$") else 0.0] * (index + 1)
            if not reader.take(","):
                return

    def do_end(self, rest: str) -> None:
        raise Stopped

    # --- values ---------------------------------------------------------------------------------

    def assign(self, target: tuple[str, int | None], value: Value) -> None:
        name, index = target
        if isinstance(value, str) != name.endswith("$"):
            raise BasicError("TYPE MISMATCH")
        if index is None:
            self.values[name] = value
        else:
            self.arrays[name][index] = value

    def number_of(self, name: str) -> float:
        value = self.values.get(name, 0.0)
        assert isinstance(value, float)
        return value

    def value(self, name: str) -> Value:
        if name == "TI":
            self.jiffies += 7
            return float(self.jiffies)
        return self.values.get(name, "" if name.endswith("$") else 0.0)

    def random(self) -> float:
        self.seed = self.seed * 1103515245 + 12345 & 0x7FFFFFFF
        return self.seed / 0x80000000


class Reader:
    """Reads expressions from the text of a statement, by the machine's order of operations."""

    def __init__(self, machine: BasicMachine, text: str):
        self.machine, self.text, self.at = machine, text, 0
        self.start = 0
        self.advance()

    def advance(self) -> None:
        self.start = self.at
        rest = self.text[self.at :]
        found = TOKEN.match(rest)
        if found is None and rest.strip():
            raise BasicError(f"SYNTAX at {rest!r}")
        self.peek = found[0].strip() if found else ""
        self.at += found.end() if found else len(rest)

    @property
    def done(self) -> bool:
        return not self.peek

    def take(self, token: str) -> bool:
        if self.peek != token:
            return False
        self.advance()
        return True

    def expect(self, token: str) -> None:
        if not self.take(token):
            raise BasicError(f"SYNTAX: {token} is wanted, {self.peek!r} is there")

    def end(self) -> None:
        if not self.done:
            raise BasicError(f"SYNTAX: {self.peek!r} is left over")

    def target(self) -> tuple[str, int | None]:
        name = self.peek
        if not re.fullmatch(r"[A-Z][A-Z0-9]?\$?", name):
            raise BasicError(f"SYNTAX: {name!r} is no variable")
        self.advance()
        if not self.take("("):
            return name, None
        index = int(self.number())
        self.expect(")")
        return name, index

    def number(self) -> float:
        value = self.expression()
        if isinstance(value, str):
            raise BasicError("TYPE MISMATCH")
        return value

    def expression(self) -> Value:
        value = self.both()
        while self.take("OR"):
            value = float(int(value) | int(self.both()))
        return value

    def both(self) -> Value:
        value = self.comparison()
        while self.take("AND"):
            value = float(int(value) & int(self.comparison()))
        return value

    def comparison(self) -> Value:
        left = self.sum()
        while self.peek in ("=", "<>", "<", ">", "<=", ">="):
            sign = self.peek
            self.advance()
            right = self.sum()
            if isinstance(left, str) != isinstance(right, str):
                raise BasicError("TYPE MISMATCH")
            order = (left > right) - (left < right)  # type: ignore[operator]
            holds = {
                "=": order == 0,
                "<>": order != 0,
                "<": order < 0,
                ">": order > 0,
                "<=": order <= 0,
                ">=": order >= 0,
            }[sign]
            left = -1.0 if holds else 0.0
        return left

    def sum(self) -> Value:
        value = self.product()
        while self.peek in ("+", "-"):
            plus = self.take("+") or not self.take("-")
            other = self.product()
            value = value + other if plus else value - other  # type: ignore[operator]
        return value

    def product(self) -> Value:
        value = self.factor()
        while self.peek in ("*", "/"):
            times = self.take("*") or not self.take("/")
            other = self.factor()
            value = value * other if times else value / other  # type: ignore[operator]
        return value

    def factor(self) -> Value:
        token = self.peek
        if self.take("-"):
            value = self.factor()
            assert isinstance(value, float)
            return -value
        if self.take("("):
            value = self.expression()
            self.expect(")")
            return value
        if token in FUNCTIONS:
            self.advance()
            self.expect("(")
            arguments = [self.expression()]
            while self.take(","):
                arguments.append(self.expression())
            self.expect(")")
            return FUNCTIONS[token](self.machine, *arguments)
        if token[:1] == '"':
            self.advance()
            return token.strip('"')
        if token[:1].isdigit() or token[:1] == ".":
            self.advance()
            return float(token)
        name, index = self.target()
        return self.machine.value(name) if index is None else self.machine.arrays[name][index]


def split_statements(text: str) -> list[str]:
    """The statements of a line; what follows REM, and THEN's statements, stay with theirs."""
    statements, start = [], 0
    for found in STRING_OR_COLON.finditer(text):
        begun = text[start:].lstrip()
        if begun.startswith("REM"):
            break
        if found[0] == ":":
            statements.append(text[start : found.start()].strip())
            start = found.end()
    return [*statements, text[start:].strip()]


def split_items(row: str) -> list[str]:
    return [item.strip('"') for item in re.findall(r'"[^"]*"|[^,]+', row)]


def shown(number: float) -> str:
    """A number as PRINT shows it: a space or the minus, nine digits at the most, no leading 0."""
    digits = f"{abs(number):.9g}"
    digits = digits.removeprefix("0") if digits.startswith("0.") else digits
    return ("-" if number < 0 else " ") + digits


FUNCTIONS: dict[str, Callable[..., Value]] = {
    "INT": lambda _, n: float(floor(n)),
    "ABS": lambda _, n: abs(n),
    "SQR": lambda _, n: sqrt(n),
    "RND": lambda machine, _: machine.random(),
    "PEEK": lambda machine, n: float(machine.memory.get(int(n), 0)),
    "LEN": lambda _, s: float(len(s)),
    "ASC": lambda _, s: float(ord(s[0])),
    "VAL": lambda _, s: float(s or 0),
    "CHR$": lambda _, n: chr(int(n)),
    "STR$": lambda _, n: shown(n),
    "LEFT$": lambda _, s, n: s[: int(n)],
    "RIGHT$": lambda _, s, n: s[-int(n) :],
    "MID$": lambda _, s, at, n=255.0: s[int(at) - 1 : int(at) - 1 + int(n)],
}
