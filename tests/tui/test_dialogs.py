"""What holds for every question: what is wrong keeps it open, keys reach nothing behind it."""

from __future__ import annotations

import threading
import time
from pathlib import Path
from typing import Any

import pytest
from textual.containers import VerticalScroll
from textual.pilot import Pilot
from textual.screen import ModalScreen
from textual.widgets import Button, Input, OptionList

from loadglass.card.device import Device, Room
from loadglass.shelf.rows import ShelfRow
from tests.tui import disks
from tests.tui.bench_view import log_of, miles, readings_of, take
from tests.tui.driving import screen_lines, settle, shelf_of, until
from tests.tui.memory_shelf import club_session
from tui.app import LoadglassApp
from tui.screens.ask import AskText, ChooseOne, Entry, Question
from tui.screens.bench import BenchScreen
from tui.screens.calibrate import Calibrate
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

NOWHERE = "/no/such/place"
TO_RULES = ("5", "tab", *["down"] * 4)
FILTER, NO_FILTER = "such:thing", 'there is no field or rig "such"'

ENTRIES: list[tuple[tuple[str, ...], type[Entry[Any]], str, str]] = [
    # how to open it from the Shelf, what it is, what is wrong, what is said of that
    (("u",), AskText, NOWHERE, f"there is no folder {NOWHERE}"),
    (("g",), AskText, "[b]x", '"[b]x" is no tag'),
    (("2", "ctrl+s"), SaveFile, f"{NOWHERE}/x.prg", f"there is no folder {NOWHERE}"),
    (("slash", *"ring", "enter", "2", "M"), SaveMended, "", "type where to save it"),
    (("y", "plus"), PutIntoSet, "", "type a name for the set"),
    (("y", "plus"), PutIntoSet, "x" * 61, "a set's name is one line of at most 60"),
    (("4", "plus"), AskText, "soon", '"soon" is no reading'),
    (("4", "plus"), AskText, "", '"" is no reading'),
    (("4", "H"), Hung, "soon", '"soon" is no reading'),
    (("4", "A"), Sums, "soon", "write the number as the machine printed it"),
    (("4", "C"), Calibrate, "fast-card", "a rig we bring"),
    (("5", "plus"), AskText, FILTER, NO_FILTER),
    (("5", "plus"), AskText, "title:nowhere", "there is no image that this adds"),
    (("5", "f"), AskText, NOWHERE, f"there is no folder {NOWHERE}"),
    ((*TO_RULES, "down", "enter"), AskText, "soon", "give a time like 90s"),
    ((*TO_RULES, "down", "down", "enter"), AskText, "much", "give a number of bytes"),
    (("5", "c"), SaveContents, "list.doc", "end the name in .txt"),
    (("5", "k"), AskText, NOWHERE, f"there is no folder {NOWHERE}"),
    (("2", "slash"), AskText, FILTER, NO_FILTER),
]
OTHERS: list[tuple[tuple[str, ...], type[Question[Any]]]] = [
    (("s",), ChooseOne),
    (("r",), ChooseOne),
    (("o",), Options),
    (("question_mark",), Help),
    (("i",), Report),
    (("slash", *"ring", "enter", "2", "a", "enter"), Explain),
    (("slash", *"fog", "enter", "2", "M"), NothingToMend),
    (("5", "F"), FillCard),
    (("4", "f"), ChooseOne),
    (("4", "d"), ChooseOne),
    (("3", "D"), ChooseOne),
]


@pytest.fixture
def app(rows: list[ShelfRow], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> LoadglassApp:
    monkeypatch.setattr(Device, "room", lambda _self: Room(7_800_000_000, 32768))
    monkeypatch.setattr(Device, "is_same_device_as", lambda _self, _path: False)
    (tmp_path / "card").mkdir()
    app = LoadglassApp(club_session([row.path for row in rows], tmp_path / "home"))
    app.settings.card_folder = "card"
    app.animation_level = "none"
    log_of(app).add(readings_of(disks.opened(miles())))
    return app


def text(app: LoadglassApp) -> str:
    """All that is shown, without the frames of dialogs."""
    return " ".join(" ".join(line.strip("│ ") for line in screen_lines(app)).split())


async def opened(pilot: Pilot[Any], keys: tuple[str, ...], dialog: type[Question[Any]]) -> Any:
    await settle(pilot)
    for key in keys:
        await pilot.press(key)
        await settle(pilot)
    await until(pilot, lambda: isinstance(pilot.app.screen, dialog))
    await settle(pilot)
    return pilot.app.screen


def kinds(question: type[Question[Any]]) -> set[type[Question[Any]]]:
    """All questions of a kind that can be asked."""
    below = {kind for child in question.__subclasses__() for kind in kinds(child)}
    return below or {question}


def test_every_question_is_in_the_lists() -> None:
    asked = {dialog for _, dialog, *_ in ENTRIES}
    assert kinds(Entry) == asked
    assert kinds(Question) == asked | {dialog for _, dialog in OTHERS}
    assert {
        kind for kind in ModalScreen.__subclasses__() if kind.__module__.startswith("tui.")
    } == {Question}


@pytest.mark.parametrize(("keys", "dialog", "wrong", "says"), ENTRIES)
async def test_what_is_wrong_stays_in_the_question_and_says_why(
    app: LoadglassApp, keys: tuple[str, ...], dialog: type[Entry[Any]], wrong: str, says: str
) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await opened(pilot, keys, dialog)
        behind = app.screen_stack[-2]
        field = screen.query_one(Input)
        assert screen.focused is field
        field.value = wrong
        field.action_end()
        await pilot.press("enter")
        await until(pilot, lambda: says in text(app))
        assert app.screen is screen and screen.focused is field
        await pilot.press("1", "q")
        assert app.screen is screen and field.value == f"{wrong}1q"
        await settle(pilot)
        assert says not in text(app)
        await pilot.press("escape")
        assert app.screen is behind


@pytest.mark.parametrize(
    ("keys", "dialog"), [*OTHERS, *dict.fromkeys((keys, dialog) for keys, dialog, *_ in ENTRIES)]
)
async def test_the_keys_go_from_one_visible_thing_to_the_next(
    app: LoadglassApp, keys: tuple[str, ...], dialog: type[Question[Any]]
) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await opened(pilot, keys, dialog)
        behind = app.screen_stack[-2]
        seen = []
        for _ in screen.focus_chain:
            part = screen.focused
            assert part is not None and screen.region.contains_region(part.region)
            assert part.region.area
            if isinstance(part, VerticalScroll):
                assert len(screen.focus_chain) == 1, "text is marked by nothing"
            else:
                assert isinstance(part, Button | Input | OptionList)
            if isinstance(part, OptionList):
                assert part.highlighted is not None
            seen.append(part)
            await pilot.press("tab")
        assert sorted(map(id, seen)) == sorted(map(id, screen.focus_chain))
        await pilot.press("escape")
        assert app.screen is behind


async def test_return_on_a_finding_leads_to_the_map(app: LoadglassApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        keys = ("slash", *"ring", "enter", "2", "a", "enter")
        explain = await opened(pilot, keys, Explain)
        assert explain.focused is explain.query_one("#map")
        disk = app.screen_stack[-2]
        await pilot.press("enter")
        await settle(pilot)
        assert app.screen is disk and disk.active == "map"


async def test_a_drive_that_hangs_holds_up_only_the_answer(app: LoadglassApp) -> None:
    gate = threading.Event()
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        for _ in range(4):
            app.image_threads.submit(gate.wait, 20)
        await pilot.press("u", *"card", "enter")
        await until(pilot, lambda: "looking …" in text(app))
        await pilot.press("s")
        assert app.screen.query_one(Input).value == "cards"
        await pilot.press("enter", "escape")
        await until(pilot, lambda: isinstance(app.screen, ShelfScreen))
        gate.set()
        await settle(pilot)
        assert isinstance(app.screen, ShelfScreen) and app.works.latest is None


async def test_keys_wait_while_a_folder_is_looked_for(app: LoadglassApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await pilot.press("5")
        await settle(pilot)
        card = app.screen
        await pilot.press("f")
        field = app.screen.query_one(Input)
        app.image_threads.submit(time.sleep, 0.1)
        field.value = str(Path("card").absolute())
        await pilot.press("enter", "tab")
        assert app.screen is card and app.card_desk.pane == "rules"


@pytest.mark.parametrize("view", ["2", "3", "4", "5", "y"])
async def test_a_filter_may_be_typed_on_any_view(app: LoadglassApp, view: str) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await pilot.press(view)
        await settle(pilot)
        here = app.screen
        await pilot.press("slash", *"qk1")
        assert app.screen.query_one(Input).value == "qk1"
        await pilot.press("escape")
        assert app.screen is here
        await pilot.press("slash", *"fog", "enter")
        await until(pilot, lambda: shelf_of(app).table.row_count == 1)
        row = shelf_of(app).table.cursor_row
        assert row is not None and row.title == "FOG HORN"
        assert app.settings.filter == "fog"


async def test_a_reading_is_not_lost_to_a_filter(app: LoadglassApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await pilot.press("4")
        await settle(pilot)
        await take(pilot, 12.0)
        await pilot.press("slash", *"kk", "enter")
        await settle(pilot)
        bench = app.screen
        assert isinstance(bench, BenchScreen) and bench.holds
        assert "once more leaves without it" in text(app)
