"""Program files: where they load, what BASIC is in them, where their machine code starts.

``data`` is a whole file: the load address (2 bytes, low byte first), then what lies in memory.
Everything here takes any bytes at all.
"""

import re
from collections.abc import Iterable, Iterator
from typing import NamedTuple

from formats.basic_tokens import PLUS, SYS, BadListing, crunch, expand
from formats.errors import LoadglassError
from formats.petscii import UPPER, Charset
from formats.visible import visible

MEMORY_BYTES = 0x10000
BASIC_START = 0x0801
# Where BASIC starts on the 8-bit home computers that share this BASIC and these drives.
BASIC_STARTS = frozenset({0x0401, BASIC_START, 0x1001, 0x1201, 0x1C01})
# The machine looks for a line's closing 00 with an 8-bit index from the line's link on.
LONGEST_BODY_BYTES = 251
LAST_LINE_NUMBER = 0xFFFF

_LINK_AND_NUMBER_BYTES = 4
_LINE_OF_TEXT = re.compile(r" *+(?P<number>[0-9]++) *+(?P<text>.*)", re.DOTALL)

# A statement's keyword (END to NEW, GO), or an assignment: name, then index or the token "=".
_STATEMENT = re.compile(rb"[ :]*+(?:[\x80-\xa2\xcb]|[A-Z][A-Z0-9 ]*+[$%]?+ *+[(\xb2])")
_NUMBER = rb"\(*+[0-9]++\)*+"
_OPERATOR_OR_FRACTION = rb"[\xaa-\xb3.]|E[0-9+\-\xaa\xab]"
_SYS_OF_SUM = re.compile(
    rb":*+%c(?P<sum>%b(?:\x%02x%b)*+)(?!%b)" % (SYS, _NUMBER, PLUS, _NUMBER, _OPERATOR_OR_FRACTION)
)


class BasicLine(NamedTuple):
    """A line of BASIC; ``str()`` gives it as it is typed."""

    number: int
    text: str

    def __str__(self) -> str:
        return f"{self.number} {self.text}"


def load_address(data: bytes) -> int | None:
    """The address of the first byte loaded; None if the file is too short to say."""
    return int.from_bytes(data[:2], "little") if len(data) >= 2 else None


def end_address(data: bytes) -> int | None:
    """The address of the last byte loaded; past FFFF memory goes on at 0000."""
    start = load_address(data)
    if start is None or len(data) == 2:
        return None
    return (start + len(data) - 3) % MEMORY_BYTES


def wraps(data: bytes) -> bool:
    """Whether the file loads past FFFF."""
    start = load_address(data)
    return start is not None and start + len(data) - 2 > MEMORY_BYTES


def checksum(data: bytes) -> int:
    """The plain sum of the bytes in memory, without the load address."""
    return sum(data[2:])


def is_basic(data: bytes) -> bool:
    """Whether the file is a BASIC program, judged by its first line.

    The line's link is right; or the file loads where some machine's BASIC starts and the line,
    its link false as crunched programs have it, begins with a statement.
    """
    body = _first_body(data)
    if body is None or len(body) > LONGEST_BODY_BYTES:
        return False
    start = int.from_bytes(data[:2], "little")
    link = int.from_bytes(data[2:4], "little")
    if link == start + _LINK_AND_NUMBER_BYTES + len(body) + 1:
        return True
    return start in BASIC_STARTS and _STATEMENT.match(body) is not None


def basic_listing(data: bytes, charset: Charset = UPPER) -> list[BasicLine]:
    """The lines of the BASIC program, in the order of the file.

    Takes the file to be BASIC (ask ``is_basic``). Links are not followed, since crunched programs
    carry false ones; a link whose high byte is 00 ends the program, and so does the end of the
    file, be it in the middle of a line.
    """
    return [BasicLine(number, expand(body, charset)) for number, body in _lines(data)]


def sys_address(data: bytes) -> int | None:
    """The address that the program calls if BASIC is only its stub: ``10 SYS 2064``.

    SYS must be the first statement, and what follows it a number or a sum of numbers, in
    parentheses or not; None for anything that the machine would have to compute.
    """
    body = _first_body(data) if is_basic(data) else None
    if body is None:
        return None
    call = _SYS_OF_SUM.match(body.replace(b" ", b""))
    if call is None or call["sum"].count(b"(") != call["sum"].count(b")"):
        return None
    address = sum(map(int, re.findall(rb"[0-9]+", call["sum"])))
    return address if address < MEMORY_BYTES else None


def describe(data: bytes) -> str:
    """One short line for people on what the file is."""
    start, end = load_address(data), end_address(data)
    if start is None:
        return "too short for a program"
    if end is None:
        return f"a load address, {start:04X}, and nothing to load"
    span = f"{start:04X}–{end:04X}" + (", past FFFF" if wraps(data) else "")
    if not is_basic(data):
        return f"machine code {span}"
    call = sys_address(data)
    if call is not None and (call - start) % MEMORY_BYTES < len(data) - 2:
        return f"BASIC stub, starts machine code at {call} ({call:04X})"
    lines = sum(1 for _ in _lines(data))
    return f"BASIC program, {lines} {'line' if lines == 1 else 'lines'}, {span}"


def tokenise(
    listing: Iterable[str | BasicLine], start: int = BASIC_START, charset: Charset = UPPER
) -> bytes:
    """A program file from lines of text such as ``10 PRINT "AHOI"``, with right links.

    The lines stay in the order given; blank ones are passed over, and so are spaces before a
    line's first statement, as the machine does. Raises ``BadListing``.
    """
    program = bytearray(start.to_bytes(2, "little"))
    for text in map(str, listing):
        if not text.strip():
            continue
        number, body = _typed_line(text.rstrip("\r\n"), charset)
        link = start + len(program) - 2 + _LINK_AND_NUMBER_BYTES + len(body) + 1
        if link + 2 > MEMORY_BYTES:
            raise BadListing(f"BASIC line {number} would lie past the end of memory")
        program += link.to_bytes(2, "little") + number.to_bytes(2, "little") + body + b"\0"
    return bytes(program + b"\0\0")


def _typed_line(text: str, charset: Charset) -> tuple[int, bytes]:
    typed = _LINE_OF_TEXT.match(text)
    # Counted as text first: Python refuses to convert thousands of digits.
    if typed is None or len(typed["number"]) > 5 or int(typed["number"]) > LAST_LINE_NUMBER:
        raise BadListing(
            f"a BASIC line needs a number from 0 to {LAST_LINE_NUMBER} before it, "
            f"and this one has none: '{visible(text[:40])}'"
        )
    number = int(typed["number"])
    try:
        body = crunch(typed["text"], charset)
    except LoadglassError as error:
        raise BadListing(f"BASIC line {number}: {error}") from None
    if len(body) > LONGEST_BODY_BYTES:
        raise BadListing(
            f"BASIC line {number} takes {len(body)} bytes, and no line may take more than "
            f"{LONGEST_BODY_BYTES}: split it"
        )
    return number, body


def _lines(data: bytes) -> Iterator[tuple[int, bytes]]:
    """Number and stored form of each line; the last may be cut off by the end of the file."""
    at = 2
    while at + _LINK_AND_NUMBER_BYTES < len(data) and data[at + 1]:
        end = data.find(0, at + _LINK_AND_NUMBER_BYTES)
        end = end if end >= 0 else len(data)
        yield (
            int.from_bytes(data[at + 2 : at + 4], "little"),
            data[at + _LINK_AND_NUMBER_BYTES : end],
        )
        at = end + 1


def _first_body(data: bytes) -> bytes | None:
    return next((body for _, body in _lines(data)), None)
