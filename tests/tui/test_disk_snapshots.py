"""Pictures of the Disk view's panes at two sizes. `pytest --snapshot-update` takes new ones."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot

from tests.tui import disks
from tests.tui.disk_view import NARROW, NO_ROWS, WIDE, push_disk
from tests.tui.driving import settle
from tests.tui.memory_shelf import session_of
from tui.app import LoadglassApp
from tui.screens.disk import DiskScreen
from tui.widgets.key_bar import KeyBar

Compare = Callable[..., bool]


def compare(
    snap_compare: Compare, home: Path, image: bytes, size: tuple[int, int], *keys: str
) -> bool:
    app = LoadglassApp(session_of(NO_ROWS, home))
    app.animation_level = "none"

    async def show(pilot: Pilot[Any]) -> None:
        screen = await push_disk(pilot, image)
        for shared in (screen.where, screen.query_one(KeyBar)):
            shared.visible = False  # they change with every view that is added
        await pilot.press(*keys)
        await settle(pilot)
        assert isinstance(pilot.app.screen, DiskScreen)

    return snap_compare(app, terminal_size=size, run_before=show)


@pytest.mark.parametrize(
    ("name", "keys"),
    [
        ("files", ["f"]),
        ("map", ["m", *["full_stop"] * 5]),
        ("times", ["t"]),
        ("timeline", ["t", "n", "down", "down", "down"]),
        ("audit", ["a"]),
        ("contents", ["up", "c"]),
    ],
)
def test_panes_on_a_small_screen(
    snap_compare: Compare, tmp_path: Path, name: str, keys: list[str]
) -> None:
    assert compare(snap_compare, tmp_path, disks.tidy(), NARROW, "down", *keys)


@pytest.mark.parametrize("name", ["tidy", "looped", "70-track"])
def test_everything_on_a_large_screen(snap_compare: Compare, tmp_path: Path, name: str) -> None:
    assert compare(snap_compare, tmp_path, disks.DISKS[name](), WIDE, "down")


def test_a_broken_disk_on_a_small_screen(snap_compare: Compare, tmp_path: Path) -> None:
    assert compare(snap_compare, tmp_path, disks.bad_block(), NARROW, "a", "down", "up", "m")
