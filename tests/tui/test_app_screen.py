"""Getting about: views, back, help, palette, options, colours."""

from __future__ import annotations

import asyncio
import re
import time
from pathlib import Path

import pytest
from textual.command import CommandPalette
from textual.css.query import NoMatches
from textual.widgets import Input, Static

from loadglass.shelf.rows import ShelfRow
from tests.tui.driving import screen_lines, settle, shelf_of, until
from tests.tui.memory_shelf import club_session, session_of
from tui import themes
from tui.app import LoadglassApp
from tui.progress_line import SHOWN_AFTER_S
from tui.screens.ask import AskText
from tui.screens.bench import BenchScreen
from tui.screens.disk import DiskScreen
from tui.screens.help import Help
from tui.screens.options import Options
from tui.screens.shelf import ShelfScreen
from tui.screens.view import View
from tui.settings import load_settings


@pytest.fixture
def app(rows: list[ShelfRow], tmp_path: Path) -> LoadglassApp:
    return LoadglassApp(club_session([row.path for row in rows], tmp_path / "home"))


async def test_open_an_image_and_come_back_to_the_same_row(app: LoadglassApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await pilot.press("down", "down", "enter")
        await settle(pilot)
        assert isinstance(app.screen, DiskScreen)
        assert "2 Disk" in screen_lines(app)[0]
        await pilot.press("escape")
        assert shelf_of(app).table.cursor == 2


async def test_the_same_keys_lead_to_the_views_from_anywhere(app: LoadglassApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await pilot.press("2")
        await settle(pilot)
        assert isinstance(app.screen, DiskScreen)
        await pilot.press("2")
        await settle(pilot)
        assert isinstance(app.screen, DiskScreen)
        await pilot.press("1", "1")
        assert isinstance(app.screen, ShelfScreen)
        assert len(app.screen_stack) == 2


async def test_a_click_on_a_view_goes_there(app: LoadglassApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await pilot.click("WhereBar", offset=(12, 0))
        await settle(pilot)
        assert isinstance(app.screen, DiskScreen)
        await pilot.click("WhereBar", offset=(2, 0))
        assert isinstance(app.screen, ShelfScreen)


async def test_back_on_the_shelf_never_leaves_it(app: LoadglassApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await pilot.press("escape", "escape", "escape")
        assert isinstance(app.screen, ShelfScreen)
        assert "esc" not in screen_lines(app)[-1]


async def test_help_holds_every_key_of_the_view(app: LoadglassApp) -> None:
    async with app.run_test(size=(100, 100)) as pilot:
        await settle(pilot)
        await pilot.press("h", "?")
        await settle(pilot)
        assert isinstance(app.screen, Help)
        text = "\n".join(screen_lines(app))
        bindings = {*ShelfScreen.BINDINGS, *LoadglassApp.BINDINGS}
        for binding in bindings:
            if binding.action not in ("stop_work", "back"):  # neither is possible now
                assert binding.tooltip in text
        for word in ("sound", "quirky", "damaged", "unreadable"):
            assert word in text
        await pilot.press("escape")
        assert isinstance(app.screen, ShelfScreen)


async def test_the_palette_finds_an_action_by_plain_words(app: LoadglassApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await pilot.press("ctrl+p")
        await pilot.pause()
        assert isinstance(app.screen, CommandPalette)
        await pilot.press(*"spinning")
        await settle(pilot)
        await pilot.press("enter")
        await settle(pilot)
        assert app.settings.rig == "fast-spinning"


@pytest.mark.parametrize(
    ("words", "view", "says"),
    [
        ("mend", DiskScreen, " mend"),
        ("fit this rig", BenchScreen, "Calibrate: keep a reading of this rig first"),
        ("block lies", DiskScreen, ""),
    ],
)
async def test_the_palette_does_what_another_view_can_do_or_says_what_it_needs(
    app: LoadglassApp, words: str, view: type[View], says: str
) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await pilot.press("ctrl+p")
        await pilot.pause()
        await pilot.press(*words)
        await settle(pilot)
        assert re.search("Disk, [mM]|Bench, C", "\n".join(screen_lines(app)))
        await pilot.press("enter")
        await settle(pilot)
        assert isinstance(app.top_view, view)
        assert says in "\n".join(screen_lines(app))


async def test_the_palette_says_that_another_view_needs_an_image(tmp_path: Path) -> None:
    app = LoadglassApp(club_session([], tmp_path / "home"))
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await pilot.press("ctrl+p")
        await pilot.pause()
        await pilot.press(*"mend")
        await settle(pilot)
        await pilot.press("enter")
        await settle(pilot)
        assert isinstance(app.screen, ShelfScreen)
        assert "choose an image on the shelf first" in "\n".join(screen_lines(app))


async def test_every_action_with_a_key_is_in_the_palette(app: LoadglassApp) -> None:
    async with app.run_test(size=(100, 60)) as pilot:
        await settle(pilot)
        await pilot.press("h", "ctrl+p")
        await settle(pilot)
        text = "\n".join(screen_lines(app))
        for binding in ShelfScreen.BINDINGS:
            assert binding.tooltip in text


async def test_a_question_can_be_left(app: LoadglassApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        for key in ("s", "o", "?", "ctrl+p"):
            await pilot.press(key)
            await settle(pilot)
            assert not isinstance(app.screen, ShelfScreen)
            await pilot.press("escape")
            await settle(pilot)
            assert isinstance(app.screen, ShelfScreen)


async def test_options_change_the_colours_at_once_and_for_good(
    app: LoadglassApp, tmp_path: Path
) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        seen = []
        await pilot.press("o")
        assert isinstance(app.screen, Options)
        for _ in themes.NAMES:
            await pilot.press("enter")
            await settle(pilot)
            seen.append(app.theme)
        assert sorted(seen) == sorted(themes.NAMES)
        await pilot.press("enter", "escape", "q")
    saved, problems = load_settings(tmp_path / "home" / "settings.toml")
    assert saved.theme == seen[0] and problems == []


async def test_motion_is_taken_away_at_once_and_for_good(app: LoadglassApp, tmp_path: Path) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        assert app.animation_level == "full"
        await pilot.press("o", "end", "enter")
        assert app.animation_level == "none"
        await pilot.press("escape", "q")
    saved, _ = load_settings(tmp_path / "home" / "settings.toml")
    assert saved.motion == "off"
    again = LoadglassApp(session_of([], tmp_path / "home"))
    assert again.animation_level == "none"


async def test_without_colours_there_are_none(
    rows: list[ShelfRow], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    app = LoadglassApp(session_of(rows, tmp_path / "home"))
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await pilot.press("down")
        await settle(pilot)
        strips = app.screen._compositor.render_strips()
        colours = set()
        for strip in strips:
            for segment in strip.apply_filter(app._filters[-1], app.screen.background_colors[0]):
                if segment.style is not None:
                    colours |= {segment.style.color, segment.style.bgcolor}
        assert {colour.name for colour in colours if colour is not None} == {"default"}


async def test_a_scratch_shelf_starts_without_yesterdays_filter(
    rows: list[ShelfRow], tmp_path: Path
) -> None:
    home = tmp_path / "home"
    home.mkdir()
    (home / "settings.toml").write_text('filter = "fog"\ntheme = "fog"\nsort = "blocks"\n')
    app = LoadglassApp(session_of(rows, home, kept=False))
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        assert shelf_of(app).table.row_count == 5
        assert app.theme == "fog"
        await pilot.press("S", "q")
    saved, _ = load_settings(home / "settings.toml")
    assert (saved.filter, saved.sort, saved.descending) == ("fog", "blocks", False)


async def test_typing_in_the_filter_reaches_the_filter_only(app: LoadglassApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await pilot.press("/")
        assert isinstance(app.focused, Input)
        await pilot.press("2", "?")
        await settle(pilot)
        assert isinstance(app.screen, ShelfScreen)


async def test_slow_opening_shows_that_it_goes_on_and_can_be_stopped(
    app: LoadglassApp, monkeypatch: pytest.MonkeyPatch
) -> None:
    import threading

    import tui.app

    gate = threading.Event()
    real = tui.app.open_and_audit

    def slow(path: str) -> object:
        assert gate.wait(20)
        return real(path)

    monkeypatch.setattr(tui.app, "open_and_audit", slow)
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: shelf_of(app).table.row_count)
        asked_s = time.monotonic()
        await pilot.press("enter")
        lines = "\n".join(screen_lines(app))
        # A machine that is busy elsewhere may have needed longer than that by now.
        assert "opening evil" not in lines or time.monotonic() - asked_s > SHOWN_AFTER_S
        await until(pilot, lambda: "opening evil" in "\n".join(screen_lines(app)))
        assert "x Stop" in screen_lines(app)[-1]
        await pilot.press("down")
        assert shelf_of(app).table.cursor == 1
        await pilot.press("x")
        await until(pilot, lambda: app.works.latest is None)
        gate.set()
        await settle(pilot)
        assert isinstance(app.screen, ShelfScreen)


async def test_a_sentence_that_is_still_shown_is_not_said_once_more(tmp_path: Path) -> None:
    app = LoadglassApp(session_of([], tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await pilot.press("3", "3", "2")
        await settle(pilot)
        assert said(app) == "choose an image on the shelf first"
        assert app.sayings.waiting == 0


async def test_what_is_said_covers_nothing_and_goes_with_its_view(app: LoadglassApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        foot = screen_lines(app)[-2]
        app.notify("said in passing")
        await settle(pilot)
        lines = screen_lines(app)
        assert lines[-2].strip() == "said in passing" and lines[-3] == foot
        await pilot.press("o")
        assert said(app) == "said in passing"
        await pilot.press("escape", "enter")
        await settle(pilot)
        assert isinstance(app.screen, DiskScreen) and said(app) == ""


async def test_what_is_no_trouble_goes_by_itself(
    app: LoadglassApp, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tui.sayings.GOOD_FOR_S", 0.2)
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        app.notify("said in passing")
        app.notify("and what is said last is shown")
        assert said(app) == "and what is said last is shown"
        await until(pilot, lambda: said(app) == "")


async def test_trouble_stays_until_it_is_read(
    app: LoadglassApp, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tui.sayings.GOOD_FOR_S", 0.1)
    monkeypatch.setattr("tui.sayings.READ_S", 60.0)
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        app.warn("no such thing", "Cannot be done")
        app.warn("nor this")
        app.notify("done")
        await settle(pilot)
        line = screen_lines(app)[-2]
        assert "! Cannot be done: no such thing" in line and "(2 more, any key)" in line
        await pilot.press("down", "2")
        await settle(pilot)
        assert isinstance(app.screen, DiskScreen)
        assert said(app) == "Cannot be done: no such thing", "no key so soon has read it"
        await pilot.press("o")
        monkeypatch.setattr("tui.sayings.READ_S", 0.0)
        await pilot.press("down")
        assert said(app) == "Cannot be done: no such thing", "a key of a question"
        await pilot.press("escape", "down")
        assert said(app) == "nor this"
        await pilot.press("down")
        assert said(app) == ""


def said(app: LoadglassApp) -> str:
    return app.sayings.shown.sentence if app.sayings.shown else ""


class SlowToGo(Static):
    async def on_unmount(self) -> None:
        await asyncio.sleep(0.1)


async def test_work_that_outlives_the_parts_of_its_screen_at_the_end_is_no_fault(
    app: LoadglassApp,
) -> None:
    missed: list[NoMatches] = []

    async def late(screen: ShelfScreen) -> None:
        while screen.query("#table"):
            await asyncio.sleep(0)
        try:
            screen.query_one("#table")
        except NoMatches as error:
            missed.append(error)
            raise

    async with app.run_test(size=(80, 24)) as pilot:
        screen = pilot.app.screen
        assert isinstance(screen, ShelfScreen)
        await screen.mount(SlowToGo())
        screen.run_worker(late(screen))
    assert missed


async def test_a_question_that_is_only_being_built_at_the_end_is_no_fault(
    app: LoadglassApp,
) -> None:
    """As when a signal ends the program just after a key: the toolkit builds no parts any more."""
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        app.exit()
        app.push_screen(AskText("Which?", "one"))
        await asyncio.sleep(0.1)
