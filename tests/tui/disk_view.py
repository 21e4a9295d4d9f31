"""Showing one image in the real application."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from textual.pilot import Pilot

from loadglass.opened import Opened
from tests.tui.disks import opened
from tests.tui.driving import until
from tests.tui.memory_shelf import RIGS, session_of
from tui.app import LoadglassApp
from tui.screens.disk import DiskScreen

NARROW = (80, 24)
WIDE = (140, 45)
NO_ROWS: list[Any] = []


@asynccontextmanager
async def disk_view(
    image: bytes | Opened, size: tuple[int, int] = NARROW, *, motion: bool = False
) -> AsyncIterator[tuple[Pilot[None], DiskScreen]]:
    """The Disk view of an image, clocked and drawn. Its shelf is empty."""
    with TemporaryDirectory() as home:
        app = LoadglassApp(session_of(NO_ROWS, Path(home)))
        app.animation_level = "full" if motion else "none"
        async with app.run_test(size=size) as pilot:
            screen = await push_disk(pilot, image)
            yield pilot, screen


async def push_disk(pilot: Pilot[Any], image: bytes | Opened) -> DiskScreen:
    shown = image if isinstance(image, Opened) else opened(image)
    screen = DiskScreen(shown, list(RIGS.values()))
    await pilot.app.push_screen(screen)
    await until(pilot, lambda: screen.times.clocking is not None)
    await pilot.pause()
    return screen
