"""What each directory entry comes to: its role, its blocks, and who owns which block."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from enum import Enum

from formats.chains import NO_CHAIN, TAKEN, Chain, Ending, follow
from formats.directory import DEL, PARTITION, REL, UNKNOWN_KIND, USR, Directory, Entry, parser
from formats.geometry import TRACKS_80, Geometry, Place
from formats.image import DiskImage
from formats.side_sectors import SideSectors, compare_with_chain, read_side_sectors

DESKTOP_KIND = 0x18
"""Offset in an entry of a desktop's own type of the file; 0: none."""
RECORD_INDEX = 1
"""Byte 17 of a desktop's file: its first block is an index of record chains."""
INFO_BLOCKS = 1
DELETED_RECORD = Place(0, 0xFF)
NO_RECORD = Place(0, 0)


class Role(Enum):
    FILE = "file"
    ALIAS = "alias"
    """Starts at the block where an earlier entry starts."""
    DECORATION = "decoration"
    """Nothing can be loaded from it."""
    PARTITION = "partition"
    """A run of neighbouring blocks of an 80-track disk."""


@dataclass(frozen=True, slots=True)
class Record:
    """One chain of a desktop's indexed file, and where the index says that it starts."""

    start: Place
    chain: Chain


@dataclass(slots=True, eq=False)
class FileFacts:
    """One entry, walked; nothing judged yet."""

    entry: Entry
    role: Role
    chain: Chain = NO_CHAIN
    side: SideSectors | None = None
    """Of a REL file."""
    records: list[Record] | None = None
    """Of a desktop's indexed file: those that its first block names."""
    info_block: int | None = None
    """Of a desktop's file."""
    alias_of: int | None = None
    """Slot of the entry whose start it shares; what was walked is that entry's."""
    owned_blocks: Sequence[int] = field(default_factory=list)
    """All its blocks: the chain's, side sectors, record chains, info block."""

    @property
    def walked_blocks(self) -> int:
        """What the entry's length in blocks should state."""
        return len(self.owned_blocks)

    @property
    def reads_whole(self) -> bool:
        """Whether all its chains end as they should and its side sectors are right."""
        return (
            self.chain.ended
            and not (self.side and self.side.trouble)
            and all(record.chain.ended for record in self.records or ())
        )

    @property
    def fits(self) -> bool:
        """Whether its chain ends and its blocks are as many as the entry states."""
        return self.chain.ended and self.walked_blocks == self.entry.blocks


def walk_files(image: DiskImage, directory: Directory) -> list[FileFacts]:
    """Every entry in use with its role and its blocks, in slot order.

    Entries of zero blocks that share their start come last: they decorate the directory, or
    hide the length of the title they all load, and only the other files tell which.
    """
    entries_at = Counter(entry.start for entry in directory.entries)
    files: dict[int, FileFacts] = {}
    firsts: dict[Place, FileFacts] = {}
    rows: list[Entry] = []
    for entry in directory.entries:
        if entry.blocks == 0 and entries_at[entry.start] > 1:
            rows.append(entry)
            continue
        facts = files[entry.slot] = _facts(image, directory, entry, firsts)
        if facts.role is Role.FILE and image.geometry.exists(*entry.start):
            firsts.setdefault(entry.start, facts)
    others = {block for facts in firsts.values() for block in facts.owned_blocks}
    for entry in rows:
        facts = _facts(image, directory, entry, firsts)
        if facts.role is Role.FILE:
            if not facts.reads_whole or not others.isdisjoint(facts.owned_blocks):
                facts = FileFacts(entry, Role.DECORATION)
            firsts[entry.start] = facts
            others.update(facts.owned_blocks)
        files[entry.slot] = facts
    return [files[slot] for slot in sorted(files)]


def _facts(
    image: DiskImage, directory: Directory, entry: Entry, firsts: dict[Place, FileFacts]
) -> FileFacts:
    """firsts: of each start the file, walked already, that counts as its owner."""
    geometry = image.geometry
    if entry.type_code == DEL:
        return FileFacts(entry, Role.DECORATION)
    start = geometry.index(*entry.start) if geometry.exists(*entry.start) else None
    if entry.blocks == 0 and start in directory.owned:
        return FileFacts(entry, Role.DECORATION)
    first = firsts.get(entry.start)
    if first:
        return _second(entry, first)
    is_partition = geometry is TRACKS_80 and entry.type_code == PARTITION
    if entry.blocks == 0 and (
        # A block that was never written, and a partition of no blocks, promise nothing either.
        start is None or image.blank[start] or is_partition
    ):
        return FileFacts(entry, Role.DECORATION)
    if is_partition:
        return _partition(image, entry, start)
    facts = _walk_file(image, directory, entry, start)
    if entry.kind == UNKNOWN_KIND and not facts.chain.ended:
        return FileFacts(entry, Role.DECORATION)
    return facts


def _second(entry: Entry, first: FileFacts) -> FileFacts:
    """An entry that starts where `first` does; a line before the file it points at decorates."""
    unreadable = entry.kind == UNKNOWN_KIND and not first.chain.ended
    if first.role is Role.DECORATION or entry.slot < first.entry.slot or unreadable:
        return FileFacts(entry, Role.DECORATION)
    return replace(first, entry=entry, role=Role.ALIAS, alias_of=first.entry.slot)


def _partition(image: DiskImage, entry: Entry, start: int | None) -> FileFacts:
    if start is None:
        return FileFacts(entry, Role.PARTITION)
    run = range(start, min(start + entry.blocks, image.geometry.blocks))
    chain = Chain(run, Ending.END, last_byte=0xFF)
    return FileFacts(entry, Role.PARTITION, chain, owned_blocks=run)


def _walk_file(
    image: DiskImage, directory: Directory, entry: Entry, start: int | None
) -> FileFacts:
    facts = FileFacts(entry, Role.FILE)
    if entry.type_code == REL:
        facts.side = read_side_sectors(image, directory.barred, entry)
    if start is not None:
        owed = entry.blocks - (len(facts.side.blocks) if facts.side else 0)
        facts.chain = follow(image, start, owed, directory.barred)
    facts.owned_blocks = facts.chain.blocks
    if facts.side:
        if facts.chain.ended:
            compare_with_chain(image.geometry, facts.side, facts.chain)
        facts.owned_blocks = [*facts.chain.blocks, *facts.side.blocks]
    else:
        _read_desktop(image, directory, facts)
    return facts


def claims_index(entry: Entry) -> bool:
    """Whether a chain of one block would be read as the index of a desktop file's records."""
    is_desktop_file = entry.type_code == USR and entry.raw[DESKTOP_KIND] != 0
    return is_desktop_file and entry.record_length == RECORD_INDEX


def info_block_named(entry: Entry, geometry: Geometry) -> int | None:
    """The block where the info of a graphical desktop's file would be, if it is such a file."""
    structure, desktop_kind = entry.record_length, entry.raw[DESKTOP_KIND]
    if not desktop_kind or structure > RECORD_INDEX or not geometry.exists(*entry.side_start):
        return None
    return geometry.index(*entry.side_start)


def _read_desktop(image: DiskImage, directory: Directory, facts: FileFacts) -> None:
    """Info block and record chains, if the entry is that of a graphical desktop's file."""
    entry = facts.entry
    info = info_block_named(entry, image.geometry)
    if info is None:
        return
    if claims_index(entry) and len(facts.chain.blocks) == 1:
        _read_records(image, directory, facts)
    elif facts.walked_blocks + 1 != entry.blocks:
        return
    if info not in facts.owned_blocks and info not in directory.owned:
        facts.info_block = info
        facts.owned_blocks = [*facts.owned_blocks, info]


def _read_records(image: DiskImage, directory: Directory, facts: FileFacts) -> None:
    if not facts.chain.ended:
        return
    geometry, index = image.geometry, facts.chain.blocks[0]
    barred = bytearray(directory.barred)
    barred[index] = TAKEN
    facts.records = []
    owned = [index]
    for start in Place.pairs(parser("RecordIndex").parse(image.block(index)).records):
        if start in (NO_RECORD, DELETED_RECORD):
            continue
        chain = NO_CHAIN
        if geometry.exists(*start):
            owed = facts.entry.blocks - len(owned) - INFO_BLOCKS
            chain = follow(image, geometry.index(*start), owed, barred)
        facts.records.append(Record(start, chain))
        owned += chain.blocks
        for block in chain.blocks:
            barred[block] = TAKEN
    facts.owned_blocks = owned


def owners(files: list[FileFacts], blocks: int) -> list[int]:
    """Of each block the slot of the first file that owns it, or -1."""
    owner = [-1] * blocks
    for facts in reversed(files):
        if facts.role in (Role.FILE, Role.PARTITION):
            slot = facts.entry.slot
            for block in facts.owned_blocks:
                owner[block] = slot
    return owner
