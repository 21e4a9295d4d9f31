"""The side sectors of a REL file: which they are, and whether they agree with its chain."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, field

from formats.chains import Chain, Ending, follow
from formats.directory import Entry, parser
from formats.geometry import TRACKS_80, Geometry, Place
from formats.image import DiskImage

SIDES_IN_GROUP = 6
PLACES_IN_SIDE = 120
SUPER_MARK = 0xFE

TROUBLE_OF_ENDING = {
    Ending.NO_START: "there are none where the entry says",
    Ending.LOOP: "they come back to one of their own",
    Ending.OFF_DISK: "one links off the disk",
    Ending.IN_DIRECTORY: "they run into the directory",
    Ending.BAD_BLOCK: "one cannot be read",
    Ending.MISSING: "one is missing from the image",
}


@dataclass(frozen=True)
class SideSectors:
    """The chain of side sectors, the 80-track layout's super side sector first."""

    blocks: list[int]
    troubles: list[tuple[str, int | None]] = field(default_factory=list)
    """What is wrong in them by themselves, and the block where."""
    named: list[Place] = field(default_factory=list)
    """The data blocks that they name, in order."""


def read_side_sectors(image: DiskImage, barred: Collection[int], entry: Entry) -> SideSectors:
    """Walk the side sectors of a REL file and note what is wrong in them."""
    geometry = image.geometry
    if not geometry.exists(*entry.side_start):
        return SideSectors([], [(TROUBLE_OF_ENDING[Ending.NO_START], None)])
    chain = follow(image, geometry.index(*entry.side_start), None, barred)
    troubles: list[tuple[str, int | None]] = []
    if not chain.ended:
        troubles.append((TROUBLE_OF_ENDING[chain.ending], chain.stopped_at))
    sides = chain.blocks
    if geometry is TRACKS_80 and sides:
        sides = sides[1:]
        troubles += _super_troubles(image, chain, sides)
    named: list[Place] = []
    for position, block in enumerate(sides):
        record = parser("SideSector").parse(image.block(block))
        if record.number != position % SIDES_IN_GROUP:
            troubles.append((f"number {position} of them calls itself {record.number}", block))
        if record.record_length != entry.record_length:
            troubles.append(("record length not that of the entry", block))
        group = position // SIDES_IN_GROUP * SIDES_IN_GROUP
        expected = [geometry.place(b) for b in sides[group : group + SIDES_IN_GROUP]]
        if not _begins(record.side_sectors, expected):
            troubles.append(("one does not list them all", block))
        named += [Place(*pair) for pair in record.data_blocks if pair[0]]
    if geometry is not TRACKS_80 and len(sides) > SIDES_IN_GROUP:
        troubles.append((f"{len(sides)} of them, but 6 are the most", sides[SIDES_IN_GROUP]))
    return SideSectors(chain.blocks, troubles, named)


def _begins(pairs: list[bytes], expected: list[Place]) -> bool:
    found = [Place(*pair) for pair in pairs]
    return found[: len(expected)] == expected and not any(p.track for p in found[len(expected) :])


def _super_troubles(
    image: DiskImage, chain: Chain, sides: list[int]
) -> Iterator[tuple[str, int | None]]:
    block = image.block(chain.blocks[0])
    if block[2] != SUPER_MARK:
        yield "no super side sector where the entry says", chain.blocks[0]
        return
    record = parser("SuperSideSector").parse(block)
    firsts = [image.geometry.place(b) for b in sides[::SIDES_IN_GROUP]]
    if not _begins(record.groups, firsts):
        yield "the super side sector does not name every group", chain.blocks[0]


def disagreement(geometry: Geometry, named: list[Place], chain: Chain) -> tuple[str, int] | None:
    """The first data block at which side sectors and chain part, or None."""
    for position, block in enumerate(chain.blocks):
        if position >= len(named):
            return "they stop before the end of the chain", block
        if named[position] != geometry.place(block):
            return f"they name {named[position]} where the chain has {geometry.place(block)}", block
    if len(named) > len(chain.blocks):
        return "they name more blocks than the chain has", chain.blocks[-1]
    return None
