"""Driving the application in tests."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from textual.pilot import Pilot
from textual.widget import Widget

from tui.app import LoadglassApp
from tui.screens.shelf import ShelfScreen

TRIES = 100


async def until(pilot: Pilot[Any], true: Callable[[], object], tries: int = TRIES) -> None:
    """Wait until something holds; fails if it does not within a few seconds."""
    for _ in range(tries):
        await pilot.pause(0.02)
        if true():
            return
    raise AssertionError("it did not come true in time")


async def settle(pilot: Pilot[Any]) -> None:
    """Wait until timers have fired and all workers are done."""
    for _ in range(2):
        await pilot.pause(0.12)
        await pilot.app.workers.wait_for_complete()
    await pilot.pause()


def shelf_of(app: LoadglassApp) -> ShelfScreen:
    screen = app.screen
    assert isinstance(screen, ShelfScreen)
    return screen


def lines_of(widget: Widget) -> list[str]:
    """What a widget shows, line by line."""
    return [strip.text for strip in widget.render_lines(widget.size.region)]


def screen_lines(app: LoadglassApp) -> list[str]:
    """What the whole screen shows, line by line."""
    compositor = app.screen._compositor
    return ["".join(segment.text for segment in line) for line in compositor.render_strips()]
