"""In every view and every question a hostile name is text, and nothing else.

Names are hostile on the disk (title, files), on the computer (image, folder), and as tags and sets.
"""

from __future__ import annotations

import importlib
import pkgutil
from pathlib import Path
from typing import Any

import pytest
from rich.cells import cell_len
from textual.command import CommandPalette
from textual.screen import Screen

from formats.compose import NewFile, compose
from loadglass.card.device import Device, Room
from tests.journeys.monkey import HARMFUL
from tests.tui import disks
from tests.tui.driving import screen_lines, settle
from tests.tui.harbour import HOSTILE_FILE_NAME, damaged, program
from tests.tui.memory_shelf import club_session
from tui import screens
from tui.app import LoadglassApp
from tui.screens.ask import AskText, ChooseOne, Question
from tui.screens.bench import BenchScreen
from tui.screens.beside import BesideScreen
from tui.screens.calibrate import Calibrate
from tui.screens.card import CardScreen
from tui.screens.clock import ClockScreen
from tui.screens.disk import DiskScreen
from tui.screens.explain import Explain
from tui.screens.fill_card import FillCard
from tui.screens.help import Help
from tui.screens.hung import Hung
from tui.screens.options import Options
from tui.screens.put_into_set import PutIntoSet
from tui.screens.report import Report
from tui.screens.save_contents import SaveContents
from tui.screens.save_file import NothingToMend, SaveFile, SaveMended
from tui.screens.shelf import ShelfScreen
from tui.screens.sums import Sums
from tui.screens.view import View

HOSTILE_FOLDER = "[b]box \x1b[2J\u202e"
FIRST = "[i]one \x9b5n.d64"
IMAGES = {
    HOSTILE_FILE_NAME: disks.hostile(),
    FIRST: damaged(compose(b"[B]\x1b[2J\x00", [NewFile(b"[I]\x1b[H", program(40))])),
    "[i]two \x9b5n.d64": compose(b"[B]\x1b[2J\x01", [NewFile(b"[I]\x1b[H", program(40))]),
}

PLACES: list[tuple[type[Screen[Any]], tuple[str, ...]]] = [
    # what is shown on top, and the keys from the Shelf to there
    (ShelfScreen, ()),
    (ShelfScreen, ("v",)),
    (ShelfScreen, ("h",)),
    (ChooseOne, ("s",)),
    (ChooseOne, ("r",)),
    (AskText, ("g",)),
    (AskText, ("u",)),
    (Options, ("o",)),
    (Help, ("question_mark",)),
    (CommandPalette, ("ctrl+p",)),
    (ChooseOne, ("delete",)),
    (DiskScreen, ("2",)),
    (DiskScreen, ("2", "down", "m", "enter")),
    (DiskScreen, ("2", "down", "m", "enter", "n", "n", "n")),
    (DiskScreen, ("2", "down", "t", "n")),
    (DiskScreen, ("2", "down", "c")),
    (DiskScreen, ("2", "a")),
    (Explain, ("2", "a", "enter")),
    (SaveFile, ("2", "down", "ctrl+s")),
    (SaveMended, ("2", "M")),
    (NothingToMend, ("end", "2", "M")),
    (BesideScreen, ("y",)),
    (PutIntoSet, ("y", "plus")),
    (ClockScreen, ("3",)),
    (ClockScreen, ("3", "t")),
    (ChooseOne, ("3", "f")),
    (ChooseOne, ("3", "D")),
    (BenchScreen, ("4",)),
    (BenchScreen, ("down", "4")),
    (ChooseOne, ("4", "f")),
    (ChooseOne, ("4", "d")),
    (AskText, ("down", "4", "plus")),
    (Hung, ("down", "4", "H")),
    (Sums, ("down", "4", "A")),
    (CardScreen, ("5",)),
    (CardScreen, ("5", "p")),
    (AskText, ("5", "f")),
    (AskText, ("5", "plus")),
    (AskText, ("5", "k")),
    (SaveContents, ("5", "c")),
    (FillCard, ("5", "F")),
    (CardScreen, ("5", "F", "tab", "enter")),
]
OWN_CASES = {Calibrate, Report}
"""They need readings and a survey with trouble; their own tests show hostile names in them."""


@pytest.fixture
def app(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> LoadglassApp:
    monkeypatch.setattr(Device, "room", lambda _self: Room(7_800_000_000, 32768))
    monkeypatch.setattr(Device, "is_same_device_as", lambda _self, _path: False)
    folder, card = tmp_path / HOSTILE_FOLDER, tmp_path / "[card]\x07"
    folder.mkdir()
    card.mkdir()
    for name, data in IMAGES.items():
        (folder / name).write_bytes(data)
    paths = [str(folder / name) for name in IMAGES]
    app = LoadglassApp(club_session(paths, tmp_path / "home"))
    shelf, choices = app.session.shelf, app.session.opened.choices
    contents = [row.sha256 for row in shelf.rows("")]
    choices.pick(contents)
    choices.put_in_set(contents, "[red]pier[/]")
    app.settings.card_folder = str(card)
    app.animation_level = "none"
    return app


@pytest.mark.parametrize(("top", "keys"), PLACES)
async def test_it_is_only_text(
    app: LoadglassApp, top: type[Screen[Any]], keys: tuple[str, ...]
) -> None:
    async with app.run_test(size=(80, 24), notifications=True) as pilot:
        await settle(pilot)
        for key in keys:
            await pilot.press(key)
            await settle(pilot)
        assert isinstance(app.screen, top)
        for width, height in [(80, 24), (140, 45)]:
            await pilot.resize_terminal(width, height)
            await settle(pilot)
            for line in screen_lines(app):
                assert not HARMFUL & set(line)
                assert cell_len(line) == width


def test_no_view_and_no_question_is_left_out() -> None:
    for module in pkgutil.iter_modules(screens.__path__, f"{screens.__name__}."):
        importlib.import_module(module.name)
    shown = {top for top, _ in PLACES} | OWN_CASES
    ends = {each for each in below(View) | below(Question) if not each.__subclasses__()}
    assert ends <= shown


def below(base: type[Any]) -> set[type[Any]]:
    return {base}.union(*map(below, base.__subclasses__()))
