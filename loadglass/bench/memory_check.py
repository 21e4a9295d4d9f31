"""A load that finished: is what lies in the machine's memory what was on the disk?

The machine adds up its memory with one line of BASIC, typed without a line number, and the sum is
compared with the file's. What it says of the machine is from memory of programmer's references of
the 1980s.
"""

from __future__ import annotations

from dataclasses import dataclass

from formats.directory import PRG
from formats.errors import NotReadable
from formats.programs import MEMORY_BYTES, load_address
from loadglass.opened import Opened

MS_A_BYTE = 4.0
"""One turn of the loop in the machine's BASIC (common practice, no source)."""
LINE_CHARACTERS = 80
"""Two lines of the screen: more the machine's editor does not take."""


@dataclass(frozen=True)
class Stretch:
    """Memory, first to last address, and whether PEEK shows what a load put there."""

    first: int
    last: int
    readable: bool
    says: str = ""


STRETCHES = (
    Stretch(0x0000, 0x03FF, False, "is the machine's own work space"),
    Stretch(0x0400, 0x07FF, False, "is the screen, which changes as you type"),
    Stretch(0x0800, 0x7FFF, True),
    Stretch(0x8000, 0x9FFF, True, "shows the cartridge itself while that is switched in"),
    Stretch(0xA000, 0xBFFF, False, "lies under ROM, which PEEK shows instead"),
    Stretch(0xC000, 0xCFFF, True),
    Stretch(0xD000, 0xDFFF, False, "lies under I/O, which PEEK shows instead"),
    Stretch(0xE000, 0xFFFF, False, "lies under ROM, which PEEK shows instead"),
)

FIRST_FREE_END = 0x0801
LAST_FREE_END = 0x7F00
"""Variables go behind a program that was loaded. Between these there is room for the loop's two,
with a cartridge at 8000 or without; elsewhere they are sent to the tape buffer at 033C first."""
TO_TAPE_BUFFER = "POKE45,60:POKE46,3:CLR:"


@dataclass(frozen=True)
class Sum:
    """A stretch of the loaded file, and how the machine adds it up."""

    first: int
    last: int
    total: int
    """Plain sum of its bytes."""
    line: str
    """To be typed as it is; prints the total."""
    takes_s: float
    """On the machine, by rule of thumb."""
    caution: str
    """Empty, or what may make the machine's sum another one."""


@dataclass(frozen=True)
class MemoryCheck:
    """What to type, and what should come out."""

    total: int
    """Plain sum of all the file's bytes in memory, without the load address."""
    sums: tuple[Sum, ...]
    notes: tuple[str, ...]
    """What cannot be checked so, and what to mind; sentences."""


def memory_check(opened: Opened, slot: int) -> MemoryCheck:
    """Sums to compare after a load to the file's own address. Raises NotReadable."""
    entry = opened.audit.by_slot[slot].entry
    name = f'"{entry.text}"'
    if entry.type_code != PRG:
        raise NotReadable(f"{name} is no program: LOAD does not put it into memory")
    data = opened.file_bytes(slot)
    start = load_address(data)
    memory = data[2:]
    if start is None or not memory:
        raise NotReadable(f"{name} has nothing after its load address: there is nothing to check")
    end = start + len(memory)
    moves = not FIRST_FREE_END <= end <= LAST_FREE_END
    sums, notes = [], [f'load it with LOAD "NAME",8,1, so that it goes to {start:04X}']
    for stretch in STRETCHES:
        first, last = max(start, stretch.first), min(end - 1, stretch.last)
        if first > last:
            continue
        if stretch.readable:
            sums.append(_sum(memory[first - start : last + 1 - start], first, moves, stretch.says))
        else:
            notes.append(f"{first:04X}–{last:04X} cannot be checked so: it {stretch.says}")
    if end > MEMORY_BYTES:
        notes.append("what runs past FFFF cannot be checked so: it overwrites the work space")
    if moves:
        notes.append(
            "the line moves BASIC's variables to the tape buffer at 033C, out of the way of what "
            "was loaded: load again before you RUN it"
        )
    return MemoryCheck(sum(memory), tuple(sums), tuple(notes))


def _sum(part: bytes, first: int, moves: bool, caution: str) -> Sum:
    last = first + len(part) - 1
    loop = f"S=0:FORI={first}TO{last}:S=S+PEEK(I):NEXT:PRINTS"
    return Sum(
        first=first,
        last=last,
        total=sum(part),
        line=(TO_TAPE_BUFFER if moves else "") + loop,
        takes_s=len(part) * MS_A_BYTE / 1000,
        caution=f"{first:04X}–{last:04X} {caution}" if caution else "",
    )
