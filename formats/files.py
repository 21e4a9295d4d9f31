"""What each directory entry comes to: its role, its blocks, and who owns which block."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum

from formats.chains import NO_CHAIN, Chain, Ending, follow
from formats.directory import DEL, PARTITION, REL, UNKNOWN_KIND, USR, Directory, Entry
from formats.geometry import END, TRACKS_80, Place
from formats.image import DiskImage
from formats.side_sectors import SideSectors, read_side_sectors

RECORD_INDEX = 1
"""Byte 17 of a desktop's file: its first block is an index of record chains."""
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


@dataclass(slots=True)
class FileFacts:
    """One entry, walked; nothing judged yet."""

    entry: Entry
    role: Role
    chain: Chain = NO_CHAIN
    side: SideSectors | None = None
    """Of a REL file."""
    record_chains: list[Chain] | None = None
    """Of a desktop's indexed file: the chains that its first block names."""
    info_block: int | None = None
    """Of a desktop's file."""
    alias_of: int | None = None
    """Slot of the entry whose start it shares."""
    owned_blocks: list[int] = field(default_factory=list)
    """All its blocks: the chain's, side sectors, record chains, info block."""

    @property
    def walked_blocks(self) -> int:
        """What the entry's length in blocks should state."""
        return len(self.owned_blocks)


def walk_files(image: DiskImage, directory: Directory) -> list[FileFacts]:
    """Every entry in use with its role and its blocks, in slot order."""
    starts: dict[Place, int] = {}
    shared = _starts_of_many(directory)
    files = []
    for entry in directory.entries:
        facts = _facts(image, directory, entry, starts, entry.start in shared)
        if facts.role is Role.FILE:
            starts.setdefault(entry.start, entry.slot)
        files.append(facts)
    return files


def _starts_of_many(directory: Directory) -> set[Place]:
    seen: set[Place] = set()
    many: set[Place] = set()
    for entry in directory.entries:
        (many if entry.start in seen else seen).add(entry.start)
    return many


def _facts(
    image: DiskImage,
    directory: Directory,
    entry: Entry,
    starts: dict[Place, int],
    start_is_shared: bool,
) -> FileFacts:
    geometry = image.geometry
    if entry.type_code == DEL:
        return FileFacts(entry, Role.DECORATION)
    if entry.start in starts:
        facts = _walk_file(image, directory, entry)
        facts.role, facts.alias_of = Role.ALIAS, starts[entry.start]
        return facts
    start = geometry.index(*entry.start) if geometry.exists(*entry.start) else None
    if entry.blocks == 0 and (
        start is None
        or start in directory.owned
        # Rows of empty entries that all point at one block, and entries at a block that
        # was never written, promise nothing either.
        or start_is_shared
        or image.blank[start]
    ):
        return FileFacts(entry, Role.DECORATION)
    if geometry is TRACKS_80 and entry.type_code == PARTITION:
        return _partition(image, entry, start)
    facts = _walk_file(image, directory, entry)
    if entry.kind == UNKNOWN_KIND and not facts.chain.ended:
        return FileFacts(entry, Role.DECORATION)
    return facts


def _partition(image: DiskImage, entry: Entry, start: int | None) -> FileFacts:
    if start is None:
        return FileFacts(entry, Role.PARTITION)
    run = list(range(start, min(start + entry.blocks, image.geometry.blocks)))
    chain = Chain(run, Ending.END, last_byte=0xFF)
    return FileFacts(entry, Role.PARTITION, chain, owned_blocks=run)


def _walk_file(image: DiskImage, directory: Directory, entry: Entry) -> FileFacts:
    geometry = image.geometry
    facts = FileFacts(entry, Role.FILE)
    if entry.type_code == REL:
        facts.side = read_side_sectors(image, directory.owned, entry)
    if geometry.exists(*entry.start):
        owed = entry.blocks - (len(facts.side.blocks) if facts.side else 0)
        facts.chain = follow(image, geometry.index(*entry.start), owed, directory.owned)
    facts.owned_blocks = list(facts.chain.blocks)
    if facts.side:
        facts.owned_blocks += facts.side.blocks
    else:
        _read_desktop(image, directory, facts)
    return facts


def _read_desktop(image: DiskImage, directory: Directory, facts: FileFacts) -> None:
    """Info block and record chains, if the entry is that of a graphical desktop's file."""
    entry, geometry = facts.entry, image.geometry
    structure, desktop_kind = entry.record_length, entry.raw[0x18]
    if not desktop_kind or structure > RECORD_INDEX or not geometry.exists(*entry.side_start):
        return
    info = geometry.index(*entry.side_start)
    if structure == RECORD_INDEX and entry.type_code == USR and len(facts.chain.blocks) == 1:
        _read_records(image, directory, facts)
    elif facts.walked_blocks + 1 != entry.blocks:
        return
    if info not in facts.owned_blocks and info not in directory.owned:
        facts.info_block = info
        facts.owned_blocks.append(info)


def _read_records(image: DiskImage, directory: Directory, facts: FileFacts) -> None:
    index = facts.chain.blocks[0]
    if image.next_blocks[index] != END:
        return
    block = image.block(index)
    pairs = [Place(*block[at : at + 2]) for at in range(2, 256, 2)]
    named = [pair for pair in pairs if pair not in (NO_RECORD, DELETED_RECORD)]
    facts.record_chains = []
    for pair in named:
        chain = NO_CHAIN
        if image.geometry.exists(*pair):
            chain = follow(image, image.geometry.index(*pair), None, directory.owned)
        facts.record_chains.append(chain)
        facts.owned_blocks += chain.blocks


def owners(files: list[FileFacts], blocks: int) -> list[int]:
    """Of each block the slot of the first file that owns it, or -1."""
    owner = [-1] * blocks
    for facts in reversed(files):
        if facts.role in (Role.FILE, Role.PARTITION):
            slot = facts.entry.slot
            for block in facts.owned_blocks:
                owner[block] = slot
    return owner
