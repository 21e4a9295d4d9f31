"""Pictures of the Shelf view; `pytest --snapshot-update` takes them anew. Look at them first."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from textual.pilot import Pilot

from loadglass.shelf.rows import ShelfRow
from tests.tui.driving import settle
from tests.tui.memory_shelf import session_of
from tui.app import LoadglassApp

SIZES = [(80, 24), (140, 45)]
Compare = Callable[..., bool]


@pytest.fixture
def app(rows: list[ShelfRow], tmp_path: Path) -> LoadglassApp:
    return LoadglassApp(session_of(rows, tmp_path / "home"))


@pytest.mark.parametrize("size", SIZES)
def test_shelf(snap_compare: Compare, app: LoadglassApp, size: tuple[int, int]) -> None:
    async def choose(pilot: Pilot[None]) -> None:
        await settle(pilot)
        await pilot.press("down", "down", "down", "down")
        await settle(pilot)

    assert snap_compare(app, terminal_size=size, run_before=choose)


@pytest.mark.parametrize("theme", ["fog", "chalk", "terminal"])
def test_shelf_in_other_colours(snap_compare: Compare, app: LoadglassApp, theme: str) -> None:
    async def choose(pilot: Pilot[None]) -> None:
        app.settings.theme = theme
        app.apply_settings()
        await settle(pilot)
        await pilot.press("shift+down", "shift+down")
        await settle(pilot)

    assert snap_compare(app, terminal_size=(120, 24), run_before=choose)


def test_shelf_without_colours(
    snap_compare: Compare,
    rows: list[ShelfRow],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    app = LoadglassApp(session_of(rows, tmp_path / "home"))
    assert snap_compare(app, terminal_size=(80, 24), run_before=settle)


def test_empty_shelf(snap_compare: Compare, tmp_path: Path) -> None:
    app = LoadglassApp(session_of([], tmp_path / "home"))
    assert snap_compare(app, terminal_size=(80, 24), run_before=settle)


def test_filter_refused(snap_compare: Compare, app: LoadglassApp) -> None:
    async def type_it(pilot: Pilot[None]) -> None:
        await settle(pilot)
        await pilot.press("/", *"fog!")
        await settle(pilot)

    assert snap_compare(app, terminal_size=(80, 24), run_before=type_it)


@pytest.mark.parametrize("key", ["question_mark", "s", "o", "r", "g", "ctrl+p"])
def test_questions(snap_compare: Compare, app: LoadglassApp, key: str) -> None:
    async def ask(pilot: Pilot[None]) -> None:
        await settle(pilot)
        await pilot.press(key)
        await settle(pilot)

    assert snap_compare(app, terminal_size=(80, 24), run_before=ask)
