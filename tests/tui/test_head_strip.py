"""The way of the head drawn in time."""

from __future__ import annotations

from itertools import pairwise
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.cells import cell_len

from formats.geometry import TRACKS_35, TRACKS_70, TRACKS_80, Geometry
from loadglass.timing.rig_files import built_in_rigs
from loadglass.timing.timeline import Leg, timeline
from tui.widgets.head_strip import LABEL_CELLS, UNDER, head_text, strip
from tui.widgets.line_view import Line

RIGS = built_in_rigs()


def legs_of(
    *places: tuple[int, int], rig: str = "stock-spinning", on: Geometry = TRACKS_35
) -> list[Leg]:
    blocks = [on.index(*place) for place in places]
    return timeline(on, [on.header_block, on.directory_block], blocks, 254, RIGS[rig])


def drawn(lines: list[Line]) -> list[str]:
    return ["".join(cell.text for cell in line) for line in lines]


def test_rows_are_tracks_upwards_and_time_runs_to_the_right() -> None:
    legs = legs_of(*((17, s) for s in range(9)), *((16, s) for s in range(9)))
    *rows, axis = drawn(strip(legs, len(legs) - 1, 60, 9, plain=True))
    assert [row.split()[0] for row in rows] == ["18", "17", "16"]
    firsts = [min(row.find(glyph) % 99 for glyph in "=#") for row in rows]
    assert firsts == sorted(firsts) and firsts[0] == LABEL_CELLS
    assert "#" in rows[2] and "#" not in rows[0] + rows[1]
    assert axis.index("^") < rows[2].index("#") + 2 or "s ^" in axis


def test_what_is_still_to_come_looks_otherwise() -> None:
    legs = legs_of(*((17, s) for s in range(9)), *((16, s) for s in range(9)))
    rows = drawn(strip(legs, len(legs) - 2, 60, 9, plain=True))
    assert "-" in rows[2] and "#" in rows[1] and "=" in rows[0]
    full = "".join(drawn(strip(legs, len(legs) - 2, 60, 9, plain=False)))
    assert all(glyph in full for glyph in "─█━▲")


def test_far_tracks_share_rows_and_a_long_way_is_drawn() -> None:
    legs = legs_of((1, 0), (35, 0))
    *rows, _ = drawn(strip(legs, len(legs) - 1, 60, 9, plain=True))
    assert rows[0].split()[0] == "31–35" and rows[-1].split()[0] == "1–5"
    assert sum("|" in row for row in rows) >= len(rows) - 2


def test_the_way_is_said_up_to_here_and_in_all() -> None:
    legs = legs_of((17, 0), (1, 0), (20, 3))
    assert head_text(legs, len(legs) - 1) == "head: 3 of 3 moves, 36 of 36 tracks, 0.96 of 0.96 s"
    assert head_text(legs, len(legs) - 3) == "head: 1 of 3 moves, 1 of 36 tracks, 0.04 of 0.96 s"
    assert head_text(legs, 0).startswith("head: 0 of 3 moves")


def test_it_is_said_where_nothing_moves() -> None:
    assert "an SD card has no head" in head_text(legs_of((17, 0), (1, 0), rig="fast-card"), 0)
    assert head_text(legs_of((18, 5)), 0) == "the head stays on its track"
    assert head_text(legs_of((17, 0), (52, 0), on=TRACKS_70), 0).endswith(UNDER)


@given(
    st.lists(st.integers(0, 679), min_size=1, max_size=60, unique=True),
    st.integers(0, 140),
    st.integers(0, 12),
    st.sampled_from([(TRACKS_35, "fast-spinning"), (TRACKS_70, "stock-card")]),
    st.randoms(use_true_random=False),
)
@settings(max_examples=60, deadline=None)
def test_any_load_fits_any_room(
    blocks: list[int], width: int, rows: int, where: tuple[Geometry, str], dice: Random
) -> None:
    geometry, rig = where
    searched = [geometry.header_block, geometry.directory_block]
    legs = timeline(geometry, searched, blocks, 254, RIGS[rig])
    cursor = dice.randrange(len(legs))
    lines = drawn(strip(legs, cursor, width, rows, plain=False))
    assert len(lines) <= rows
    if lines:
        assert {cell_len(line) for line in lines} == {width}
        assert "█" in "".join(lines) and "▲" in lines[-1]


def test_eighty_tracks_have_rows_enough() -> None:
    legs = legs_of((1, 0), (80, 0), (40, 5), rig="fast-card", on=TRACKS_80)
    *rows, _ = drawn(strip(legs, 2, 70, 9, plain=False))
    assert len(rows) == 8 and rows[0].split()[0] == "71–80"
    ends = [int(row.split()[0].split("–")[0]) for row in rows]
    assert all(upper - lower == 10 for upper, lower in pairwise(ends))


@pytest.mark.parametrize("rows", [0, 1, 2])
def test_no_room_no_strip(rows: int) -> None:
    assert strip(legs_of((17, 0)), 0, 60, rows, plain=False) == []
    assert strip([], 0, 60, 9, plain=False) == []
