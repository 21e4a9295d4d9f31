"""A composed disk that is being spoilt, and the truth about it: which blocks each file has.

The truth is read off the composed bytes once, by following links and nothing else; whoever
spoils the disk keeps it up to date. What to spoil is asked of a `Choose`, so that the same code
serves hypothesis, a fuzzer and a plain random number generator.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from copy import copy
from dataclasses import dataclass, field, replace
from random import Random
from typing import Protocol, TypeVar

from formats.compose import NewFile, compose
from formats.errors import DoesNotFit
from formats.geometry import (
    BLOCK_BYTES,
    DATA_BYTES,
    TRACKS_40,
    TRACKS_42,
    TRACKS_70,
    TRACKS_80,
    Geometry,
    Place,
)

T = TypeVar("T")

ZEROS = bytes(BLOCK_BYTES)
STOCK_FILLING = b"\x4b" + b"\x01" * 255
FILLINGS = (ZEROS, STOCK_FILLING)
DEL, SEQ, PRG, USR, REL = range(5)
CLOSED = 0x80
STRETCHED = (TRACKS_40, TRACKS_42)

TYPE, START, NAME, SIDE, STRUCTURE, DESKTOP_KIND, LENGTH = 2, 3, 5, 0x15, 0x17, 0x18, 0x1E
"""Offsets of an entry's fields."""

NAMES = (b"LEUCHTTURM", b"MOLENFEUER", b"HAFENKRAN", b"NEBELHORN", b"LOTSENBOOT", b"DOCK")
LENGTHS = (1, 1, 2, 2, 3, 4, 5, 8, 13, 30)
"""Blocks of a composed file."""


class Choose(Protocol):
    """Takes one of several."""

    def __call__(self, options: Sequence[T]) -> T: ...


class Unfit(Exception):
    """This disk has no place for that fault."""


@dataclass
class File:
    """What is true of a file."""

    slot: int
    type_code: int
    stated: int
    chain: list[int]
    sides: list[int] = field(default_factory=list)
    """REL: its side sectors, the super side sector of the 80-track layout first."""
    records: list[list[int]] = field(default_factory=list)
    """Desktop file: the record chains; `chain` is the index block alone."""
    info: int | None = None

    @property
    def blocks(self) -> list[int]:
        info = [] if self.info is None else [self.info]
        return [*self.chain, *self.sides, *(b for record in self.records for b in record), *info]

    def copy(self) -> File:
        records = [record.copy() for record in self.records]
        return replace(self, chain=self.chain.copy(), sides=self.sides.copy(), records=records)

    @property
    def lists(self) -> list[list[int]]:
        """What is read link by link as the file's content."""
        return [self.chain, *self.records]


def is_blank(block: bytes | bytearray) -> bool:
    return block == bytes(block[:1]) * BLOCK_BYTES or block == STOCK_FILLING


class Scene:
    def __init__(self, geometry: Geometry, sectors: bytes) -> None:
        self.geometry = geometry
        self.sectors = bytearray(sectors)
        self.errors: bytearray | None = None
        self.extra = b""
        self.present_bytes = len(sectors)
        self.written: set[int] = set()
        """Offsets of the bytes of `sectors` that were written since it was last cleared."""
        self.directory = self.walk(geometry.directory_block)
        self.files: dict[int, File] = {}
        """Real files by slot; decorations, aliases and scratched files are none."""
        self.is_store = False
        """Nothing is left of header and directory."""
        self.aliased: set[int] = set()
        """Slots of files that other entries start at too."""
        self.kept: set[int] = set()
        """Blocks of no file that some finding speaks of: no new ones are put there."""
        for slot in self.used_slots():
            at = self.entry_at(slot)
            type_code = self.sectors[at + TYPE] & 7
            chain = self.walk(self.block_at(at + START))
            if type_code == DEL:
                self.kept |= set(chain)
                continue
            sides = self.walk(self.block_at(at + SIDE)) if type_code == REL else []
            self.files[slot] = File(slot, type_code, len(chain) + len(sides), chain, sides)

    @property
    def bytes(self) -> bytes:
        return bytes(self.sectors[: self.present_bytes]) + bytes(self.errors or b"") + self.extra

    def become(self, other: Scene) -> None:
        vars(self).update(vars(other))

    def copy(self) -> Scene:
        twin = copy(self)
        for name, value in vars(self).items():
            if isinstance(value, bytearray | set | list):
                setattr(twin, name, value.copy())
        twin.files = {slot: file.copy() for slot, file in self.files.items()}
        return twin

    # -- blocks and links

    def place(self, block: int) -> Place:
        return self.geometry.place(block)

    def block(self, block: int) -> bytearray:
        return self.sectors[block * BLOCK_BYTES : (block + 1) * BLOCK_BYTES]

    def block_at(self, offset: int) -> int:
        """The block that the two bytes at an offset name."""
        return self.geometry.index(*self.sectors[offset : offset + 2])

    def walk(self, block: int) -> list[int]:
        """The blocks of a chain that ends as it should."""
        blocks = [block]
        while self.sectors[blocks[-1] * BLOCK_BYTES]:
            blocks.append(self.block_at(blocks[-1] * BLOCK_BYTES))
        return blocks

    def walk_truth(self, block: int) -> list[int]:
        """The blocks that truly follow: the rest of the list of the file that has the block."""
        for file in self.files.values():
            for blocks in (*file.lists, file.sides):
                if block in blocks:
                    return blocks[blocks.index(block) :]
        return self.walk(block) if self.sectors[block * BLOCK_BYTES] == 0 else []

    def write(self, offset: int, data: Sequence[int]) -> None:
        self.sectors[offset : offset + len(data)] = bytes(data)
        self.written |= set(range(offset, offset + len(data)))

    def put(self, block: int, data: Sequence[int], at: int = 0) -> None:
        self.write(block * BLOCK_BYTES + at, data)

    def link(self, block: int, to: Sequence[int]) -> None:
        self.put(block, to)

    def error(self, block: int, code: int) -> None:
        if self.present_bytes < len(self.sectors):
            raise Unfit
        if self.errors is None:
            self.errors = bytearray(b"\x01" * self.geometry.blocks)
        if self.errors[block] > 1:
            raise Unfit
        self.errors[block] = code

    @property
    def system(self) -> tuple[int, ...]:
        """Header, map sectors and the directory's."""
        return (*self.geometry.system_blocks, *self.directory)

    @property
    def owned(self) -> set[int]:
        return {b for file in self.files.values() for b in file.blocks}

    def outside(self) -> list[int]:
        """Blocks of no file that nothing speaks of yet."""
        taken = self.owned | self.kept | set(self.system)
        return [b for b in range(self.geometry.blocks) if b not in taken and not self.is_map(b)]

    def is_map(self, block: int) -> bool:
        """Whether it lies on the track that the double-sided layout keeps for half of its map."""
        return self.geometry is TRACKS_70 and self.place(block).track == 53

    # -- the directory

    def slots(self) -> Iterator[int]:
        return iter(range(8 * len(self.directory)))

    def entry_at(self, slot: int) -> int:
        return self.directory[slot // 8] * BLOCK_BYTES + slot % 8 * 32

    def used_slots(self) -> list[int]:
        return [slot for slot in self.slots() if self.sectors[self.entry_at(slot) + TYPE]]

    def lose(self, slots: Iterable[int]) -> None:
        """No drive comes to these entries any more."""
        for slot in slots:
            if slot in self.files:
                self.kept |= set(self.files.pop(slot).blocks)

    def new_slot(self) -> int:
        """A slot that was never used."""
        for slot in self.slots():
            at = self.entry_at(slot)
            if not any(self.sectors[at + TYPE : at + 32]):
                return slot
        raise Unfit

    def set_field(self, slot: int, offset: int, data: Sequence[int]) -> None:
        self.write(self.entry_at(slot) + offset, data)

    def set_length(self, slot: int, blocks: int) -> None:
        self.set_field(slot, LENGTH, blocks.to_bytes(2, "little"))

    def name_of(self, slot: int) -> bytes:
        at = self.entry_at(slot) + NAME
        return bytes(self.sectors[at : at + 16])

    # -- the map

    def map_bit(self, block: int) -> tuple[int, int, int]:
        """Offsets of its track's free count and of its byte of bits, and its bit in that."""
        track, sector = self.place(block)
        header = self.geometry.header_block * BLOCK_BYTES
        if self.geometry is TRACKS_80:
            half = self.geometry.index(*self.geometry.map_places[(track - 1) // 40])
            count = half * BLOCK_BYTES + 0x10 + 6 * ((track - 1) % 40)
            bits = count + 1
        elif track > 35:
            count = header + 0xDD + track - 36
            bits = self.geometry.index(53, 0) * BLOCK_BYTES + 3 * (track - 36)
        else:
            count = header + 4 * track
            bits = count + 1
        return count, bits + sector // 8, 1 << sector % 8

    def mapped(self, block: int) -> bool:
        return self.place(block).track <= self.geometry.map_tracks

    def is_free(self, block: int) -> bool:
        _, at, bit = self.map_bit(block)
        return bool(self.sectors[at] & bit)

    def mark(self, block: int, *, free: bool) -> None:
        count, at, bit = self.map_bit(block)
        if bool(self.sectors[at] & bit) != free:
            self.write(at, [self.sectors[at] ^ bit])
            self.write(count, [(self.sectors[count] + (1 if free else -1)) % 256])

    def free_blocks(self) -> list[int]:
        return [b for b in self.outside() if self.mapped(b) and self.is_free(b)]


def compose_scene(geometry: Geometry, choose: Choose) -> Scene:
    """A disk of some files, laid out as the stock drive does it. Raises Unfit when too full."""
    random = Random(choose(range(1 << 16)))
    count = choose(range(1, 12)) if choose(range(4)) else choose((16, 17, 20, 24))
    files = [_file(nth, random, choose) for nth in range(count)]
    try:
        sectors = compose(
            b"GRAUHAVEN",
            files,
            geometry,
            interleave=choose((None, None, 1, 7)),
            extra_tracks=geometry in STRETCHED and choose((False, True)),
            filling=choose(FILLINGS),
        )
    except DoesNotFit as full:
        raise Unfit from full
    scene = Scene(geometry, sectors)
    if any(is_blank(scene.block(block)) for block in scene.owned):
        raise Unfit  # a block of data that looks never written: a matter for other tests
    if choose(range(3)) == 0:
        scene.errors = bytearray([choose((0, 1))]) * geometry.blocks
    return scene


def _file(nth: int, random: Random, choose: Choose) -> NewFile:
    name = NAMES[nth % len(NAMES)] + b" %d" % nth
    type_code = choose((PRG, PRG, PRG, SEQ, USR, REL, REL, DEL))
    blocks = choose(LENGTHS)
    if type_code == REL:
        length = choose((1, 30, 127, 254))
        blocks = choose((blocks, blocks, 125, 250))
        return NewFile(
            name,
            random.randbytes(blocks * DATA_BYTES // length * length),
            REL,
            record_length=length,
        )
    size = (blocks - 1) * DATA_BYTES + choose((1, 2, 3, 100, 253, 254))
    data = random.randbytes(size) if choose(range(4)) else bytes([choose(range(256))]) * size
    if type_code == PRG:
        load = choose((0x0801, 0x0801, 0x0801, 0xC000, 0x8000))
        data = load.to_bytes(2, "little") + data[2:]
    closed = bool(choose(range(12)))
    return NewFile(name, data, type_code, locked=choose((False, True)), closed=closed)
