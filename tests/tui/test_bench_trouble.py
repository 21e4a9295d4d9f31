"""What the Bench view does when a load went wrong: hung, or memory not as on the disk."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot
from textual.widgets import Button, Input, Static

from formats.geometry import TRACKS_35
from loadglass.bench.hung_at import hung_at
from loadglass.bench.memory_check import memory_check
from tests.tui import disks
from tests.tui.bench_view import FAST, app_of, bench_view, miles, push_bench, take
from tests.tui.driving import settle, until
from tui.app import LoadglassApp
from tui.screens.disk import DiskScreen
from tui.screens.hung import Hung
from tui.screens.sums import Sums
from tui.screens.view import Subject

Compare = Callable[..., bool]
SIZES = pytest.mark.parametrize("size", [(80, 24), (140, 45)], ids=["narrow", "wide"])


def shown(pilot: Pilot[Any], part: str) -> str:
    return str(pilot.app.screen.query_one(part, Static).visual)


def app(pilot: Pilot[Any]) -> LoadglassApp:
    assert isinstance(pilot.app, LoadglassApp)
    return pilot.app


@SIZES
async def test_a_load_that_hung_is_found_on_the_map(tmp_path: Path, size: tuple[int, int]) -> None:
    async with bench_view(tmp_path, size=size) as (pilot, bench):
        await pilot.press("H", *"5.5", "enter")
        await settle(pilot)
        opened = bench.opened
        assert opened is not None
        found = hung_at(opened, 2, FAST, 5.5)
        assert found.likely is not None
        assert f"block {found.likely.number} of 151" in shown(pilot, "#found")
        assert "switch the power of machine and drive off" in shown(pilot, "#found")
        assert pilot.app.focused is pilot.app.screen.query_one("#map", Button)
        assert pilot.app.screen.query_one("#map").region.bottom <= size[1]
        await pilot.press("m")
        await until(pilot, lambda: isinstance(pilot.app.screen, DiskScreen))
        await settle(pilot)
        disk = pilot.app.screen
        assert isinstance(disk, DiskScreen) and disk.active == "map" and disk.slot == 2
        assert TRACKS_35.place(disk.map.cursor) == found.likely.place


async def test_an_address_is_taken_too_and_nonsense_is_said(tmp_path: Path) -> None:
    async with bench_view(tmp_path) as (pilot, _):
        await pilot.press("H")
        field = pilot.app.screen.query_one(Input)
        for typed, says in [
            ("$0BE7", "block 4 of 151, at "),
            ("03047", "block 4 of 151, at "),
            ("$FFFF", "outside 0801"),
            ("soon", "is no reading"),
            ("", "is no reading"),
        ]:
            field.value = typed
            field.focus()
            await pilot.press("enter")
            await settle(pilot)
            is_found = says.startswith("block")
            assert says in shown(pilot, "#found" if is_found else ".trouble")
            assert pilot.app.screen.query_one("#map").display == is_found
        await pilot.press("escape")
        assert not isinstance(pilot.app.screen, Hung)


async def test_what_the_stopwatch_shows_is_there_already(tmp_path: Path) -> None:
    async with bench_view(tmp_path) as (pilot, _):
        await take(pilot, 4.2)
        await pilot.press("H")
        assert pilot.app.screen.query_one(Input).value == "4.2"


async def test_a_damaged_file_can_be_asked_about(tmp_path: Path) -> None:
    async with bench_view(tmp_path, disks.looped(), slot=1) as (pilot, _):
        await pilot.press("H", *"90", "enter")
        await settle(pilot)
        assert "of 11" in shown(pilot, "#found") and "comes back" in shown(pilot, "#found")


async def test_sums_to_compare_at_the_machine(tmp_path: Path) -> None:
    async with bench_view(tmp_path) as (pilot, bench):
        await pilot.press("A")
        await until(pilot, lambda: isinstance(pilot.app.screen, Sums))
        assert bench.opened is not None
        check = memory_check(bench.opened, 2)
        text = shown(pilot, "#sums-text")
        assert all(each.line in text and str(each.total) in text for each in check.sums)
        await pilot.press(*str(check.sums[0].total), "enter")
        assert "the same: " in shown(pilot, "#compared")
        await pilot.press("1", "enter")
        assert "is none of these sums" in shown(pilot, "#compared")
        await pilot.press("x", "enter")
        assert "write the number" in shown(pilot, ".trouble")
        await pilot.press("escape")
        assert pilot.app.screen is bench


async def test_a_text_has_no_sums_and_all_programs_have_no_block(tmp_path: Path) -> None:
    async with bench_view(tmp_path, slot=4) as (pilot, bench):
        await pilot.press("A")
        await settle(pilot)
        assert pilot.app.screen is bench
        bench.choose_rig("fast-card")
    async with bench_view(tmp_path, slot=None) as (pilot, bench):
        await pilot.press("A", "H")
        assert pilot.app.screen is bench


async def test_both_have_a_sentence_in_the_help(tmp_path: Path) -> None:
    async with bench_view(tmp_path, size=(140, 60)) as (pilot, _):
        sentences = [b.binding.tooltip for b in pilot.app.screen.active_bindings.values()]
        assert {"Hung: which block was on its way"} < set(sentences)
        assert "Add up: is what was loaded what is on the disk?" in sentences


@SIZES
@pytest.mark.parametrize("keys", [["H", *"5.5", "enter"], ["A"]], ids=["hung", "sums"])
def test_looks(
    snap_compare: Compare, tmp_path: Path, size: tuple[int, int], keys: list[str]
) -> None:
    async def show(pilot: Pilot[Any]) -> None:
        await push_bench(pilot, Subject(disks.opened(miles()), 2))
        await pilot.press(*keys)
        await settle(pilot)
        for field in pilot.app.screen.query(Input):
            field.cursor_blink = False
        await pilot.pause()

    assert snap_compare(app_of(tmp_path), terminal_size=size, run_before=show)
