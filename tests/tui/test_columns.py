"""Columns and how they share a width."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len
from rich.style import Style

from formats.findings import Verdict
from loadglass.opened import open_and_audit
from tests.tui.memory_shelf import RIGS, club_session, made_up_row
from tui.shelf_table import print_shelf
from tui.widgets.columns import GAP_CELLS, Column, Placed, fit, place_columns, shortened
from tui.widgets.shelf_columns import shelf_columns
from tui.widgets.table_lines import group_line, label_line
from tui.wording import seconds_text

COLUMNS = shelf_columns(RIGS["fast-card"], plain_glyphs=False)


def labels(width: int, sort: str | None = None) -> list[str]:
    return [placed.column.label for placed in place_columns(COLUMNS, width, sort)]


@pytest.mark.parametrize("width", [79, 99, 139, 200])
def test_columns_lie_beside_each_other_within_the_width(width: int) -> None:
    placed = place_columns(COLUMNS, width)
    for left, right in pairwise(placed):
        assert right.at == left.at + left.width + GAP_CELLS
    assert placed[-1].at + placed[-1].width <= width


def test_eighty_columns_show_what_matters_most() -> None:
    assert labels(79) == [
        "",
        "title",
        "verdict",
        "files",
        "blocks",
        "stock",
        "fast",
        "saved",
    ]


def test_what_is_not_all_there_has_a_lower_bound(tmp_path: Path) -> None:
    samples = Path(__file__).parents[2] / "sample_images"
    rows = club_session([str(samples)], tmp_path).shelf.page("", "title", False, 0, 50)
    own = {code_file for code_file in samples.glob("*.d64") if has_own_loader(code_file)}
    assert own
    by_name = {column.name: column for column in COLUMNS}
    for row in rows:
        shown = {name: str(column.cell(row)) for name, column in by_name.items()}
        is_own = Path(row.path) in own
        is_bound = is_own or row.verdict is Verdict.DAMAGED
        if row.all_s["fast-card"] is not None:
            assert shown["all programs, fast-card"].startswith("≥") == is_bound
            assert shown["saved by fast-card, all programs"].startswith("≈") == is_bound
            assert shown["first program, fast-card"].startswith("≥") == is_own


def test_the_command_heads_its_times_by_what_is_loaded(capsys: pytest.CaptureFixture[str]) -> None:
    for which in ("start", "all"):
        print_shelf([made_up_row(1)], [RIGS["fast-card"]], which)
        assert f"{which}, fast-card" in capsys.readouterr().out


def has_own_loader(path: Path) -> bool:
    return any(finding.code == "own-loader" for finding in open_and_audit(str(path)).audit.findings)


def test_long_times_keep_to_their_columns_with_a_mark() -> None:
    assert [seconds_text(s, "≥") for s in (33.04, 999.9, 1234.56)] == [
        "≥33.0 s",
        "≥999.9 s",
        "≥1235 s",
    ]


def test_a_wide_screen_shows_all() -> None:
    assert len(labels(140)) == len(COLUMNS)


def test_the_column_sorted_by_is_shown_however_little_it_matters() -> None:
    assert "rating" not in labels(60)
    assert "rating" in labels(60, "rating")


@given(st.integers(-5, 250))
def test_the_title_is_always_there(width: int) -> None:
    placed = place_columns(COLUMNS, width)
    assert "title" in [p.column.label for p in placed]
    assert all(p.width >= 1 for p in placed)


def test_spare_room_goes_to_columns_that_can_use_it_and_no_further() -> None:
    columns: list[Column[str]] = [
        Column("a", "a", str, width=4, rank=0, most=10),
        Column("b", "b", str, width=4, rank=1),
    ]
    assert [p.width for p in place_columns(columns, 12)] == [6, 4]
    assert [p.width for p in place_columns(columns, 60)] == [10, 4]


@given(st.text(), st.integers(1, 40), st.booleans())
def test_a_fitted_text_takes_exactly_its_cells(text: str, width: int, right: bool) -> None:
    # Control characters have no width to speak of; rows never hold any.
    text = "".join(c for c in text if c.isprintable())
    assert cell_len(fit(text, width, right)) == width


def test_numbers_stand_at_the_right_edge_and_cut_texts_say_so() -> None:
    assert fit("1.4 s", 8, right=True) == "   1.4 s"
    assert fit("SMUGGLERS TUNNEL", 12) == "SMUGGLERS T…"


@pytest.mark.parametrize("width", [79, 99, 139, 200])
@pytest.mark.parametrize("sort", ["title", "files", "blocks", "all:my-very-own-cartridge-card"])
def test_no_label_runs_into_another(width: int, sort: str) -> None:
    """A rig of the user's own may have a long name."""
    rig = replace(RIGS["fast-card"], name="my-very-own-cartridge-card")
    placed = place_columns(shelf_columns(rig, plain_glyphs=False), width, sort)
    line = "".join(s.text for s in label_line(placed, sort, True, Style(), Style()))
    assert cell_len(line) <= width + 1
    shown = line.replace("▼ ", "▼").replace("title ▼", "title").split()
    names = [p.column.label for p in placed if p.column.label]
    assert len(shown) == sum(len(name.split()) for name in names)
    assert "own" in [label.strip("▼") for label in shown]
    above = "".join(s.text for s in group_line(placed, width, Style()))
    assert cell_len(above) <= width + 1
    assert "all, my-" in above and "-card" in above


def test_a_heading_over_one_narrow_column_says_one_word() -> None:
    column: Column[object] = Column(
        "time", "start", lambda _row: "1.1 s", width=9, rank=1, group="start, SD card"
    )
    heading = "".join(s.text for s in group_line([Placed(column, 0, 9)], 20, Style()))
    assert heading.strip() == "─ start ─"


def test_a_long_name_loses_its_middle() -> None:
    assert shortened("my-fast-card", 12) == "my-fast-card"
    assert shortened("my-very-own-cartridge-card", 12) == "my-ver…-card"
    assert all(len(shortened("my-very-own-cartridge", cells)) == cells for cells in range(20))
