"""Twins and set of an image on the screen: found, opened, picked, corrected."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot
from textual.widgets import Input

from formats.compose import NewFile, compose
from loadglass.card.device import Device, Room
from loadglass.shelf.choices import ALONE
from loadglass.shelf.survey import survey
from tests.loadglass.shelf.test_twins import damaged
from tests.tui.driving import lines_of, screen_lines, settle, until
from tests.tui.harbour import HOSTILE_FILE_NAME, program
from tests.tui.memory_shelf import club_session
from tui.app import LoadglassApp
from tui.screens.beside import BesideScreen
from tui.screens.card import CardScreen
from tui.screens.disk import DiskScreen
from tui.screens.explain import Explain
from tui.screens.fill_card import FillCard
from tui.screens.put_into_set import PutIntoSet
from tui.screens.shelf import ShelfScreen

NARROW, WIDE = (80, 24), (140, 45)
LOTSE = program(60)
WHOLE = compose(b"WHOLE", [NewFile(b"TIDES", program(3)), NewFile(b"LOTSE", LOTSE)])
HURT = damaged(compose(b"HURT", [NewFile(b"LOTSE", LOTSE)]), 0, 20)
IMAGES = {
    "whole.d64": WHOLE,
    "hurt.d64": HURT,
    "kran disk 1.d64": compose(b"KRAN", [NewFile(b"KRAN", program(4))]),
    "kran disk 2.d64": compose(b"KRAN II", [NewFile(b"WINDE", program(5))]),
    "boje.d64": compose(b"BOJE", [NewFile(b"BOJE", program(6))]),
    "evil.d64": compose(b"[RED]\x1b\x9b", [NewFile(b"[/]\x1b\x0d", program(7))]),
    HOSTILE_FILE_NAME: compose(b"[BOLD]\x1b", [NewFile(b"[B]\x93", program(7))]),
}


@pytest.fixture
def app(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> LoadglassApp:
    club = tmp_path / "club"
    club.mkdir()
    for name, data in IMAGES.items():
        (club / name).write_bytes(data)
    monkeypatch.chdir(tmp_path)
    app = LoadglassApp(club_session([str(club)], tmp_path / "home"))
    app.animation_level = "none"
    return app


def text(app: LoadglassApp) -> str:
    return " ".join("\n".join(screen_lines(app)).split())


def view(app: LoadglassApp) -> BesideScreen:
    screen = app.screen
    assert isinstance(screen, BesideScreen)
    return screen


async def press(pilot: Pilot[Any], *pressed: str) -> None:
    for key in pressed:
        await pilot.press(key)
        await settle(pilot)


async def beside(pilot: Pilot[Any], words: str) -> None:
    """From the Shelf to what stands beside the one image that has these words."""
    await settle(pilot)
    await press(pilot, "/", *words, "enter", "y")
    await until(pilot, lambda: view(pilot.app).found is not None)
    await settle(pilot)


def said(app: LoadglassApp) -> set[str | None]:
    return {choice.set_name for choice in app.session.opened.choices.all().values()}


@pytest.mark.parametrize("size", [NARROW, WIDE])
async def test_the_disks_of_a_set_stand_in_order(app: LoadglassApp, size: tuple[int, int]) -> None:
    async with app.run_test(size=size) as pilot:
        await beside(pilot, "winde")
        shown = lines_of(view(app).list)
        assert "Set “kran”, 2 disks, by names and titles" in shown[1]
        assert "disk 1" in shown[2] and "KRAN" in shown[2]
        assert "disk 2, this one" in shown[3] and shown[3].startswith("›")
        assert "twins and set of KRAN II" in screen_lines(app)[0]
        assert "Nothing else on this shelf has this image's content" in text(app)
        await press(pilot, "up", "enter")
        assert isinstance(app.screen, DiskScreen) and app.screen.opened.file_name == IMAGE_ONE
        await press(pilot, "escape")
        assert view(app).list.cursor == 0
        await press(pilot, "escape")
        assert isinstance(app.screen, ShelfScreen)


IMAGE_ONE = "kran disk 1.d64"


async def test_an_evening_from_a_damaged_image_to_a_filled_card(
    app: LoadglassApp, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Device, "room", lambda _self: Room(7_800_000_000, 32768))
    monkeypatch.setattr(Device, "is_same_device_as", lambda _self, _path: False)
    (tmp_path / "card").mkdir()
    app.settings.card_folder = "card"
    async with app.run_test(size=NARROW) as pilot:
        await settle(pilot)
        await press(pilot, "/", *"hurt", "enter", "enter", "a")
        assert "It is whole on WHOLE: y shows its sound twin." in text(app)
        await press(pilot, "enter")
        assert isinstance(app.screen, Explain)
        assert "A sound twin" in text(app)
        await press(pilot, "y")
        await until(pilot, lambda: isinstance(app.screen, BesideScreen) and view(app).found)
        await settle(pilot)
        await press(pilot, "down")
        assert '"LOTSE" whole' in text(app) and "its first 5,080 B" in text(app)
        await press(pilot, "enter")
        disk = app.screen
        assert isinstance(disk, DiskScreen) and disk.opened.file_name == "whole.d64"
        assert disk.file is not None and disk.file.entry.name == b"LOTSE"
        await press(pilot, "escape", "space")
        assert [row.file_name for row in app.session.shelf.rows("picked:yes")] == ["whole.d64"]
        assert any("■" in line and "whole" in line for line in lines_of(view(app).list))
        await press(pilot, "5")
        assert isinstance(app.screen, CardScreen)
        await pilot.press("F")
        await until(pilot, lambda: isinstance(app.screen, FillCard))
        await press(pilot, "y")
        on_card = [path.read_bytes() for path in (tmp_path / "card").rglob("*.d64")]
        assert on_card == [WHOLE]


async def test_back_is_few_steps_however_many_twins_were_opened(app: LoadglassApp) -> None:
    async with app.run_test(size=NARROW) as pilot:
        await settle(pilot)
        await press(pilot, "/", *"winde", "enter", "enter")
        first = app.screen
        for file_name in (IMAGE_ONE, "kran disk 2.d64", IMAGE_ONE):
            await press(pilot, "y")
            await until(pilot, lambda: view(app).found is not None)
            await press(pilot, "up" if file_name == IMAGE_ONE else "down", "enter")
            disk = app.screen
            assert isinstance(disk, DiskScreen) and disk.opened.file_name == file_name
        assert len(app.screen_stack) == 5
        await press(pilot, "y")
        await until(pilot, lambda: view(app).found is not None)
        item = view(app).list.item
        assert item is not None and item.row.file_name == IMAGE_ONE
        await press(pilot, "escape")
        assert app.screen is first
        await press(pilot, "escape")
        assert isinstance(app.screen, ShelfScreen)


async def test_a_disk_is_taken_out_and_that_is_undone(app: LoadglassApp) -> None:
    async with app.run_test(size=NARROW) as pilot:
        await beside(pilot, "winde")
        await press(pilot, "-")
        assert said(app) == {ALONE}
        assert "You have taken it out of its set." in text(app)
        await press(pilot, "=")
        assert said(app) == set()
        assert "Set “kran”" in text(app)
        await press(pilot, "z")
        assert said(app) == {ALONE}
        assert "undone: 1 disk in no set again" in text(app)
        await press(pilot, "z")
        assert said(app) == set()
        assert "undone: 1 disk by name again" in text(app)
        assert not view(app).check_action("undo", ())


async def test_a_disk_is_put_with_those_of_a_name_near_it(app: LoadglassApp) -> None:
    async with app.run_test(size=NARROW) as pilot:
        await beside(pilot, "boje")
        assert "Nothing in names and titles says" in text(app)
        await press(pilot, "+", *"kra")
        assert isinstance(app.screen, PutIntoSet)
        assert "kran · set of 2 disks · KRAN" in text(app)
        await press(pilot, "down", "enter")
        assert "Set “kran”, 3 disks, put together by you" in text(app)
        await press(pilot, "z")
        assert said(app) == set()


async def test_a_name_of_ones_own(app: LoadglassApp) -> None:
    async with app.run_test(size=NARROW) as pilot:
        await beside(pilot, "boje")
        await press(pilot, "+", "enter", "escape")
        assert said(app) == set()
        await press(pilot, "+")
        app.screen.query_one(Input).value = "Große Fahrt"
        await press(pilot, "enter")
        assert "it is the only disk of it so far" in text(app)
        await press(pilot, "+")
        app.screen.query_one(Input).value = "\x1b[2J"
        await press(pilot, "enter")
        assert said(app) == {"Große Fahrt"}


async def test_copies_of_a_disk_are_not_counted_as_disks(app: LoadglassApp, tmp_path: Path) -> None:
    (tmp_path / "club" / "boje again.d64").write_bytes(IMAGES["boje.d64"])
    session = app.session
    survey(session.opened.index, [str(tmp_path / "club")], list(session.rigs.values()), workers=0)
    async with app.run_test(size=NARROW) as pilot:
        await beside(pilot, "file:boje.d64")
        await press(pilot, "+")
        app.screen.query_one(Input).value = "tide"
        await press(pilot, "enter")
        assert "it is the only disk of it so far" in text(app)
        await press(pilot, "escape", "escape", "/", *"file:evil.d64", "enter", "y", "+")
        app.screen.query_one(Input).value = "tide"
        await press(pilot, "enter")
        assert "Set “tide”, 2 disks and 1 copy, put together by you" in text(app)
        assert "no mark, a copy" in text(app)


async def test_the_shelf_says_the_set_of_the_row_under_the_cursor(app: LoadglassApp) -> None:
    async with app.run_test(size=NARROW) as pilot:
        await settle(pilot)
        await press(pilot, "/", *"set:kran", "enter")
        foot = lines_of(app.screen.query_one("#table"))[-1]
        assert "set “kran”, 2 disks" in foot
        await press(pilot, "escape", "/", *"boje", "enter")
        assert "set" not in lines_of(app.screen.query_one("#table"))[-1].replace(
            str(Path.cwd()), ""
        )


async def test_what_is_not_on_the_shelf_has_no_twins(app: LoadglassApp, tmp_path: Path) -> None:
    async with app.run_test(size=NARROW) as pilot:
        await settle(pilot)
        (tmp_path / "club" / "boje.d64").write_bytes(compose(b"NEW", []))
        await press(pilot, "/", *"boje", "enter", "enter", "y")
        assert isinstance(app.screen, DiskScreen)
        assert "is not on the shelf: survey its folder first" in text(app)


async def test_another_view_is_of_the_image_under_the_cursor(app: LoadglassApp) -> None:
    async with app.run_test(size=NARROW) as pilot:
        await beside(pilot, "winde")
        await press(pilot, "up", "2")
        assert isinstance(app.screen, DiskScreen) and app.screen.opened.file_name == IMAGE_ONE


@pytest.mark.parametrize("size", [NARROW, WIDE, (30, 8)])
async def test_hostile_names_are_only_text(app: LoadglassApp, size: tuple[int, int]) -> None:
    async with app.run_test(size=size) as pilot:
        await settle(pilot)
        row = next(row for row in app.session.shelf.rows("file:evil") if "evil " in row.file_name)
        app.show_beside(row.id)
        await settle(pilot)
        app.session.opened.choices.put_in_set([row.sha256], "[red]pier[/]")
        app.shelf_changed()
        await press(pilot, "down", "+", *"evil")
        for line in screen_lines(app):
            assert line.isprintable(), line
        await press(pilot, "escape", "question_mark")
        assert app.is_running


async def test_the_key_is_in_the_palette(app: LoadglassApp) -> None:
    async with app.run_test(size=WIDE) as pilot:
        await settle(pilot)
        await press(pilot, "ctrl+p", *"twins")
        await until(pilot, lambda: "Twins and set of this image" in text(app))
