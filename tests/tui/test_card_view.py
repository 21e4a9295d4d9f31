"""The Card view: from picks over the plan to a filled and checked card, from the screen alone."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot
from textual.widgets import Input

import tui.card_desk
from loadglass.card.device import Device, Room
from loadglass.card.fill import Filled, FillStopped
from loadglass.progress import Job, Progress
from loadglass.shelf.rows import ShelfRow
from tests.tui.driving import lines_of, screen_lines, settle, until
from tests.tui.harbour import HOSTILE_FILE_NAME, IMAGES
from tests.tui.memory_shelf import club_session
from tui.app import LoadglassApp
from tui.card_order import CardOrder
from tui.card_outcomes import NOT_SAFE, SAFE, STOPPED
from tui.screens.card import CardScreen
from tui.screens.disk import DiskScreen
from tui.screens.fill_card import FillCard
from tui.settings import load_settings

NARROW, WIDE = (80, 24), (140, 45)
FREE_BYTES = 7_800_000_000


@pytest.fixture
def card(rows: list[ShelfRow], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty card of a known size, beside the shelf's images; its path is `card`."""
    monkeypatch.setattr(Device, "room", lambda _self: Room(FREE_BYTES, 32768))
    monkeypatch.setattr(Device, "is_same_device_as", lambda _self, _path: False)
    folder = tmp_path / "card"
    folder.mkdir()
    return folder


@pytest.fixture
def app(rows: list[ShelfRow], card: Path, tmp_path: Path) -> LoadglassApp:
    app = LoadglassApp(club_session([row.path for row in rows], tmp_path / "home"))
    app.settings.card_folder = "card"
    app.animation_level = "none"
    return app


def view(app: LoadglassApp) -> CardScreen:
    screen = app.screen
    assert isinstance(screen, CardScreen)
    return screen


def text(app: LoadglassApp) -> str:
    return " ".join("\n".join(screen_lines(app)).split())


def sums(app: LoadglassApp) -> str:
    """The sentences above the list."""
    return " ".join(" ".join(lines_of(view(app).query_one("#sums"))).split())


async def press(pilot: Pilot[Any], *pressed: str) -> None:
    for key in pressed:
        await pilot.press(key)
        await settle(pilot)


async def fill(pilot: Pilot[Any]) -> None:
    """Plan, say yes, and wait until it is done."""
    await pilot.press("F")
    await until(pilot, lambda: isinstance(pilot.app.screen, FillCard))
    await pilot.press("y")
    await settle(pilot)


def on_card(card: Path) -> dict[str, bytes]:
    return {
        path.relative_to(card).as_posix(): path.read_bytes()
        for path in card.rglob("*")
        if path.is_file() and ".loadglass" not in path.parts
    }


@pytest.mark.parametrize("size", [NARROW, WIDE])
async def test_from_picks_to_a_filled_and_checked_card(
    app: LoadglassApp, card: Path, tmp_path: Path, size: tuple[int, int]
) -> None:
    kept = tmp_path / "kept"
    kept.mkdir()
    async with app.run_test(size=size) as pilot:
        await settle(pilot)
        await press(pilot, "/", *"fog", "enter", "P", "escape", "/", *"lantern", "enter", "P")
        await press(pilot, "5")
        basket = "\n".join(lines_of(view(app).table))
        assert "FOG HORN" in basket and "LANTERN WATCH" in basket and "MEMBERS" not in basket
        assert "Picks 2 images, 349.7 kB" in text(app)

        await press(pilot, "p")
        assert "2 images, 349.7 kB, in 1 folder" in text(app)
        assert app.card_desk.outcome is not None
        says = "copying takes up 393.2 kB of the card, 7.8 GB free"
        assert app.card_desk.outcome.sums[0].endswith(says) and "2 new" in sums(app)
        assert "fog-horn.d64" in "\n".join(lines_of(view(app).list))
        assert on_card(card) == {}, "a plan writes nothing"

        await pilot.press("F")
        await until(pilot, lambda: isinstance(app.screen, FillCard))
        await settle(pilot)
        assert "Fill card like this?" in text(app) and "fog-horn.d64" in text(app)
        await press(pilot, "escape")
        assert on_card(card) == {}, "nothing is written unless the person says so"
        await fill(pilot)
        names = {"fog-horn.d64": "fog-horn.d64", "lantern.d64": "lantern-watch.d64"}
        assert sorted(on_card(card).values()) == sorted(IMAGES[name] for name in names)
        assert SAFE in sums(app) and "2 copied" in sums(app)

        await press(pilot, "a")
        assert "2 ok, 0 missing, 0 changed" in text(app)
        saved = card / "fog-horn.d64"
        score = saved.read_bytes()[:-1] + b"\x07"
        saved.write_bytes(score)
        (card / "foreign.txt").write_bytes(b"ahoi")
        await press(pilot, "a")
        assert "1 ok, 0 missing, 1 changed, 1 foreign" in text(app)
        rows = {row.name: row.word for row in view(app).list.rows}
        assert rows["fog-horn.d64"] == "changed" and rows["foreign.txt"] == "foreign"

        await press(pilot, "k")
        app.screen.query_one(Input).value = str(kept)
        await press(pilot, "enter")
        assert "1 changed file brought back" in text(app)
        assert (kept / "fog-horn changed.d64").read_bytes() == score
        await fill(pilot)
        assert saved.read_bytes() == score, "what a drive changed is kept"
        assert "a drive has changed 1 file, which stays" in text(app)
        app.card_desk.change("replace_changed", True)
        await fill(pilot)
        assert saved.read_bytes() == IMAGES["fog-horn.d64"]
        assert (card / "foreign.txt").read_bytes() == b"ahoi"


async def test_without_picks_all_that_is_whole_is_taken(app: LoadglassApp) -> None:
    async with app.run_test(size=NARROW) as pilot:
        await settle(pilot)
        await press(pilot, "5")
        assert "Nothing is picked" in text(app)
        await press(pilot, "p", "n")
        rows = [(row.word, row.name) for row in view(app).list.rows]
        assert [word for word, _ in rows] == ["new"] * 4 + ["left out"]
        assert view(app).list.row is not None and view(app).list.row.word == "left out"
        assert "ring-buoy.d64 damaged" in text(app)


async def test_rules_are_changed_line_by_line_and_change_the_plan(app: LoadglassApp) -> None:
    async with app.run_test(size=NARROW, notifications=True) as pilot:
        await settle(pilot)
        await press(pilot, "5", "p", "shift+tab")
        rules = view(app).rules
        assert app.focused is rules
        await press(pilot, "down", "down", "enter", "enter", "enter")
        assert rules.rule.name == "damaged" and "taken as they are" in text(app)
        await press(pilot, "down", "down", "down", "enter", *"soon", "enter")
        assert "Longest load soon: give a time like 90s, 30min or 2h." in text(app)
        assert app.card_desk.order.longest == ""
        app.screen.query_one(Input).value = "5s"
        await press(pilot, "enter", "tab")
        assert "p plans again" in text(app)
        await press(pilot, "p")
        rows = view(app).list.rows
        assert "p plans again" not in text(app)
        why = {row.name: row.says for row in rows if row.word == "left out"}
        assert "more than 5 s" in why["fog-horn.d64"]
        assert "ring-buoy.d64" not in why or "damaged" not in why["ring-buoy.d64"]


async def test_rules_are_remembered_and_can_be_as_usual_again(app: LoadglassApp) -> None:
    async with app.run_test(size=NARROW) as pilot:
        await settle(pilot)
        await press(pilot, "P", "5", "tab")
        assert "takes all rules back" not in text(app)
        assert "1 damaged: not counted" in text(app)
        await press(pilot, "down", "down", "enter", "down", "enter")
        assert "1 damaged: in the plan, if mending helps" in text(app)
        await press(pilot, "up", "enter")
        assert "not counted" not in text(app) and "Picks 5 images" in text(app)
        await press(pilot, "q")
    again = LoadglassApp(app.session)
    async with again.run_test(size=NARROW, notifications=True) as pilot:
        await settle(pilot)
        assert "5 picked" in text(again), "the Shelf goes by them too"
        await press(pilot, "5", "tab")
        order = again.card_desk.order
        assert (order.damaged, order.every_copy) == ("mended or taken", True)
        assert "= takes all rules back" in text(again)
        await press(pilot, "equals_sign")
        assert "2 rules of the card as usual again" in text(again)
        assert order == CardOrder(folder="card", rig="fast-card")
        await press(pilot, "q")
    assert load_settings(app.session.home.settings)[0] == again.settings
    assert again.settings.card_damaged == "left out"


async def test_pictures_of_the_basket_are_taken_back_and_added(app: LoadglassApp) -> None:
    async with app.run_test(size=NARROW, notifications=True) as pilot:
        await settle(pilot)
        await press(pilot, "5", "plus", *"verdict:sound", "enter")
        count = view(app).table.row_count
        assert count == app.session.shelf.count("verdict:sound") > 1
        assert f"Picks {count} images" in text(app)
        first = view(app).table.cursor_row
        await press(pilot, "space")
        assert view(app).table.row_count == count - 1
        assert view(app).table.cursor_row != first
        await press(pilot, "plus", *"such:thing", "enter")
        assert 'there is no field or rig "such"' in text(app)
        app.screen.query_one(Input).value = "title:nowhere"
        await press(pilot, "enter")
        assert "there is no image that this adds" in text(app)


async def test_a_card_that_is_not_there_is_said(app: LoadglassApp) -> None:
    app.settings.card_folder = ""
    async with app.run_test(size=NARROW, notifications=True) as pilot:
        await settle(pilot)
        await press(pilot, "5")
        assert "not named yet" in text(app)
        await press(pilot, "p", *"nowhere", "enter")
        assert "there is no folder nowhere" in text(app)
        app.screen.query_one(Input).value = "card"
        await press(pilot, "enter", "a")
        assert "there is no list of loadglass on card" in text(app)
        await press(pilot, "p")
        assert "4 new" in text(app)
        await press(pilot, "q")
    settings, problems = load_settings(app.session.home.settings)
    assert settings.card_folder == "card" and problems == []


async def test_what_is_said_of_one_folder_never_stands_beside_another(
    app: LoadglassApp, tmp_path: Path
) -> None:
    other = tmp_path / "other"
    other.mkdir()
    async with app.run_test(size=NARROW) as pilot:
        await settle(pilot)
        await press(pilot, "space", "5", "F")
        await until(pilot, lambda: isinstance(app.screen, FillCard))
        await pilot.press("y")
        await until(pilot, lambda: SAFE in text(app))
        await press(pilot, "f")
        app.screen.query_one(Input).value = str(other)
        await press(pilot, "enter")
        assert SAFE not in text(app)
        assert app.card_desk.outcome is None and app.card_desk.order.folder == str(other)
        with app.works.going_on("filling the card") as work:
            app.card_desk.work = work
            app.card_desk.change("folder", "elsewhere")
            app.card_desk.work = None
        assert app.card_desk.order.folder == str(other)


async def test_the_state_is_kept_while_one_looks_elsewhere(app: LoadglassApp) -> None:
    async with app.run_test(size=WIDE) as pilot:
        await settle(pilot)
        await press(pilot, "space", "5", "p")
        shown = lines_of(view(app).list)
        await press(pilot, "1", "5")
        assert lines_of(view(app).list) == shown and app.focused is view(app).list
        await press(pilot, "tab", "enter")
        assert isinstance(app.screen, DiskScreen)
        await press(pilot, "escape")
        assert app.focused is view(app).table
        await press(pilot, "space")
        assert "p plans again" in text(app)


async def test_a_fill_goes_on_elsewhere_shows_how_far_it_is_and_stops(
    app: LoadglassApp, monkeypatch: pytest.MonkeyPatch
) -> None:
    stopped = threading.Event()

    def slow(_device: Device, plan: Any, job: Job) -> Filled:
        first, second, *_ = plan.picks
        job.report(Progress(174848, 699392, 1.0, second.entry.target))
        assert stopped.wait(20) and job.stopping
        raise FillStopped(Filled(copied=[first.entry]))

    monkeypatch.setattr(tui.card_desk, "fill", slow)
    async with app.run_test(size=(120, 30)) as pilot:
        await settle(pilot)
        await press(pilot, "5")
        await pilot.press("F")
        await until(pilot, lambda: isinstance(app.screen, FillCard))
        await pilot.press("y")
        await until(pilot, lambda: "174.8 kB of 699.4 kB" in text(app))
        assert "174.8 kB a second, 3 seconds left" in text(app)
        lines = [line.split()[:2] for line in lines_of(view(app).list)]
        assert [line[0].strip("›") or line[1] for line in lines[1:3]] == ["copied", "copying"]
        assert not view(app).check_action("fill", ()), "one at a time"
        await pilot.press("1")
        await until(pilot, lambda: "filling the card" in text(app))
        await pilot.press("5", "x")
        stopped.set()
        await until(pilot, lambda: STOPPED in sums(app))
        assert SAFE not in sums(app) and "1 copied" in sums(app)


async def test_a_card_that_fails_is_not_safe(
    app: LoadglassApp, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Device, "write", full)
    async with app.run_test(size=NARROW, notifications=True) as pilot:
        await settle(pilot)
        await press(pilot, "5")
        await fill(pilot)
        assert NOT_SAFE in sums(app) and SAFE not in sums(app)
        assert "The fill has ended" in sums(app)


async def test_the_question_rests_on_leaving_where_something_would_go(
    app: LoadglassApp, card: Path
) -> None:
    async with app.run_test(size=NARROW) as pilot:
        await settle(pilot)
        await press(pilot, "5")
        await fill(pilot)
        assert len(on_card(card)) == 4
        await press(pilot, "plus", *"fog", "enter")
        await fill(pilot)
        assert "nothing copied; 1 there already; 0 removed; 3 from earlier left there" in sums(app)
        assert "1 there · 3 stay" in sums(app)
        app.card_desk.change("remove_unpicked", True)
        await pilot.press("F")
        await until(pilot, lambda: isinstance(app.screen, FillCard))
        await settle(pilot)
        assert "To be removed" in text(app) and app.focused is not None
        assert app.focused.id == "leave"
        await press(pilot, "enter")
        assert len(on_card(card)) == 4
        await fill(pilot)
        assert list(on_card(card)) == ["fog-horn.d64"]


@pytest.mark.parametrize(
    ("name", "begins"), [("list.txt", "Title"), ("list.html", "<!DOCTYPE"), ("list.csv", "title,")]
)
async def test_the_contents_are_saved_as_their_name_ends(
    app: LoadglassApp, tmp_path: Path, name: str, begins: str
) -> None:
    target = tmp_path / name
    async with app.run_test(size=NARROW, notifications=True) as pilot:
        await settle(pilot)
        await press(pilot, "5")
        await fill(pilot)
        await pilot.press("c")
        app.screen.query_one(Input).value = name
        await press(pilot, "enter")
        assert target.read_text().startswith(begins) and "FOG HORN" in target.read_text()
        target.write_text("mine")
        await pilot.press("c")
        app.screen.query_one(Input).value = name
        await press(pilot, "enter", "enter")
        assert target.read_text() == "mine"
        await pilot.press("c")
        app.screen.query_one(Input).value = name
        await press(pilot, "enter", "shift+tab", "enter")
        assert target.read_text().startswith(begins)
        await pilot.press("c")
        app.screen.query_one(Input).value = "list.doc"
        await press(pilot, "enter")
        assert "end the name in .txt" in text(app)


async def test_hostile_names_are_only_text(
    rows: list[ShelfRow], card: Path, tmp_path: Path
) -> None:
    evil = tmp_path / HOSTILE_FILE_NAME
    evil.write_bytes(IMAGES["ring-buoy.d64"])
    app = LoadglassApp(club_session([str(evil), rows[-1].path], tmp_path / "home"))
    app.settings.card_folder = "card"
    async with app.run_test(size=WIDE) as pilot:
        await settle(pilot)
        await press(pilot, "5", "p", "end")
        await fill(pilot)
        (card / "x \x1b[31m[bold].txt").write_bytes(b"")
        await press(pilot, "a", "home")
        shown = "".join(screen_lines(app))
        assert not set("\x1b\x07\x9b\u202e") & set(shown) and "[bold]" in shown


async def test_panes_are_reached_with_the_mouse(app: LoadglassApp) -> None:
    async with app.run_test(size=NARROW) as pilot:
        await settle(pilot)
        await press(pilot, "5")
        await pilot.click("PartTabs", offset=(10, 0))
        await settle(pilot)
        assert app.focused is view(app).rules
        await pilot.click("PartTabs", offset=(17, 0))
        await settle(pilot)
        assert app.focused is view(app).list
        await pilot.click("PartTabs", offset=(1, 0))
        await settle(pilot)
        assert app.focused is view(app).table


@pytest.mark.parametrize("size", [NARROW, WIDE])
@pytest.mark.parametrize(
    ("name", "keys"),
    [
        ("basket", []),
        ("rules", ["tab", "down", "down", "enter"]),
        ("plan", ["p", "end"]),
        ("question", ["F"]),
    ],
)
def test_pictures(
    snap_compare: Callable[..., bool],
    app: LoadglassApp,
    name: str,
    keys: list[str],
    size: tuple[int, int],
) -> None:
    async def show(pilot: Pilot[Any]) -> None:
        await settle(pilot)
        await press(pilot, "space", "space", "space", "5")
        for key in keys:
            await pilot.press(key)
            await pilot.pause(0.3)
        if name == "question":
            await until(pilot, lambda: isinstance(pilot.app.screen, FillCard))
        await pilot.pause(0.2)

    assert snap_compare(app, terminal_size=size, run_before=show)
