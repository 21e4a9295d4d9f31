"""Whole evenings at the screen: what is seen on the way, and what is on the card at the end."""

from __future__ import annotations

import re
import time
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest
from textual import events
from textual.pilot import Pilot
from textual.widgets import Input

import tui.app
from formats.compose import NewFile, compose
from formats.geometry import TRACKS_35
from loadglass.card.device import Device, Room
from loadglass.progress import Job, Progress
from loadglass.shelf.survey import SurveyResult
from sample_images import folder
from tests.journeys.cage import Cage, caged, session_on
from tests.tui import disks
from tests.tui.bench_view import take
from tests.tui.driving import screen_lines, until
from tests.tui.harbour import HOSTILE_FILE_NAME, IMAGES, program
from tui.app import LoadglassApp
from tui.card_outcomes import SAFE
from tui.screens.ask import AskText
from tui.screens.bench import BenchScreen
from tui.screens.beside import BesideScreen
from tui.screens.calibrate import Calibrate
from tui.screens.card import CardScreen
from tui.screens.clock import ClockScreen
from tui.screens.disk import DiskScreen
from tui.screens.explain import Explain
from tui.screens.fill_card import FillCard
from tui.screens.shelf import ShelfScreen

SAMPLES = ("fog-over-grauhaven.d64", "lantern-watch.d64", "attic-finds.zip")
MANY = 300


def samples() -> dict[str, bytes]:
    files = {name: Path(folder(), name).read_bytes() for name in SAMPLES}
    whole = compose(b"RING BUOY", [NewFile(b"BUOY", program(40))])
    chain = disks.chain_of(whole, 0)
    files["ring-buoy.d64"] = disks.relinked(whole, chain[20], TRACKS_35.place(chain[3]))
    files["from-a-friend.d64"] = whole
    return {**files, HOSTILE_FILE_NAME: IMAGES["evil-name.d64"], "torn.d64": b"x"}


def many() -> dict[str, bytes]:
    return {
        f"{number:03}.d64": compose(
            b"BOJE %03d" % number, [NewFile(b"TEIL %d" % number, program(1 + number % 5))]
        )
        for number in range(MANY)
    }


def words(app: LoadglassApp) -> str:
    """What the screen shows, however its lines are broken and framed."""
    return " ".join(" ".join(screen_lines(app)).replace("│", " ").split())


@asynccontextmanager
async def sitting(cage: Cage, size: tuple[int, int]) -> AsyncIterator[tuple[Pilot[None], Any]]:
    """From one start of the application on the kept shelf to its end."""
    with session_on(cage, surveyed=False) as session:
        app = LoadglassApp(session)
        app.animation_level = "none"
        try:
            async with app.run_test(size=size, notifications=True) as pilot:
                yield pilot, app
        finally:
            app.close()


async def ask(pilot: Pilot[Any], key: str, text: str) -> None:
    """Press a key that asks something, and answer."""
    await pilot.press(key)
    await until(pilot, lambda: isinstance(pilot.app.screen, AskText))
    await write(pilot, text)


async def write(pilot: Pilot[Any], text: str) -> None:
    """Put a text into the field that has the keys, all at once, and press return."""
    field = pilot.app.focused
    assert isinstance(field, Input)
    field.clear()
    field.post_message(events.Paste(text))
    await pilot.press("enter")


async def go(pilot: Pilot[Any], key: str, screen: type) -> Any:
    await pilot.press(key)
    await until(pilot, lambda: isinstance(pilot.app.screen, screen))
    return pilot.app.screen


async def filtered(pilot: Pilot[Any], text: str, shown: int) -> None:
    """Filter the shelf, in place of the filter before."""
    shelf = pilot.app.screen
    assert isinstance(shelf, ShelfScreen)
    await pilot.press("slash")
    await write(pilot, text)
    await until(pilot, lambda: shelf.table.query_shown.filter_text == text)
    await until(pilot, lambda: shelf.table.row_count == shown)


def range_on(app: LoadglassApp, rig: str) -> float:
    """The width, in seconds, of the range that the Clock view shows for a rig."""
    lines = screen_lines(app)
    first = next(number for number, line in enumerate(lines) if line.strip().startswith(rig + " "))
    found = re.search(r"([\d.]+)–([\d.]+) s", " ".join(lines[first : first + 2]))
    assert found is not None, lines
    return float(found[2]) - float(found[1])


async def range_on_shelf(pilot: Pilot[Any], rig: str) -> float:
    """The width, in seconds, of the range that the Shelf's preview gives for a rig."""

    def found() -> re.Match[str] | None:
        shown = "\n".join(screen_lines(pilot.app))  # type: ignore[arg-type]
        return re.search(rf"{rig}: 90 % range ([\d.]+)–([\d.]+) s", shown)

    await until(pilot, found)
    ends = found()
    assert ends is not None
    return float(ends[2]) - float(ends[1])


@pytest.fixture
def roomy(monkeypatch: pytest.MonkeyPatch) -> None:
    """The card is a folder of this disk: as if it were a device of its own."""
    monkeypatch.setattr(Device, "room", lambda _self: Room(7_800_000_000, 32768))
    monkeypatch.setattr(Device, "is_same_device_as", lambda _self, _path: False)


@pytest.fixture
def cage(tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[Cage]:
    with caged(tmp_path, request.param()) as cage:
        yield cage
        assert cage.escapes == []
        assert cage.changed_images() == []


@pytest.mark.parametrize("cage", [samples], indirect=True)
async def test_an_evening_from_the_empty_shelf_to_a_calibrated_rig(cage: Cage, roomy: None) -> None:
    async with sitting(cage, (100, 30)) as (pilot, app):
        await until(pilot, lambda: "The shelf is empty" in words(app))
        assert "u survey a folder of disk images" in words(app)
        await ask(pilot, "u", "../images")
        await until(pilot, lambda: "shelf: 8 images" in screen_lines(app)[0])
        await until(pilot, lambda: "GRAUHAVEN FOG" in words(app))

        await is_the_image_whole(pilot, app)
        await fill_the_card(pilot, app, cage)
        await how_long_does_it_load(pilot, app)
        await pilot.press("q")
    assert app.return_code == 0

    async with sitting(cage, (100, 30)) as (pilot, app):
        await until(pilot, lambda: "shelf: 8 images" in screen_lines(app)[0])
        await go(pilot, "5", CardScreen)
        await until(pilot, lambda: "Picks 2 images" in words(app))
        assert len(app.session.rigs) == 5, "the fitted rig is there again"
        assert "For my-fast-card" in words(app)


async def is_the_image_whole(pilot: Pilot[Any], app: LoadglassApp) -> None:
    """From the filter over a finding and its explanation to the block on the map."""
    await filtered(pilot, "verdict:damaged", 1)
    assert "RING BUOY" in words(app) and "1 of 8" in words(app)
    assert "GRAUHAVEN FOG" not in words(app)
    disk = await go(pilot, "enter", DiskScreen)
    await pilot.press("a")
    await go(pilot, "enter", Explain)
    for head in ("damage:", "What the hardware does", "What mends it", "comes back"):
        assert head in words(app)
    finding = disk.findings.findings[disk.findings.cursor]
    await go(pilot, "m", DiskScreen)
    assert disk.active == "map"
    assert disk.map.cursor == TRACKS_35.index(*finding.place)
    assert str(finding.place) in words(app)
    beside = await go(pilot, "y", BesideScreen)
    await until(pilot, lambda: beside.found is not None)
    assert len(beside.found.sound) == 1, "the friend's copy has the damaged file whole"
    await until(pilot, lambda: "o sound" in words(app))
    await go(pilot, "1", ShelfScreen)


async def fill_the_card(pilot: Pilot[Any], app: LoadglassApp, cage: Cage) -> None:
    """Picks, plan, a fill that is not agreed to, and one that is: bytes on the card."""

    def on_card() -> dict[str, bytes]:
        files = (path for path in cage.card.rglob("*") if path.is_file())
        return {f.name: f.read_bytes() for f in files if f.suffix == ".d64"}

    await filtered(pilot, "title:fog", 1)
    await pilot.press("space")
    await filtered(pilot, "title:lantern", 1)
    await pilot.press("space")
    await until(pilot, lambda: app.session.shelf.count("picked:yes") == 2)
    await go(pilot, "5", CardScreen)
    await until(pilot, lambda: "Picks 2 images, 349.7 kB" in words(app))
    await ask(pilot, "f", "../card")
    await pilot.press("p")
    await until(pilot, lambda: "2 images, 349.7 kB, in 1 folder" in words(app))
    assert "2 new" in words(app)
    await go(pilot, "F", FillCard)
    assert "like this?" in words(app) and "lantern" in words(app)
    await go(pilot, "escape", CardScreen)
    assert on_card() == {}, "nothing is written unless the person says so"
    await go(pilot, "F", FillCard)
    await pilot.press("y")
    await until(pilot, lambda: SAFE in words(app))
    assert "2 copied" in words(app)
    wanted = [cage.images / "fog-over-grauhaven.d64", cage.images / "lantern-watch.d64"]
    assert sorted(on_card().values()) == sorted(path.read_bytes() for path in wanted)
    await pilot.press("a")
    await until(pilot, lambda: "2 ok, 0 missing, 0 changed" in words(app))
    await go(pilot, "1", ShelfScreen)


async def how_long_does_it_load(pilot: Pilot[Any], app: LoadglassApp) -> None:
    """Two loads by the stopwatch fit a rig of one's own, whose ranges are narrower."""
    for count, (title, seconds) in enumerate([("title:fog", 14.2), ("title:lantern", 5.3)], 1):
        await filtered(pilot, title, 1)
        bench = await go(pilot, "4", BenchScreen)
        await until(pilot, lambda bench=bench: bench.stopwatch.prediction is not None)
        assert "on fast-card" in words(app)
        await take(pilot, seconds)
        assert bench.stopwatch.seconds == pytest.approx(seconds)
        await pilot.press("k")
        await until(pilot, lambda bench=bench, n=count: len(bench.table.rows) == n)
        if count < 2:
            await go(pilot, "escape", ShelfScreen)
    await go(pilot, "1", ShelfScreen)
    await filtered(pilot, "title:fog", 1)
    await pilot.press("v")
    before = await range_on_shelf(pilot, "fast-card")
    await go(pilot, "4", BenchScreen)
    await until(pilot, lambda: "C Calibrate" in words(app))
    await go(pilot, "C", Calibrate)
    await until(pilot, lambda: "setup" in words(app))
    name = app.screen.query_one("Input").value  # type: ignore[attr-defined]
    assert "Shelf, Clock, Card and Bench go by it" in words(app)
    await go(pilot, "enter", BenchScreen)
    await until(pilot, lambda: f"on {name}:" in words(app))
    await until(pilot, lambda: f"Bench go by {name}" in words(app))

    await go(pilot, "1", ShelfScreen)
    await until(pilot, lambda: "14.2" in words(app))
    assert await range_on_shelf(pilot, name) < before / 2
    await pilot.press("v")
    assert f"all, {name}" in words(app)
    await go(pilot, "3", ClockScreen)
    await until(pilot, lambda: f"{name} " in words(app))
    assert range_on(app, name) < range_on(app, "fast-card") / 2
    await go(pilot, "5", CardScreen)
    await until(pilot, lambda: f"For {name}" in words(app))
    await pilot.press("p")
    await until(pilot, lambda: "2 images, 349.7 kB, in 1 folder" in words(app))


@pytest.mark.parametrize("cage", [many], indirect=True)
async def test_a_survey_that_is_interrupted_goes_on_from_there(
    cage: Cage, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = tui.app.survey

    def survey_on_a_slow_disk(index: Any, paths: Any, rigs: Any, job: Job) -> SurveyResult:
        told, latest = job.report, time.monotonic() + 5

        def report(progress: Progress) -> None:
            told(progress)
            while progress.total and not job.stopping and time.monotonic() < latest:
                time.sleep(0.01)

        job.report = report
        return real(index, paths, rigs, job)

    monkeypatch.setattr(tui.app, "survey", survey_on_a_slow_disk)
    async with sitting(cage, (80, 24)) as (pilot, app):
        await until(pilot, lambda: "The shelf is empty" in words(app))
        await ask(pilot, "u", "../images")
        await until(pilot, lambda: f" of {MANY}" in words(app))
        await pilot.press("x")
        await until(pilot, lambda: app.works.latest is None)
        first = app.last_survey
        assert first is not None and 0 < first.added < MANY
        await until(pilot, lambda: f"shelf: {first.added} images" in screen_lines(app)[0])
        assert f"what was finished is kept: {first.added} image" in words(app)
        await pilot.press("u")
        await until(pilot, lambda: "empty: again" in words(app))
        await pilot.press("escape", "q")

    monkeypatch.setattr(tui.app, "survey", real)
    async with sitting(cage, (80, 24)) as (pilot, app):
        await until(pilot, lambda: f"shelf: {first.added} images" in screen_lines(app)[0])
        await ask(pilot, "u", "../images")
        await until(pilot, lambda: f"shelf: {MANY} images" in screen_lines(app)[0], tries=300)
        await until(pilot, lambda: app.last_survey is not None)
        second = app.last_survey
        assert second is not None
        assert (second.added, second.unchanged) == (MANY - first.added, first.added)
        await filtered(pilot, "BOJE 299", 1)
        assert "BOJE 299" in words(app)
