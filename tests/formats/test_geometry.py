"""The layouts against figures of 1980s drive manuals and programmer's references, from memory."""

from itertools import pairwise, product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.errors import OffDisk
from formats.geometry import (
    END,
    LAYOUTS,
    OFF_DISK,
    TRACKS_35,
    TRACKS_40,
    TRACKS_42,
    TRACKS_70,
    TRACKS_80,
    Geometry,
    Place,
)
from tests.examples import examples

BY_NAME = {layout.name: layout for layout in LAYOUTS}
ONE_SIDE = [21] * 17 + [19] * 7 + [18] * 6 + [17] * 5

# The manuals' tables of sizes and of sectors a track, from memory.
HANDBOOK = [
    ("35-track", 683, 174_848, 175_531, ONE_SIDE),
    ("40-track", 768, 196_608, 197_376, [*ONE_SIDE, *[17] * 5]),
    ("42-track", 802, 205_312, 206_114, [*ONE_SIDE, *[17] * 7]),
    ("70-track", 1_366, 349_696, 351_062, [*ONE_SIDE, *ONE_SIDE]),
    ("80-track", 3_200, 819_200, 822_400, [40] * 80),
]


@pytest.mark.parametrize(("name", "blocks", "plain", "with_errors", "sectors"), HANDBOOK)
def test_sizes_of_the_handbook(
    name: str, blocks: int, plain: int, with_errors: int, sectors: list[int]
) -> None:
    layout = BY_NAME[name]
    assert list(layout.sectors) == sectors
    assert (layout.tracks, layout.blocks) == (len(sectors), blocks)
    assert layout.size_bytes == plain
    assert layout.size_bytes + layout.blocks == with_errors


def test_every_layout_is_in_the_handbook_and_the_smallest_comes_first() -> None:
    assert [layout.name for layout in LAYOUTS] == [row[0] for row in HANDBOOK]


@pytest.mark.parametrize(
    ("layout", "header", "directory", "reserved", "maps"),
    [
        (TRACKS_35, (18, 0), (18, 1), {18}, []),
        (TRACKS_40, (18, 0), (18, 1), {18}, []),
        (TRACKS_42, (18, 0), (18, 1), {18}, []),
        (TRACKS_70, (18, 0), (18, 1), {18, 53}, [(53, 0)]),
        (TRACKS_80, (40, 0), (40, 3), {40}, [(40, 1), (40, 2)]),
    ],
)
def test_places_of_the_drive_s_own(
    layout: Geometry,
    header: tuple[int, int],
    directory: tuple[int, int],
    reserved: set[int],
    maps: list[tuple[int, int]],
) -> None:
    """Programmer's references, from memory."""
    assert (layout.header, layout.directory) == (header, directory)
    assert layout.reserved_tracks == reserved
    assert [layout.place(block) for block in layout.system_blocks] == [header, *maps]
    assert layout.place(layout.directory_block) == directory


@pytest.mark.parametrize(
    ("layout", "interleave", "entries"),
    [(TRACKS_35, 10, 144), (TRACKS_70, 6, 144), (TRACKS_80, 1, 296)],
)
def test_interleave_and_entries(layout: Geometry, interleave: int, entries: int) -> None:
    """Drive manuals, from memory."""
    assert (layout.interleave, layout.directory_limit) == (interleave, entries)


# What fits a turn: bit cells of a 16 MHz clock by 13, 14, 15, 16 and by 4; from memory.
SECTOR_AS_WRITTEN = 5 + 10 + 9 + 5 + 325  # syncs, header, gap, data block
BYTES_A_TURN = (7_692, 7_142, 6_666, 6_250)
TAIL_GAP_BYTES = (8, 17, 12, 9)


def test_each_zone_fits_a_turn() -> None:
    assert SECTOR_AS_WRITTEN == 354
    zones = zip(TRACKS_35.zones, BYTES_A_TURN, TAIL_GAP_BYTES, (13, 14, 15, 16), strict=True)
    for zone, bytes_a_turn, gap, divisor in zones:
        cell_us = divisor / 16 * 4
        assert int(200_000 / cell_us / 8) == bytes_a_turn
        assert zone.sectors * (SECTOR_AS_WRITTEN + gap) <= bytes_a_turn


GROUP_CODE = [
    *("01010", "01011", "10010", "10011", "01110", "01111", "10110", "10111"),
    *("01001", "11001", "11010", "11011", "01101", "11101", "11110", "10101"),
]


def test_group_code_keeps_the_drive_in_step() -> None:
    """The table of 4 bits as 5, from memory of drive manuals: no run of more than two zeros

    (the clock would be lost) or of more than eight ones (ten are a sync mark), in any
    sequence of codes.
    """
    assert len(set(GROUP_CODE)) == 16
    for codes in product(GROUP_CODE, repeat=3):
        bits = "".join(codes)
        assert "000" not in bits
        assert "1" * 9 not in bits
    assert 260 * 8 // 4 * 5 // 8 == 325  # a data block of 260 bytes as it is written


# -- block index and place


@pytest.mark.parametrize("layout", LAYOUTS, ids=lambda layout: layout.name)
def test_blocks_count_in_order_of_track_then_sector(layout: Geometry) -> None:
    places = [(t + 1, s) for t, count in enumerate(layout.sectors) for s in range(count)]
    assert [layout.place(block) for block in range(layout.blocks)] == places
    assert [layout.index(*place) for place in places] == list(range(layout.blocks))
    assert list(zip(layout.track_of.tolist(), layout.sector_of.tolist(), strict=True)) == places


@pytest.mark.parametrize("layout", LAYOUTS, ids=lambda layout: layout.name)
def test_links_lead_to_the_block_or_nowhere(layout: Geometry) -> None:
    """All 65,536 links a block can hold, by the slow way."""
    table = layout.next_of_link
    for track, sector in product(range(256), repeat=2):
        if track == 0:
            expected = END
        elif track <= layout.tracks and sector < layout.sectors[track - 1]:
            expected = sum(layout.sectors[: track - 1]) + sector
        else:
            expected = OFF_DISK
        assert table[track + 256 * sector] == expected


@given(
    st.sampled_from(LAYOUTS),
    st.integers(-2, 300),
    st.integers(-2, 300),
)
@examples(200)
def test_a_place_exists_or_raises(layout: Geometry, track: int, sector: int) -> None:
    if layout.exists(track, sector):
        assert layout.place(layout.index(track, sector)) == (track, sector)
    else:
        with pytest.raises(OffDisk, match=f"track {track} sector {sector} does not exist"):
            layout.index(track, sector)


def test_zones_and_cylinders() -> None:
    assert np.unique(TRACKS_80.zone_of).tolist() == [0]
    assert not TRACKS_80.has_bit_cells
    for layout in (TRACKS_35, TRACKS_40, TRACKS_42, TRACKS_70):
        first = layout.first_block
        zones = [int(layout.zone_of[first[track - 1]]) for track in (1, 17, 18, 24, 25, 30, 31, 35)]
        assert zones == [0, 0, 1, 1, 2, 2, 3, 3]
        assert layout.has_bit_cells
    assert TRACKS_42.zone_of[-1] == 3
    # Side two lies under side one.
    first = TRACKS_70.first_block
    cylinders = [int(TRACKS_70.cylinder_of[first[track - 1]]) for track in (1, 35, 36, 53, 70)]
    assert cylinders == [1, 35, 1, 18, 35]
    assert all(a <= b for a, b in pairwise(TRACKS_80.cylinder_of.tolist()))


def test_a_place_is_said_as_track_and_sector() -> None:
    assert str(Place(18, 1)) == "18/1"
