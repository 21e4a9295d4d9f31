"""The line that a person types, run on a machine that does what the handbooks say (from memory)."""

import re

import pytest

from formats.basic_tokens import crunch, expand
from formats.compose import NewFile, compose
from formats.directory import SEQ
from formats.errors import NotReadable
from loadglass.bench.memory_check import LINE_CHARACTERS, memory_check
from loadglass.opened import open_and_audit

VARIABLE_BYTES = 7


class OutOfMemory(Exception):
    """As the machine's BASIC reports it."""


class Machine:
    """So much of the 8-bit home computer's BASIC as the line needs, variables in memory and all."""

    def __init__(self, program: bytes, cartridge: bool) -> None:
        self.ram = bytearray(0x10000)
        self.cartridge = cartridge
        self.top = 0x8000 if cartridge else 0xA000
        start = int.from_bytes(program[:2], "little")
        for address, byte in enumerate(program[2:], start):
            self.ram[address % 0x10000] = byte
        self._point(45, (start + len(program) - 2) % 0x10000)
        self._point(47, self._pointer(45))
        self._point(49, self._pointer(45))
        self.printed: list[float] = []

    def _pointer(self, at: int) -> int:
        return int.from_bytes(self.ram[at : at + 2], "little")

    def _point(self, at: int, address: int) -> None:
        self.ram[at : at + 2] = address.to_bytes(2, "little")

    def peek(self, address: int) -> int:
        if 0xA000 <= address < 0xC000 or address >= 0xE000:
            return 0x60  # ROM
        if 0xD000 <= address < 0xE000:
            return 0xFF  # I/O
        if 0x8000 <= address < 0xA000 and self.cartridge:
            return 0xC3
        return self.ram[address]

    def _place(self, name: str) -> int:
        """Where a variable lies; made behind the others if it is new."""
        for at in range(self._pointer(45), self._pointer(47), VARIABLE_BYTES):
            if self.ram[at : at + 2] == name.encode().ljust(2, b"\0"):
                return at
        at = self._pointer(47)
        if at + VARIABLE_BYTES > self.top:
            raise OutOfMemory
        self.ram[at : at + 2] = name.encode().ljust(2, b"\0")
        for pointer in (47, 49):
            self._point(pointer, at + VARIABLE_BYTES)
        return at

    def _set(self, name: str, value: int) -> None:
        at = self._place(name)
        self.ram[at + 2 : at + 7] = value.to_bytes(5, "big")

    def _get(self, name: str) -> int:
        at = self._place(name)
        return int.from_bytes(self.ram[at + 2 : at + 7], "big")

    def type(self, line: str) -> None:
        statements = line.split(":")
        at, loop = 0, (0, "", 0)
        while at < len(statements):
            statement, at = statements[at], at + 1
            if found := re.fullmatch(r"POKE(\d+),(\d+)", statement):
                self.ram[int(found[1])] = int(found[2])
            elif statement == "CLR":
                self._point(47, self._pointer(45))
                self._point(49, self._pointer(45))
            elif found := re.fullmatch(r"([A-Z])=(\d+)", statement):
                self._set(found[1], int(found[2]))
            elif found := re.fullmatch(r"FOR([A-Z])=(\d+)TO(\d+)", statement):
                self._set(found[1], int(found[2]))
                loop = (at, found[1], int(found[3]))
            elif found := re.fullmatch(r"([A-Z])=\1\+PEEK\(([A-Z])\)", statement):
                self._set(found[1], self._get(found[1]) + self.peek(self._get(found[2])))
            elif statement == "NEXT":
                back, name, last = loop
                self._set(name, self._get(name) + 1)
                if self._get(name) <= last:
                    at = back
            elif found := re.fullmatch(r"PRINT([A-Z])", statement):
                self.printed.append(self._get(found[1]))
            else:
                raise AssertionError(f"not understood: {statement}")


def content(start: int, length: int) -> bytes:
    return start.to_bytes(2, "little") + bytes((37 * i + i // 256 + 1) % 256 for i in range(length))


@pytest.fixture
def check_of(tmp_path):
    def make(data, kind=2):
        path = tmp_path / "pruefung.d64"
        path.write_bytes(compose(b"PRUEFUNG", [NewFile(b"EBBE", data, kind)]))
        return memory_check(open_and_audit(str(path)), 0)

    return make


PROGRAMS = [
    (0x0801, 3000),  # a plain program
    (0x0801, 0x7F00 - 0x0801),  # as long as the simple line takes it
    (0x0801, 0x7F01 - 0x0801),
    (0x0801, 0x97FF),  # up to 9FFF
    (0x0400, 0x0900),  # over the screen
    (0x033C, 0x0600),  # over the tape buffer
    (0x4000, 1),
    (0xC000, 0x1000),
    (0x9F00, 0x0300),  # over the border to ROM
    (0xCF00, 0x3000),  # under I/O and ROM
    (0xFF00, 0x1900),  # past FFFF
]


@pytest.mark.parametrize(("start", "length"), PROGRAMS)
def test_the_typed_line_gives_the_sum(check_of, start, length):
    data = content(start, length)
    check = check_of(data)
    assert check.total == sum(data[2:])
    for part in check.sums:
        machine = Machine(data, cartridge=part.last < 0x8000)
        machine.type(part.line)
        assert machine.printed == [part.total]
        assert part.total == sum(data[2 + part.first - start : 3 + part.last - start])
        assert part.takes_s == pytest.approx(0.004 * (part.last - part.first + 1))


@pytest.mark.parametrize(("start", "length"), PROGRAMS)
def test_a_wrong_byte_anywhere_it_looks_is_found(check_of, start, length):
    data = content(start, length)
    for part in check_of(data).sums:
        for address in (part.first, part.last):
            spoilt = bytearray(data)
            spoilt[2 + address - start] ^= 0x10
            machine = Machine(bytes(spoilt), cartridge=False)
            machine.type(part.line)
            assert machine.printed != [part.total]


@pytest.mark.parametrize(("start", "length"), PROGRAMS)
def test_the_line_can_be_typed(check_of, start, length):
    for part in check_of(content(start, length)).sums:
        assert len(part.line) <= LINE_CHARACTERS
        assert expand(crunch(part.line)) == part.line


@pytest.mark.parametrize(("start", "length"), PROGRAMS)
def test_sums_and_notes_account_for_every_byte(check_of, start, length):
    check = check_of(content(start, length))
    summed = {address for part in check.sums for address in range(part.first, part.last + 1)}
    for note in check.notes:
        if found := re.match(r"([0-9A-F]{4})–([0-9A-F]{4}) cannot be checked", note):
            summed |= set(range(int(found[1], 16), int(found[2], 16) + 1))
    assert summed == set(range(start, min(start + length, 0x10000)))
    assert any("past FFFF" in note for note in check.notes) == (start + length > 0x10000)


def test_a_plain_program_needs_one_plain_line(check_of):
    check = check_of(content(0x0801, 3000))
    assert [part.line for part in check.sums] == ["S=0:FORI=2049TO5048:S=S+PEEK(I):NEXT:PRINTS"]
    assert check.sums[0].total == check.total
    assert check.notes == ('load it with LOAD "NAME",8,1, so that it goes to 0801',)


def test_the_cartridges_window_is_a_line_of_its_own_with_a_caution(check_of):
    low, window = check_of(content(0x7F00, 0x300)).sums
    assert (low.last, window.first) == (0x7FFF, 0x8000)
    assert "shows the cartridge itself" in window.caution and not low.caution


def test_the_simple_line_would_fail_where_the_variables_have_no_room():
    """So the longer one is needed: behind a load to C000 there is no memory for variables."""
    with pytest.raises(OutOfMemory):
        Machine(content(0xC000, 16), cartridge=False).type("S=0")


def test_what_cannot_be_checked_is_a_sentence(check_of):
    with pytest.raises(NotReadable, match="nothing after its load address"):
        check_of(b"\1\10")
    with pytest.raises(NotReadable, match="no program"):
        check_of(b"LEINEN LOS", SEQ)
