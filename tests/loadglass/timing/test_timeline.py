"""The legs of a load add up to the load, whatever the rig and wherever the blocks lie."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formats.geometry import TRACKS_35, TRACKS_70, TRACKS_80
from loadglass.timing.estimate import clock_file
from loadglass.timing.prices import STAGES
from loadglass.timing.rig_files import BUILT_IN, built_in_rigs
from loadglass.timing.timeline import head_way, timeline

DIRECTORY = [TRACKS_35.header_block, TRACKS_35.directory_block]
RIGS = built_in_rigs()


@pytest.mark.parametrize("name", BUILT_IN)
@given(
    blocks=st.lists(st.integers(0, TRACKS_35.blocks - 1), min_size=1, max_size=60, unique=True),
    last_bytes=st.integers(1, 254),
)
@settings(max_examples=25, deadline=None)
def test_legs_add_up(name: str, blocks: list[int], last_bytes: int) -> None:
    rig = RIGS[name]
    legs = timeline(TRACKS_35, DIRECTORY, blocks, last_bytes, rig)
    whole = clock_file(TRACKS_35, DIRECTORY, blocks, last_bytes, rig)
    assert whole is not None
    for stage in STAGES:
        assert sum(leg.stages[stage] for leg in legs) == pytest.approx(whole.stages[stage])
    assert legs[-1].start_s + legs[-1].seconds == pytest.approx(whole.seconds)
    now_s = 0.0
    for leg in legs:
        assert leg.start_s == pytest.approx(now_s)
        assert all(seconds >= -1e-9 for seconds in leg.stages.values())
        now_s += leg.seconds
    runs = [leg for leg in legs if leg.track is not None]
    read = [block for leg in runs for block in blocks[leg.first - 1 : leg.first - 1 + leg.blocks]]
    assert read == blocks
    assert all(
        TRACKS_35.place(block).track == leg.track
        for leg in runs
        for block in blocks[leg.first - 1 : leg.first - 1 + leg.blocks]
    )


def test_what_comes_before_the_blocks() -> None:
    blocks = [TRACKS_35.index(17, 0), TRACKS_35.index(17, 10), TRACKS_35.index(16, 0)]
    names = {
        name: [leg.name for leg in timeline(TRACKS_35, DIRECTORY, blocks, 254, rig)]
        for name, rig in RIGS.items()
    }
    tracks = ["track 17", "track 16"]
    assert names["stock-spinning"] == ["command", "spin_up", "find", *tracks]
    assert names["fast-spinning"] == ["command", "setup", "spin_up", "find", *tracks]
    assert names["stock-card"] == ["command", "find", *tracks]


def test_the_head_moves_in_the_leg_that_it_moves_for() -> None:
    """25 ms a track and 20 ms to settle: drive documentation of the 1980s, from memory."""
    blocks = [TRACKS_35.index(17, 0), TRACKS_35.index(7, 0)]
    legs = timeline(TRACKS_35, DIRECTORY, blocks, 254, RIGS["stock-spinning"])
    assert legs[-2].stages["seek"] == 0
    assert legs[-1].stages["seek"] == pytest.approx(0.020 + 10 * 0.025)


def test_a_rig_that_does_not_mount_the_layout_has_no_timeline() -> None:
    place = TRACKS_80.index(39, 0)
    searched = [TRACKS_80.header_block, TRACKS_80.directory_block]
    assert timeline(TRACKS_80, searched, [place], 9, RIGS["stock-spinning"]) == []
    assert timeline(TRACKS_80, searched, [place], 9, RIGS["stock-card"])


def test_seventy_tracks_run_by_run() -> None:
    blocks = [TRACKS_70.index(*place) for place in ((17, 0), (52, 0), (52, 6), (17, 6))]
    searched = [TRACKS_70.header_block, TRACKS_70.directory_block]
    legs = timeline(TRACKS_70, searched, blocks, 254, RIGS["stock-spinning"])
    assert [(leg.track, leg.blocks) for leg in legs if leg.track] == [(17, 1), (52, 2), (17, 1)]


def test_a_loader_that_takes_sectors_as_they_come_has_one_leg_a_track() -> None:
    rig = replace(RIGS["fast-spinning"], name="any-spinning", order="any")
    to_and_fro = [TRACKS_35.index(*place) for place in ((17, 0), (16, 3), (17, 9), (16, 1))]
    legs = timeline(TRACKS_35, DIRECTORY, to_and_fro, 254, rig)
    assert [(leg.track, leg.first, leg.blocks) for leg in legs if leg.track] == [
        (17, 1, 2),
        (16, 3, 2),
    ]
    whole = clock_file(TRACKS_35, DIRECTORY, to_and_fro, 254, rig)
    assert whole is not None
    assert sum(leg.seconds for leg in legs) == pytest.approx(whole.seconds)


def test_the_way_of_the_head_from_the_directory_on() -> None:
    """25 ms a track and 20 ms to settle: drive documentation of the 1980s, from memory."""
    places = ((17, 0), (17, 10), (1, 0), (20, 3))
    blocks = [TRACKS_35.index(*place) for place in places]
    legs = timeline(TRACKS_35, DIRECTORY, blocks, 254, RIGS["stock-spinning"])
    assert [(leg.cylinder, leg.moved) for leg in legs if leg.track is None] == [(18, 0)] * 3
    assert [(leg.cylinder, leg.moved) for leg in legs if leg.track] == [
        (17, -1),
        (1, -16),
        (20, 19),
    ]
    way = head_way(legs)
    assert (way.moves, way.tracks) == (3, 36)
    assert way.seconds == pytest.approx(36 * 0.025 + 3 * 0.020)
    assert head_way(legs[:-1]).tracks == 17


def test_side_two_lies_under_side_one() -> None:
    blocks = [TRACKS_70.index(*place) for place in ((17, 0), (52, 0), (36, 0))]
    searched = [TRACKS_70.header_block, TRACKS_70.directory_block]
    legs = timeline(TRACKS_70, searched, blocks, 254, RIGS["stock-spinning"])
    assert [(leg.cylinder, leg.moved) for leg in legs if leg.track] == [(17, -1), (17, 0), (1, -16)]


def test_nothing_moves_on_a_card() -> None:
    blocks = [TRACKS_35.index(*place) for place in ((17, 0), (1, 0))]
    legs = timeline(TRACKS_35, DIRECTORY, blocks, 254, RIGS["fast-card"])
    assert [leg.cylinder for leg in legs if leg.track] == [17, 1]
    assert head_way(legs).moves == 0 and head_way(legs).seconds == 0


@pytest.mark.parametrize("name", ["stock-spinning", "fast-spinning"])
@given(blocks=st.lists(st.integers(0, TRACKS_35.blocks - 1), min_size=2, max_size=60, unique=True))
@settings(max_examples=25, deadline=None)
def test_moves_cost_what_the_model_counts(name: str, blocks: list[int]) -> None:
    """All but the move to the first block, which belongs to finding the file."""
    legs = timeline(TRACKS_35, DIRECTORY, blocks, 254, RIGS[name])
    later = [leg for leg in legs if leg.first > 1]
    assert head_way(later).seconds == pytest.approx(sum(leg.stages["seek"] for leg in later))
