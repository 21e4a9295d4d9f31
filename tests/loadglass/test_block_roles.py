"""What each block is there for, against the pages on maps and chains; and the way along a chain."""

from __future__ import annotations

from collections import Counter

import pytest

from formats.geometry import LAYOUTS, TRACKS_35, TRACKS_70, Geometry, Place
from loadglass.block_roles import BlockKind, Step, ending_text, kinds_of, steps_of, uses_of
from tests.tui import disks


def kinds(data: bytes) -> Counter[BlockKind]:
    return Counter(kinds_of(disks.opened(data).audit))


@pytest.mark.parametrize("geometry", LAYOUTS, ids=lambda geometry: geometry.name)
def test_a_tidy_disk_has_files_directory_and_blank_blocks(geometry: Geometry) -> None:
    opened = disks.opened(disks.tidy(geometry))
    counts = kinds(disks.tidy(geometry))
    assert counts[BlockKind.FILE] == sum(file.entry.blocks for file in opened.audit.files)
    assert counts[BlockKind.DIRECTORY] == len(opened.audit.directory.owned)
    assert set(counts) == {BlockKind.FILE, BlockKind.DIRECTORY, BlockKind.BLANK}
    assert sum(counts.values()) == geometry.blocks


def test_bad_and_missing_blocks_cannot_be_read() -> None:
    assert kinds(disks.bad_block())[BlockKind.UNREADABLE] == 2
    image = disks.opened(disks.short()).image
    missing = TRACKS_35.blocks - image.present_blocks
    assert kinds(disks.short())[BlockKind.UNREADABLE] == missing


def test_the_rest_of_a_broken_chain_is_in_use_by_no_file() -> None:
    whole = len(disks.chain_of(disks.tidy(), 1))
    assert kinds(disks.looped())[BlockKind.STRANDED] == whole - 10


def test_a_scratched_file_leaves_free_blocks_that_were_written() -> None:
    data = bytearray(disks.tidy())
    entry = TRACKS_35.directory_block * 256 + 2 * 32
    data[entry + 2] = 0
    for block in disks.chain_of(disks.tidy(), 2):
        track, sector = TRACKS_35.place(block)
        at = TRACKS_35.header_block * 256 + track * 4
        data[at] += 1
        data[at + 1 + sector // 8] |= 1 << sector % 8
    count = len(disks.chain_of(disks.tidy(), 2))
    assert kinds(bytes(data))[BlockKind.FREE] == count


def test_without_a_directory_there_is_no_map_to_go_by() -> None:
    assert kinds(disks.no_directory()) == {BlockKind.STRANDED: TRACKS_35.blocks}
    assert kinds(disks.zeros()) == {BlockKind.BLANK: TRACKS_35.blocks}


def test_uses_of_a_shared_block() -> None:
    audit = disks.opened(disks.shared()).audit
    shared = disks.chain_of(disks.tidy(), 1)[40]
    uses = [(use.file.entry.text, use.position) for use in uses_of(audit, shared)]
    assert uses == [("LOTSE.MC", 41), ("KARTE", 5)]


def test_a_side_sector_is_beside_the_chain() -> None:
    audit = disks.opened(disks.tidy()).audit
    ships = audit.by_slot[5]
    side = TRACKS_35.index(*ships.entry.side_start)
    (use,) = uses_of(audit, side)
    assert (use.file, use.position) == (ships, None)


def test_steps_of_the_order_that_the_stock_drive_lays() -> None:
    """0 10 20 8 18 6 16 4 14 2 12 1 11 ...: gaps of 9, 10 and 13 (drive manuals, from memory)."""
    chain = disks.chain_of(disks.tidy(), 1)
    steps = steps_of(TRACKS_35, chain)
    assert [step.block for step in steps] == chain
    assert steps[0] == Step(chain[0], None, 0)
    gaps = {step.gap for step in steps if step.gap is not None}
    assert gaps <= {9, 10, 11, 12, 13} and {9, 10} <= gaps
    moves = [step for step in steps if step.cylinders]
    tracks = {TRACKS_35.place(block).track for block in chain}
    assert len(moves) == len(tracks) - 1
    assert all(step.gap is None and step.cylinders == 1 for step in moves)


def test_a_change_of_side_moves_no_head() -> None:
    blocks = [TRACKS_70.index(17, 3), TRACKS_70.index(52, 9), TRACKS_70.index(1, 0)]
    assert [(step.gap, step.cylinders) for step in steps_of(TRACKS_70, blocks)] == [
        (None, 0),
        (None, 0),
        (None, 16),
    ]


def test_no_blocks_no_steps() -> None:
    assert steps_of(TRACKS_35, []) == []


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (disks.tidy, "the chain ends here"),
        (disks.looped, "then it comes back to {third}: it never ends"),
        (disks.off_disk, "then it leads off the disk"),
        (disks.bad_block, "then {eighth} cannot be read"),
    ],
)
def test_what_stops_a_chain(data: object, says: str) -> None:
    chain = disks.chain_of(disks.tidy(), 1)
    file = disks.opened(data()).audit.by_slot[1]  # type: ignore[operator]
    third, eighth = (Place(*TRACKS_35.place(chain[at])) for at in (2, 7))
    assert ending_text(file, TRACKS_35) == says.format(third=third, eighth=eighth)
