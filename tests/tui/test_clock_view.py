"""The Clock view: stages on every rig, one load in time, two rigs compared, other interleaves."""

from __future__ import annotations

import random
import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot

from loadglass.timing.estimate import clock_image
from loadglass.timing.whatif import interleave_whatif
from tests.examples import few_or_all
from tests.tui import disks
from tests.tui.bench_view import app_of, miles
from tests.tui.driving import lines_of, screen_lines, settle, until
from tests.tui.memory_shelf import RIGS
from tui.app import SMALLEST
from tui.screens.bench import BenchScreen
from tui.screens.clock import PANES, ClockScreen
from tui.screens.disk import DiskScreen
from tui.screens.shelf import ShelfScreen
from tui.screens.view import Subject
from tui.widgets.comparison_view import ComparisonView
from tui.widgets.whatif_bars import WhatIfBars

NARROW, WIDE = (80, 24), (140, 45)


@asynccontextmanager
async def clock_view(
    home: Path, image: bytes | None = None, size: tuple[int, int] = NARROW, slot: int | None = 2
) -> AsyncIterator[tuple[Pilot[None], ClockScreen]]:
    app = app_of(home)
    async with app.run_test(size=size, notifications=True) as pilot:
        screen = ClockScreen(Subject(disks.opened(image or miles()), slot))
        await app.push_screen(screen)
        await settle(pilot)
        yield pilot, screen


def text_of(pilot: Pilot[Any]) -> str:
    return "\n".join(screen_lines(pilot.app))


async def test_every_pane_comes_round_and_has_the_keys(tmp_path: Path) -> None:
    async with clock_view(tmp_path) as (pilot, screen):
        seen = []
        for _ in PANES:
            focused = screen.focused
            assert focused is not None and focused.display
            seen.append(focused.id)
            await pilot.press("tab")
        assert seen == list(PANES)
        await pilot.press("left")
        assert screen.active == "interleave"
        await pilot.click("PartTabs", offset=(2, 0))
        assert screen.active == "stages"


async def test_a_large_screen_shows_all_at_once(tmp_path: Path) -> None:
    async with clock_view(tmp_path, size=WIDE) as (pilot, screen):
        assert all(screen.query_one(f"#{name}").display for name in PANES)
        text = text_of(pilot)
        for part in (
            "On every rig",
            "From stock-card to fast-card",
            "On fast-card",
            "spin-up",
            "track 1",
        ):
            assert part in text


async def test_the_stages_are_those_of_the_clock(tmp_path: Path) -> None:
    async with clock_view(tmp_path) as (_, screen):
        clocking = clock_image(screen.opened.audit, RIGS.values())
        times = clocking.files[2]
        assert times is not None
        lines = "\n".join(lines_of(screen.query_one("#stages")))
        for estimate in times.values():
            assert estimate is not None and f"{estimate.seconds:.1f} s" in lines


async def test_the_load_can_be_stepped_through(tmp_path: Path) -> None:
    async with clock_view(tmp_path) as (pilot, screen):
        await pilot.press("tab", "home")
        assert "command: from 0.0 s on, 0.12 s; until the drive starts" in text_of(pilot)
        for _ in screen.timeline.legs:
            await pilot.press("down")
        assert "then 151 of 151 blocks have been read" in " ".join(text_of(pilot).split())
        await pilot.press("d")
        await settle(pilot)
        assert "on stock-spinning, " in text_of(pilot)
        await pilot.press("down", "down")
        assert "find: from 1.0 s on" in text_of(pilot)


async def test_the_way_of_the_head_goes_along(tmp_path: Path) -> None:
    async with clock_view(tmp_path) as (pilot, screen):
        await pilot.press("tab")
        assert "an SD card has no head" in text_of(pilot)
        await pilot.press("d")
        await settle(pilot)
        assert "head: 0 of 9 moves, 0 of 9 tracks, 0.00 of 0.4" in text_of(pilot)
        await pilot.press("end")
        assert "head: 9 of 9 moves, 9 of 9 tracks, 0.4" in text_of(pilot)
        assert "the head goes 1 track up, 45 ms" in " ".join(text_of(pilot).split())
        assert "█" in text_of(pilot) and "▲" in text_of(pilot)
        screen.app.settings.glyphs = "plain"
        screen.app.apply_settings()
        await pilot.pause()
        assert "^" in text_of(pilot) and "▲" not in text_of(pilot)


async def test_two_rigs_are_compared_stage_by_stage(tmp_path: Path) -> None:
    async with clock_view(tmp_path) as (pilot, screen):
        await pilot.press("tab", "tab")
        shown = "\n".join(lines_of(screen.query_one(ComparisonView)))
        assert "From stock-card to fast-card" in shown
        assert "× as fast as stock-card; most of what" in shown
        await pilot.press("D", "home", "enter")
        await settle(pilot)
        shown = "\n".join(lines_of(screen.query_one(ComparisonView)))
        assert "From stock-spinning to fast-card" in shown and "rotate" in shown
        await pilot.press("D", "end", "enter")
        await settle(pilot)
        assert "fast-card against itself saves nothing" in text_of(pilot)


async def test_other_interleaves_mark_todays_layout_and_explain_the_cliff(tmp_path: Path) -> None:
    async with clock_view(tmp_path) as (pilot, screen):
        bars = screen.query_one(WhatIfBars)
        await pilot.press("left")
        assert "the interleave changes nothing" in "\n".join(lines_of(bars))
        screen.rig_name = "fast-spinning"
        screen.choose(2)
        await settle(pilot)
        lines = lines_of(bars)
        assert "today usually 10" in lines[0]
        assert lines[2].startswith("› today")
        assert "is just missed" in " ".join(" ".join(lines).split())
        seconds = {line.split()[0].strip("›"): line for line in lines[3:19]}
        whatif = interleave_whatif(screen.opened.audit, 2, [RIGS["fast-spinning"]])
        best = whatif.best("fast-spinning")
        assert best in (9, 10) and "soonest" in seconds[str(best)]
        assert seconds["5"].count("█") > 1.5 * seconds["10"].count("█")


async def test_all_programs_in_a_row_and_back_to_one(tmp_path: Path) -> None:
    async with clock_view(tmp_path) as (pilot, screen):
        await pilot.press("f", "home", "enter")
        await settle(pilot)
        assert screen.slot is None
        assert "all programs in a row" in text_of(pilot)
        await pilot.press("tab")
        assert "f chooses one" in text_of(pilot)
        await pilot.press("f", "down", "enter")
        await settle(pilot)
        assert '"SHORT" · 6 blocks' in text_of(pilot)


async def test_the_chosen_file_goes_along_between_the_views(tmp_path: Path) -> None:
    async with clock_view(tmp_path) as (pilot, screen):
        await pilot.press("4")
        await settle(pilot)
        assert isinstance(pilot.app.screen, BenchScreen) and '"LONG"' in text_of(pilot)
        await pilot.press("2")
        await settle(pilot)
        assert isinstance(pilot.app.screen, DiskScreen) and pilot.app.screen.slot == 2
        await pilot.press("down", "3")
        await settle(pilot)
        assert pilot.app.screen is screen and screen.slot == 3
        assert '"LONGEST"' in text_of(pilot)
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(pilot.app.screen, ShelfScreen))


async def test_a_file_without_times_says_why(tmp_path: Path) -> None:
    async with clock_view(tmp_path, disks.looped(), slot=1) as (pilot, _):
        for _ in PANES:
            assert "it cannot be read whole" in text_of(pilot)
            await pilot.press("tab")


async def test_a_disk_without_programs_says_so(tmp_path: Path) -> None:
    async with clock_view(tmp_path, disks.empty(), slot=None) as (pilot, _):
        assert "nothing on this disk loads as a program" in text_of(pilot)


async def test_a_rig_that_does_not_mount_the_image(tmp_path: Path) -> None:
    image = disks.tidy(disks.TRACKS_80)
    async with clock_view(tmp_path, image, slot=1) as (pilot, screen):
        screen.rig_name = "fast-spinning"
        screen.choose(1)
        await settle(pilot)
        for says in ("does not mount this layout",) * 3 + ("does not mount 80-track images",):
            assert says in text_of(pilot)
            await pilot.press("tab")


KEYS = ["tab", "left", "d", "D", "f", "up", "down", "enter", "escape", "end", "2", "3", "4"]


@few_or_all(5, 40)
@pytest.mark.parametrize("name", ["tidy", "looped", "empty", "hostile", "80-track", "short"])
async def test_any_image_on_any_screen(tmp_path: Path, name: str, count: int) -> None:
    dice = random.Random(name)
    opened = disks.opened(disks.DISKS[name]())
    first = opened.audit.first_program
    app = app_of(tmp_path)
    async with app.run_test(size=NARROW) as pilot:
        for size in [NARROW, WIDE, (120, 24), (40, 10), (1, 1)]:
            await pilot.resize_terminal(*size)
            await app.push_screen(ClockScreen(Subject(opened, first.entry.slot if first else None)))
            await settle(pilot)
            await pilot.press(*dice.choices(KEYS, k=count))
            await settle(pilot)
            assert len(screen_lines(app)) == max(size[1], SMALLEST.height)
            while not isinstance(app.screen, ShelfScreen):
                await app.pop_screen()


async def test_nothing_slow_runs_on_the_thread_of_the_screen(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from tui.screens import clock
    from tui.widgets import timeline_view

    slow = {"clock_image": clock, "timeline": timeline_view, "interleave_whatif": clock}
    threads: dict[str, set[int]] = {name: set() for name in slow}

    def watched(name: str) -> object:
        before = getattr(slow[name], name)

        def call(*arguments: object) -> object:
            threads[name].add(threading.get_ident())
            return before(*arguments)

        return call

    for name in threads:
        monkeypatch.setattr(slow[name], name, watched(name))
    async with clock_view(tmp_path):
        pass
    assert all(each and threading.get_ident() not in each for each in threads.values())
