"""Showing the Bench view of an image in the real application, with readings in its log."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator, Sequence
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

from textual import events
from textual.pilot import Pilot
from textual.widgets import Static

from formats.compose import NewFile, compose
from formats.directory import SEQ
from loadglass.bench.log import BenchLog
from loadglass.bench.reading import Reading, take_reading, timed_file
from loadglass.opened import Opened
from loadglass.timing.rig import Rig
from tests.tui import disks
from tests.tui.driving import screen_lines, until
from tests.tui.memory_shelf import RIGS, club_session
from tui.app import LoadglassApp
from tui.screens.bench import BenchScreen
from tui.screens.calibrate import Calibrate
from tui.screens.view import Subject

FAST = RIGS["fast-card"]
MINE = FAST.with_values({"setup": 1300.0, "byte": 0.26})
"""A cartridge as somebody might have built it."""
WHEN = "2025-03-09T20:15:00+01:00"
SIZES = {b"SHORT": 5, b"MIDDLING": 60, b"LONG": 150, b"LONGEST": 220}


def program(blocks: int) -> bytes:
    return b"\x01\x08" + bytes(range(1, 255)) * blocks


def miles() -> bytes:
    """Four programs of different lengths, and a text."""
    files = [NewFile(name, program(blocks)) for name, blocks in SIZES.items()]
    return compose(b"HARBOUR MILES", [*files, NewFile(b"LOG", b"AHOI" * 100, SEQ)])


def readings_of(opened: Opened, rig: Rig = MINE, taken_on: Rig = FAST) -> list[Reading]:
    """A reading of each program that is exactly what `rig` takes, noted as one of `taken_on`."""
    found = []
    for slot in range(len(SIZES)):
        timed = timed_file(opened, slot)
        estimate = timed.estimate(rig)
        assert estimate is not None
        found.append(take_reading(timed, taken_on, round(estimate.seconds, 2), when=WHEN))
    return found


def readings_of_lantern(opened: Opened) -> Iterator[Reading]:
    """Of both programs of the harbour club's image, as MINE takes them."""
    for slot in (0, 1):
        timed = timed_file(opened, slot)
        estimate = timed.estimate(MINE)
        assert estimate is not None
        yield take_reading(timed, FAST, estimate.seconds)


def app_of(home: Path, paths: Sequence[str] = ()) -> LoadglassApp:
    app = LoadglassApp(club_session(paths, home))
    app.animation_level = "none"
    return app


def log_of(app: LoadglassApp) -> BenchLog:
    return BenchLog(app.session.home.bench_log)


@asynccontextmanager
async def bench_view(
    home: Path,
    image: bytes | Opened | None = None,
    size: tuple[int, int] = (80, 24),
    *,
    readings: bool = False,
    slot: int | None = 2,
) -> AsyncIterator[tuple[Pilot[None], BenchScreen]]:
    """The Bench view of an image; with `readings`, of all programs of `miles` on MINE."""
    shown = image if isinstance(image, Opened) else disks.opened(image or miles())
    app = app_of(home)
    if readings:
        log_of(app).add(readings_of(shown))
    async with app.run_test(size=size, notifications=True) as pilot:
        screen = await push_bench(pilot, Subject(shown, slot))
        if readings:
            await until(pilot, lambda: screen.table.rows)
        yield pilot, screen


async def push_bench(pilot: Pilot[Any], subject: Subject | None) -> BenchScreen:
    screen = BenchScreen(subject)
    await pilot.app.push_screen(screen)
    await pilot.app.workers.wait_for_complete()
    await pilot.pause()
    return screen


async def press_space(pilot: Pilot[Any], moment: float) -> None:
    """As if space had been pressed at that moment of the clock, whenever its turn comes."""
    event = events.Key("space", " ")
    event.time = moment
    pilot.app.post_message(event)
    await pilot.pause()


async def take(pilot: Pilot[Any], seconds: float) -> None:
    """Run the stopwatch for so long."""
    await press_space(pilot, 1000.0)
    await press_space(pilot, 1000.0 + seconds)


def text_of(pilot: Pilot[Any]) -> str:
    """The lines of the screen."""
    return "\n".join(screen_lines(pilot.app))


def words_of(pilot: Pilot[Any]) -> str:
    """Its words in a row, however its lines are broken and framed."""
    return " ".join(text_of(pilot).replace("│", " ").split())


async def fitted(pilot: Pilot[Any]) -> Calibrate:
    """The dialog, once the fit is there."""
    modal = pilot.app.screen
    assert isinstance(modal, Calibrate)
    await until(pilot, lambda: "predictions were" in str(modal.query_one("#fit", Static).render()))
    return modal
