"""The layouts and the geometry against the handbook tables (drive manuals, from memory)."""

from collections import Counter, defaultdict
from itertools import pairwise

import pytest

from .drive import Load
from .geometry import DISK_35, DISK_70, DISK_80, Geometry, Place
from .layouts import Disk, cases, directory_chain, rows, stock_tracks


@pytest.mark.parametrize(
    ("geometry", "sectors", "blocks_free"),
    [(DISK_35, 683, 664), (DISK_70, 1366, 1328), (DISK_80, 3200, 3160)],
)
def test_disks_hold_what_the_handbooks_say(
    geometry: Geometry, sectors: int, blocks_free: int
) -> None:
    held = {track: geometry.sectors(track) for track in geometry.tracks}
    assert sum(held.values()) == sectors
    assert sum(n for t, n in held.items() if t not in geometry.reserved_tracks) == blocks_free


@pytest.mark.parametrize(("track", "bytes_a_turn"), [(1, 7692), (18, 7142), (30, 6666), (66, 6250)])
def test_bit_cells_fill_a_turn(track: int, bytes_a_turn: int) -> None:
    """Handbook row "bytes that fit a turn", from memory; a sector as written is 354 of them."""
    assert 354 * 200 / DISK_70.reading_ms(track) == pytest.approx(bytes_a_turn, abs=1)


def test_sectors_fit_their_tracks() -> None:
    for track in DISK_70.tracks:
        assert DISK_70.reading_ms(track) < 200 / DISK_70.sectors(track)


def test_80_tracks_cannot_be_read_in_time() -> None:
    with pytest.raises(ValueError, match="no bit cell"):
        DISK_80.reading_ms(1)


def test_stock_order_on_21_sectors() -> None:
    """The order in the drive's documentation, from memory."""
    expected = [0, 10, 20, 8, 18, 6, 16, 4, 14, 2, 12, 1, 11, 3, 13, 5, 15, 7, 17, 9, 19]
    assert [p.sector for p in Disk(DISK_35).place_file([17], 21, 10)] == expected


def test_stock_files_start_beside_the_directory_and_move_away() -> None:
    tracks = list(
        dict.fromkeys(p.track for p in Disk(DISK_35).place_file(stock_tracks(DISK_35), 664, 10))
    )
    assert tracks == [*range(17, 0, -1), *range(19, 36)]


def test_directory_fills_its_track_three_apart() -> None:
    chain = directory_chain(DISK_35, 18)
    assert [p.sector for p in chain[:7]] == [1, 4, 7, 10, 13, 16, 2]
    assert sorted(p.sector for p in chain) == list(range(1, 19))


def test_disks_refuse_more_than_they_hold() -> None:
    with pytest.raises(ValueError, match="22 blocks asked for, only 21 free"):
        Disk(DISK_35).place_file([17], 22, 10)


def test_cases_are_many_valid_and_the_same_every_time() -> None:
    made = cases()
    assert len(made) >= 200
    assert made == cases()
    assert len({case.name for case in made}) == len(made)
    for case in made:
        geometry, blocks = case.load.geometry, case.load.blocks
        used = Counter((*blocks, *case.load.directory, geometry.header))
        assert max(used.values()) == 1, case.name
        assert all(0 <= sector < geometry.sectors(track) for track, sector in used), case.name
        assert 1 <= case.load.last_bytes <= 254


def test_cases_show_every_difficulty() -> None:
    by_kind: dict[str, list[Load]] = defaultdict(list)
    for case in cases():
        by_kind[case.kind].append(case.load)
    assert {len(load.blocks) for load in by_kind["one block"]} == {1}
    assert max(len(load.directory) for load in by_kind["late entry"]) == 18
    assert all(
        len({DISK_35.zone(place.track) for place in load.blocks}) > 1
        for load in by_kind["across zones"]
    )
    assert any(
        {place.track <= 35 for place in load.blocks} == {True, False}
        for load in by_kind["double-sided"]
    )
    gaps = {
        (b.sector - a.sector) % 21
        for load in by_kind["interleave"]
        for a, b in pairwise(load.blocks)
        if a.track == b.track <= 17
    }
    assert gaps >= set(range(1, 17))


def test_rows_share_a_disk_without_overlap() -> None:
    for row in rows():
        places: list[Place] = [place for load in row for place in load.blocks]
        assert len(places) == len(set(places))
        assert len({load.geometry for load in row}) == 1
        assert len(row[-1].directory) == (len(row) - 1) // 8 + 1
