"""The side sectors of a REL file: which they are, and whether they agree with its chain."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import takewhile

from formats.chains import TAKEN, Chain, Ending, follow
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
    Ending.SHARED: "groups of them run together",
}

Trouble = tuple[str, int | None]
"""What is wrong, and the block where."""


@dataclass
class SideSectors:
    """The side sectors that can be read, the 80-track layout's super side sector first."""

    blocks: Sequence[int] = field(default_factory=list)
    named: bytes = b""
    """The data blocks that they name, in order, as pairs of track and sector."""
    trouble: Trouble | None = None
    """The first thing that is wrong in them, or between them and the chain."""

    def note(self, trouble: str, block: int | None) -> None:
        self.trouble = self.trouble or (trouble, block)


def read_side_sectors(image: DiskImage, barred: bytes, entry: Entry) -> SideSectors:
    """Find the side sectors of a REL file, and the first thing wrong in them by themselves."""
    geometry = image.geometry
    found = SideSectors()
    if not geometry.exists(*entry.side_start):
        found.note(TROUBLE_OF_ENDING[Ending.NO_START], None)
        return found
    first = geometry.index(*entry.side_start)
    if geometry is TRACKS_80:
        sides = _sides_of_super(image, barred, first, found)
    else:
        sides = _sides_of_group(image, barred, first, found)
    _read_sides(image, entry, sides, found)
    return found


def _sides_of_group(
    image: DiskImage, barred: bytes, first: int, found: SideSectors
) -> Sequence[int]:
    chain = follow(image, first, None, barred)
    sides = chain.blocks[:SIDES_IN_GROUP]
    found.blocks = sides
    if len(chain.blocks) > SIDES_IN_GROUP:
        found.note("there are more than 6 of them", chain.blocks[SIDES_IN_GROUP])
    elif not chain.ended:
        found.note(TROUBLE_OF_ENDING[chain.ending], chain.stopped_at)
    return sides


def _sides_of_super(
    image: DiskImage, barred: bytes, first: int, found: SideSectors
) -> Sequence[int]:
    """The side sectors of all groups: in one list from group to group, or a list a group."""
    geometry = image.geometry
    chain = follow(image, first, None, barred)
    if not chain.blocks:
        found.note(TROUBLE_OF_ENDING[chain.ending], chain.stopped_at)
        return []
    block = image.block(first)
    if block[2] != SUPER_MARK:
        found.note("no super side sector where the entry says", first)
        return []
    named = Place.pairs(parser("SuperSideSector").parse(block).groups)
    groups = list(takewhile(lambda place: place.track, named))
    taken = bytearray(barred)
    taken[first] = TAKEN
    sides: list[int] = []
    for place in groups:
        if not geometry.exists(*place):
            found.note(f"the super side sector names {place}, which does not exist", first)
            break
        start = geometry.index(*place)
        if start in sides:  # in one list with the group before it
            continue
        group = follow(image, start, None, taken)
        if not group.ended:
            found.note(TROUBLE_OF_ENDING[group.ending], group.stopped_at)
        sides += group.blocks
        for block_index in group.blocks:
            taken[block_index] = TAKEN
    if not groups or [geometry.place(b) for b in sides[::SIDES_IN_GROUP]] != groups:
        found.note("the super side sector does not name every group", first)
    found.blocks = [first, *sides[: SIDES_IN_GROUP * len(groups)]]
    return sides


def _read_sides(image: DiskImage, entry: Entry, sides: Sequence[int], found: SideSectors) -> None:
    geometry = image.geometry
    if found.trouble:
        return
    named = []
    for position, block in enumerate(sides):
        record = parser("SideSector").parse(image.block(block))
        number = position % SIDES_IN_GROUP
        if record.number != number:
            found.note(f"number {number} of them calls itself {record.number}", block)
        if record.record_length != entry.record_length:
            found.note("record length not that of the entry", block)
        group = sides[position - number : position - number + SIDES_IN_GROUP]
        if not _agree(record.side_sectors, _links(geometry, group)):
            found.note("one does not list them all", block)
        if found.trouble:
            return
        named.append(record.data_blocks)
    found.named = b"".join(named)


def _links(geometry: Geometry, blocks: Sequence[int]) -> bytes:
    places = geometry.places
    return b"".join([bytes(places[block]) for block in blocks])


def _agree(named: bytes, expected: bytes) -> bool:
    """Whether these places are named, and no more: the tracks behind them are 0."""
    return named.startswith(expected) and not any(named[len(expected) :: 2])


def compare_with_chain(geometry: Geometry, side: SideSectors, chain: Chain) -> None:
    """Note where side sectors and the chain of data blocks part, if nothing is wrong yet."""
    if side.trouble:
        return
    walked = _links(geometry, chain.blocks)
    if not _agree(side.named, walked):
        side.note(*_first_difference(side.named, walked, chain.blocks))
    both = set(side.blocks).intersection(chain.blocks)
    if both:
        side.note("one of them is also a block of the chain", min(both))


def _first_difference(named: bytes, walked: bytes, blocks: Sequence[int]) -> Trouble:
    for at in range(0, len(walked), 2):
        told, real = named[at : at + 2], walked[at : at + 2]
        if told == real:
            continue
        if not any(named[at::2]):
            return "they stop before the end of the chain", blocks[at // 2]
        return f"they name {Place(*told)} where the chain has {Place(*real)}", blocks[at // 2]
    return "they name more blocks than the chain has", blocks[-1]
