import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.geometry import TRACKS_35, TRACKS_70, TRACKS_80
from loadglass.timing import motion
from loadglass.timing.motion import (
    FRESH,
    MOVE,
    STEP,
    STEP_GAP,
    STEP_ZONE,
    count_files,
    count_searches,
    pack_blocks,
    unpack_blocks,
)


def at(*places, geometry=TRACKS_35):
    return [geometry.index(*place) for place in places]


def step(zone, gap):
    return int(np.flatnonzero((zone == STEP_ZONE) & (gap == STEP_GAP))[0])


def only(row):
    """The counts of a row that are not zero, by feature."""
    return {int(i): row[i] for i in np.flatnonzero(row)}


def count_file(blocks, last_bytes=254, geometry=TRACKS_35):
    return only(count_all_files([(blocks, last_bytes)], geometry)[0])


def count_all_files(files, geometry=TRACKS_35):
    blocks = [block for row, _ in files for block in row]
    return count_files(
        geometry,
        np.array(blocks, dtype=np.intp),
        np.array([len(row) for row, _ in files], dtype=np.intp),
        np.array([last_bytes for _, last_bytes in files], dtype=np.intp),
    )


def count_all_searches(searches, at_rest, geometry=TRACKS_35):
    """Each search is the head's block, the directory's blocks, the file's first block."""
    return count_searches(
        geometry,
        heads=np.array([head for head, *_ in searches], dtype=np.intp),
        at_rest=at_rest,
        directory=np.array([b for _, *row, _ in searches for b in row], dtype=np.intp),
        lengths=np.array([len(row) - 2 for row in searches], dtype=np.intp),
        firsts=np.array([first for *_, first in searches], dtype=np.intp),
    )


@given(st.lists(st.integers(0, 3199)))
def test_packing_goes_both_ways(blocks):
    assert unpack_blocks(pack_blocks(blocks)) == tuple(blocks)
    assert np.frombuffer(pack_blocks(blocks), "<u2").tolist() == blocks


def test_zones_are_those_of_the_layout():
    assert tuple(zone.sectors for zone in TRACKS_35.zones) == motion.ZONE_SECTORS
    assert len(STEP_ZONE) == STEP.stop == 75


def test_one_block():
    assert count_file(at((17, 5)), 100) == {FRESH.start + 0: 1, motion.BYTES: 100}


def test_steps_count_the_gap_around_the_track():
    # 17/0 to 17/10, on to 17/20, and over the end of the track to 17/8: 9 sectors on
    assert count_file(at((17, 0), (17, 10), (17, 20), (17, 8)), 1) == {
        step(0, 10): 2,
        step(0, 9): 1,
        FRESH.start + 0: 1,
        motion.BYTES: 3 * 254 + 1,
    }


def test_moves_count_cylinders_and_the_zone_they_lead_to():
    # two tracks inward into zone 1, one more, and five back out into zone 0
    assert count_file(at((17, 3), (19, 3), (20, 0), (15, 0))) == {
        FRESH.start + 0: 1,
        MOVE.start + 1: 2,
        MOVE.start + 0: 1,
        motion.CYLINDERS: 2 + 1 + 5,
        motion.BYTES: 4 * 254,
    }


def test_other_side_of_the_same_cylinder_is_a_move_of_no_distance():
    # tracks 36 to 70 lie under 1 to 35
    assert count_file(at((1, 0), (36, 0), (38, 0), geometry=TRACKS_70), geometry=TRACKS_70) == {
        FRESH.start: 1,
        MOVE.start: 2,
        motion.CYLINDERS: 2,
        motion.BYTES: 3 * 254,
    }


def test_without_bit_cells_a_step_is_a_step():
    blocks = at((40, 39), (40, 0), (40, 30), geometry=TRACKS_80)
    assert count_file(blocks, geometry=TRACKS_80)[step(0, 0)] == 2


def test_search_from_rest():
    header, first, second = at((18, 0), (18, 1), (18, 4))
    (start,) = at((17, 0))
    counts = count_all_searches([(header, header, first, second, start)], at_rest=True)
    assert only(counts[0]) == {
        motion.DIRECTORY + FRESH.start + 1: 1,
        motion.DIRECTORY + step(1, 1): 1,
        motion.DIRECTORY + step(1, 3): 1,
        motion.FIRST + MOVE.start + 0: 1,
        motion.SEARCH_CYLINDERS: 1,
        motion.COMMANDS: 1,
        motion.SPIN_UPS: 1,
    }


def test_search_in_a_row_comes_from_the_file_before():
    sector, near, far = at((18, 1), (18, 9), (25, 0))
    counts = count_all_searches([(far, sector, near), (near, sector, far)], at_rest=False)
    assert only(counts[0]) == {
        motion.DIRECTORY + MOVE.start + 1: 1,
        motion.FIRST + step(1, 8): 1,
        motion.SEARCH_CYLINDERS: 7,
        motion.COMMANDS: 1,
    }
    # already on the directory track, but at an angle unknown
    assert only(counts[1]) == {
        motion.DIRECTORY + FRESH.start + 1: 1,
        motion.FIRST + MOVE.start + 2: 1,
        motion.SEARCH_CYLINDERS: 7,
        motion.COMMANDS: 1,
    }


BLOCKS = st.lists(st.integers(0, TRACKS_70.blocks - 1), min_size=1, max_size=30)


@given(st.lists(st.tuples(BLOCKS, st.integers(0, 254)), min_size=1, max_size=6))
def test_many_files_count_as_one_by_one(files):
    together = count_all_files(files, TRACKS_70)
    for row, file in zip(together, files, strict=True):
        assert np.array_equal(row, count_all_files([file], TRACKS_70)[0])
    # every block is read once
    assert together[:, : motion.ARRIVALS].sum(axis=1).tolist() == [len(b) for b, _ in files]


@given(
    st.lists(st.lists(st.integers(0, 682), min_size=3, max_size=7), min_size=1, max_size=6),
    st.booleans(),
)
def test_many_searches_count_as_one_by_one(searches, at_rest):
    together = count_all_searches(searches, at_rest)
    for row, search in zip(together, searches, strict=True):
        assert np.array_equal(row, count_all_searches([search], at_rest)[0])
        assert row[motion.DIRECTORY : motion.FIRST].sum() == len(search) - 2
        assert row[motion.FIRST : motion.SEARCH_CYLINDERS].sum() == 1


@pytest.mark.parametrize("geometry", [TRACKS_35, TRACKS_80])
def test_nothing_to_count(geometry):
    assert count_all_files([], geometry).shape == (0, motion.FILE_FEATURES)
    assert count_all_searches([], True, geometry).shape == (0, motion.SEARCH_FEATURES)
