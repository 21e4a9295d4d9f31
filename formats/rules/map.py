"""Rules about the block map, and about blocks that no file owns."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from formats.blockmap import count_place
from formats.chains import NO_CHAIN, Chain, follow, remains
from formats.directory import Entry
from formats.files import Role
from formats.findings import Finding, Severity, finding
from formats.geometry import TRACKS_70
from formats.rules.facts import Facts

NO_BLOCKS = np.zeros(0, dtype=np.intp)


def check(facts: Facts) -> Iterator[Finding]:
    if not facts.has_directory:
        return
    yield from _frees_used(facts)
    yield from _counts(facts)
    whole, explained = _scratched(facts)
    yield from whole
    yield from _unowned(facts, explained)


def _frees_used(facts: Facts) -> Iterator[Finding]:
    wrong = np.flatnonzero(facts.block_map.free & facts.owned)
    if wrong.size:
        first = int(wrong[0])
        slot = facts.owner[first] if facts.owner[first] >= 0 else None
        yield finding("map-frees-used", slot, facts.place(first), count=wrong.size)


def _counts(facts: Facts) -> Iterator[Finding]:
    block_map, geometry = facts.block_map, facts.image.geometry
    wrong = np.flatnonzero(block_map.counts != block_map.counted)
    if wrong.size:
        yield finding(
            "map-count-differs",
            place=count_place(geometry, int(wrong[0]) + 1),
            count=wrong.size,
            track=int(wrong[0]) + 1,
            severity=Severity.NOTE if block_map.one_value else Severity.ODDITY,
        )


def _scratched(facts: Facts) -> tuple[list[Finding], NDArray[np.bool_]]:
    """Scratched files that are still whole, and which blocks scratched entries explain."""
    explained = np.zeros(facts.image.geometry.blocks, dtype=np.bool_)
    whole = []
    for entry in facts.directory.scratched:
        chain = _chain_of(facts, entry)
        explained[chain.blocks] = True
        if _is_whole(facts, entry, chain):
            whole.append(finding("deleted-remains", entry.slot, entry.start, walked=entry.blocks))
    return whole, explained


def _chain_of(facts: Facts, entry: Entry) -> Chain:
    """The chain of an entry that is no file."""
    geometry = facts.image.geometry
    if not geometry.exists(*entry.start):
        return NO_CHAIN
    start = geometry.index(*entry.start)
    return follow(facts.image, start, entry.blocks, facts.directory.barred)


def _is_whole(facts: Facts, entry: Entry, chain: Chain) -> bool:
    return (
        chain.ended
        and len(chain.blocks) == entry.blocks
        and all(facts.owner[block] < 0 for block in chain.blocks)
    )


def scratched_is_whole(facts: Facts, entry: Entry) -> bool:
    """Whether the blocks of a scratched entry can all still be read and are no one else's."""
    return _is_whole(facts, entry, _chain_of(facts, entry))


def _lost_blocks(facts: Facts) -> int:
    """How many blocks damaged and unclosed files have lost: their rest, and what is shared.

    A closed file that reads whole has lost none: its entry states what its maker liked.
    """
    files = facts.own_files
    holders = Counter(block for file in files for block in file.owned_blocks)
    lost = sum(holders.values()) - len(holders)
    for file in files:
        sound = file.reads_whole and all(holders[block] == 1 for block in file.owned_blocks)
        if not sound or not file.entry.closed:
            lost += max(file.entry.blocks - file.walked_blocks, 0)
    return lost


def unowned_blocks(facts: Facts) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Blocks that the map marks used and no file owns: a loader's own, and strands."""
    _, explained = _scratched(facts)
    return _split_unowned(facts, explained)


def _split_unowned(
    facts: Facts, explained: NDArray[np.bool_]
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    geometry, image = facts.image.geometry, facts.image
    for file in facts.files:
        if file.role is Role.DECORATION and file.entry.blocks:
            explained[_chain_of(facts, file.entry).blocks] = True
        if beyond := remains(image, file.chain):
            explained[beyond] = True
    unowned = facts.block_map.used & ~facts.owned
    if not facts.directory.chain.ended:  # these are the blocks of files whose entries are lost
        unowned[:] = False
    if geometry is TRACKS_70:  # the whole of track 53 is the map's, though it fills one sector
        unowned &= geometry.track_of != geometry.map_places[0].track
    if not unowned.any():
        return NO_BLOCKS, NO_BLOCKS
    own = np.flatnonzero(unowned & ~image.blank & ~explained)
    if 0 < own.size <= _lost_blocks(facts):  # no more than was lost: most likely that
        explained[own], own = True, own[:0]
    return own, np.flatnonzero(unowned & (image.blank | explained))


def _unowned(facts: Facts, explained: NDArray[np.bool_]) -> Iterator[Finding]:
    for code, blocks in zip(
        ("own-loader", "map-strands"), _split_unowned(facts, explained), strict=True
    ):
        if blocks.size:
            yield finding(code, place=facts.place(int(blocks[0])), count=blocks.size)
