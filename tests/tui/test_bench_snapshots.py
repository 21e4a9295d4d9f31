"""Pictures of the Bench and the Clock view. `pytest --snapshot-update` takes new ones."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot
from textual.widgets import Input

from tests.tui import disks
from tests.tui.bench_view import app_of, log_of, miles, push_bench, readings_of
from tests.tui.driving import settle, until
from tui.screens.bench import BenchScreen
from tui.screens.clock import ClockScreen
from tui.screens.view import Subject
from tui.watch import Watch

Compare = Callable[..., bool]
NARROW, WIDE = (80, 24), (140, 45)
SIZES = pytest.mark.parametrize("size", [NARROW, WIDE], ids=["narrow", "wide"])


def compare_bench(
    snap_compare: Compare,
    home: Path,
    size: tuple[int, int],
    *keys: str,
    stopped_s: float | None = None,
) -> bool:
    opened = disks.opened(miles())
    app = app_of(home)
    first, *others = readings_of(opened)
    log_of(app).add([replace(first, remark="new card"), *others])

    async def show(pilot: Pilot[Any]) -> None:
        screen = await push_bench(pilot, Subject(opened, 2))
        await until(pilot, lambda: screen.table.rows)
        if stopped_s is not None:
            screen.stopwatch.clock = Watch(0.0, stopped_s)
            screen.stopwatch.lay()
            screen.show_remark()
            screen.refresh_bindings()
        await pilot.press(*keys)
        await settle(pilot)
        for typed in pilot.app.screen.query(Input):
            typed.cursor_blink = False
        assert any(isinstance(each, BenchScreen) for each in pilot.app.screen_stack)

    return snap_compare(app, terminal_size=size, run_before=show)


@SIZES
def test_bench_before_the_start(
    snap_compare: Compare, tmp_path: Path, size: tuple[int, int]
) -> None:
    assert compare_bench(snap_compare, tmp_path, size, "down")


@SIZES
def test_bench_with_a_reading(snap_compare: Compare, tmp_path: Path, size: tuple[int, int]) -> None:
    assert compare_bench(snap_compare, tmp_path, size, stopped_s=66.6)


@SIZES
def test_calibrating(snap_compare: Compare, tmp_path: Path, size: tuple[int, int]) -> None:
    assert compare_bench(snap_compare, tmp_path, size, "C")


@pytest.mark.parametrize(
    ("name", "size", "keys"),
    [
        ("stages", NARROW, []),
        ("timeline", NARROW, ["tab", "down", "down", "down", "down"]),
        ("compare", NARROW, ["tab", "tab"]),
        ("interleave", NARROW, ["left", "d", "d", "d"]),
        ("all", WIDE, ["d", "d", "d"]),
    ],
)
def test_clock(
    snap_compare: Compare, tmp_path: Path, name: str, size: tuple[int, int], keys: list[str]
) -> None:
    app = app_of(tmp_path)

    async def show(pilot: Pilot[Any]) -> None:
        await pilot.app.push_screen(ClockScreen(Subject(disks.opened(miles()), 2)))
        await settle(pilot)
        await pilot.press(*keys)
        await settle(pilot)

    assert snap_compare(app, terminal_size=size, run_before=show)
