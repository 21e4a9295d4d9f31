"""Pictures of twins and set of an image, and of picks on the Shelf."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest
from textual.pilot import Pilot

from tests.tui.driving import settle, until
from tests.tui.harbour import HOSTILE_FILE_NAME
from tests.tui.memory_shelf import club_session
from tests.tui.test_beside_view import IMAGES, beside, view
from tui.app import LoadglassApp

Compare = Callable[..., bool]


@pytest.fixture
def app(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> LoadglassApp:
    """Of a path only its end is shown, so that pictures have no scratch folder in them."""
    club = tmp_path / "club"
    club.mkdir()
    for name in IMAGES.keys() - {HOSTILE_FILE_NAME}:
        (club / name).write_bytes(IMAGES[name])
    for screen in ("shelf", "beside"):
        monkeypatch.setattr(f"tui.screens.{screen}.visible", os.path.basename)
    app = LoadglassApp(club_session([str(club)], tmp_path / "home"))
    app.animation_level = "none"
    return app


@pytest.mark.parametrize("size", [(80, 24), (140, 45)], ids=["narrow", "wide"])
def test_twins_and_set(snap_compare: Compare, app: LoadglassApp, size: tuple[int, int]) -> None:
    async def show(pilot: Pilot[None]) -> None:
        await beside(pilot, "hurt")
        await until(pilot, lambda: view(app).found is not None)
        await settle(pilot)

    assert snap_compare(app, terminal_size=size, run_before=show)


@pytest.mark.parametrize("size", [(80, 24), (140, 45)], ids=["narrow", "wide"])
def test_picks(snap_compare: Compare, app: LoadglassApp, size: tuple[int, int]) -> None:
    async def pick(pilot: Pilot[None]) -> None:
        await settle(pilot)
        await pilot.press("space", "space", "space")
        await settle(pilot)
        await settle(pilot)

    assert snap_compare(app, terminal_size=size, run_before=pick)
