"""A rig of the user's own: calibrated, used on every view, fitted anew, and removed again."""

from __future__ import annotations

import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot

from loadglass.opened import open_and_audit
from loadglass.own_rigs import save_rig
from loadglass.progress import Job
from loadglass.timing.rig_files import load_rigs
from tests.tui import disks, harbour
from tests.tui.bench_view import (
    MINE,
    app_of,
    bench_view,
    fitted,
    log_of,
    miles,
    push_bench,
    readings_of,
    readings_of_lantern,
    take,
    text_of,
    words_of,
)
from tests.tui.driving import screen_lines, settle, until
from tests.tui.memory_shelf import RIGS, club_session
from tui.app import LoadglassApp
from tui.screens.bench import BenchScreen
from tui.screens.clock import ClockScreen
from tui.screens.view import Subject
from tui.settings import Settings, load_settings, save_settings


async def calibrated(pilot: Pilot[Any], key: str) -> None:
    """Calibrate, and wait until the shelf is clocked."""
    await pilot.press("C")
    await fitted(pilot)
    await pilot.press(key)
    await until(pilot, lambda: isinstance(pilot.app.screen, BenchScreen))
    await settle(pilot)


def with_own_rig(home: Path, **settings: str) -> None:
    """A rig `mine` as if it had been calibrated, and settings that name it."""
    save_rig(replace(MINE, name="mine", description="like it, calibrated"), home / "rigs")
    save_settings(Settings(**settings), home / "settings.toml")


@asynccontextmanager
async def on_club_shelf(
    home: Path, size: tuple[int, int] = (80, 24)
) -> AsyncIterator[tuple[Pilot[None], LoadglassApp]]:
    """The shelf of the club's images, with the rigs and settings that are kept below `home`."""
    session, rigs = club_session(list(harbour.IMAGES), home), load_rigs(home / "rigs").rigs
    session.shelf.use_rigs(list(rigs.values()))
    app = LoadglassApp(replace(session, rigs=rigs))
    log_of(app).add(list(readings_of_lantern(open_and_audit("lantern.d64"))))
    async with app.run_test(size=size) as pilot:
        await settle(pilot)
        yield pilot, app


async def test_one_key_takes_the_calibrated_rig_to_every_view(
    rows: list[object], tmp_path: Path
) -> None:
    async with on_club_shelf(tmp_path / "home") as (pilot, app):
        assert "all, SD card" in text_of(pilot)
        await pilot.press("4")
        await until(pilot, lambda: isinstance(app.screen, BenchScreen))
        await settle(pilot)
        await pilot.press("C")
        await fitted(pilot)
        assert "Shelf, Clock, Card and Bench go by it" in words_of(pilot)
        assert "once the shelf is clocked on it (5 images, none is opened; x stops)" in (
            words_of(pilot)
        )
        await pilot.press("enter")
        await until(pilot, lambda: app.settings.rig == "my-fast-card")
        await settle(pilot)
        assert "on my-fast-card:" in words_of(pilot)
        await pilot.press("3")
        await until(pilot, lambda: isinstance(app.screen, ClockScreen))
        assert app.screen.rig_name == "my-fast-card"  # type: ignore[attr-defined]
        await pilot.press("5")
        await settle(pilot)
        assert "For my-fast-card" in text_of(pilot) and app.card_desk.order.rig == "my-fast-card"
        await pilot.press("1")
        await settle(pilot)
        assert "all, my-fast-card" in text_of(pilot)
        row = app.session.shelf.page("lantern", "title", False, 0, 1)[0]
        mine, fast = row.all_s["my-fast-card"], row.all_s["fast-card"]
        assert mine is not None and fast is not None and mine > fast * 1.1
        line = next(line for line in screen_lines(app) if "LANTERN" in line)
        assert f"{mine:.1f} s" in line
        await pilot.press("d", "d")
        await settle(pilot)
        assert app.settings.rig == "fast-card" and "all, SD card" in text_of(pilot)
        assert app.settings.card_rig == "my-fast-card", "d is of its view alone"


async def test_the_bench_alone_may_go_by_it(rows: list[object], tmp_path: Path) -> None:
    async with on_club_shelf(tmp_path / "home") as (pilot, app):
        await pilot.press("4")
        await until(pilot, lambda: isinstance(app.screen, BenchScreen))
        await settle(pilot)
        await calibrated(pilot, "ctrl+o")
        settings = app.settings
        assert [settings.rig, settings.card_rig] == ["fast-card", "fast-card"]
        assert settings.bench_rig == "my-fast-card"
        row = app.session.shelf.page("lantern", "title", False, 0, 1)[0]
        assert row.all_s["my-fast-card"] is not None, "it is there when one chooses it"


async def test_clocking_the_shelf_can_be_stopped_and_goes_on_at_the_next_start(
    rows: list[object], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def until_stopped(_index: object, _rigs: object, job: Job) -> int:
        for _ in range(500):
            job.step(1, 5)
            time.sleep(0.01)
        return 0

    async with on_club_shelf(tmp_path / "home") as (pilot, app):
        await pilot.press("4")
        await until(pilot, lambda: isinstance(app.screen, BenchScreen))
        await settle(pilot)
        with monkeypatch.context() as patched:
            patched.setattr("tui.rigs_in_use.reclock", until_stopped)
            await pilot.press("C")
            await fitted(pilot)
            await pilot.press("enter")
            await until(pilot, lambda: "clocking the shelf" in text_of(pilot))
            assert app.settings.rig == "fast-card", "not before its times are there"
            await pilot.press("x")
            await until(pilot, lambda: "stopped: what is not clocked" in words_of(pilot))
        assert app.settings.rig == "fast-card"
        await pilot.press("q")
    async with on_club_shelf(tmp_path / "home") as (_, app):
        row = app.session.shelf.page("lantern", "title", False, 0, 1)[0]
        assert row.all_s["my-fast-card"] is not None


async def test_a_stock_rig_is_for_the_bench(tmp_path: Path) -> None:
    stock = RIGS["stock-card"]
    app = app_of(tmp_path)
    opened = disks.opened(miles())
    log_of(app).add(readings_of(opened, stock.with_values({"byte": 1.8}), stock))
    app.settings.bench_rig = "stock-card"
    async with app.run_test(size=(80, 24)) as pilot:
        await push_bench(pilot, Subject(opened, 2))
        await pilot.press("C")
        modal = await fitted(pilot)
        assert "the Shelf goes on to compare with stock-card" in words_of(pilot)
        assert not modal.query("#alone")
        await pilot.press("enter")
        await until(pilot, lambda: app.settings.bench_rig == "my-stock-card")
        assert app.settings.rig == "fast-card"


async def test_a_calibrated_rig_is_fitted_anew_from_all_readings(tmp_path: Path) -> None:
    async with bench_view(tmp_path, readings=True) as (pilot, screen):
        await calibrated(pilot, "enter")
        assert screen.rig.name == "my-fast-card"
        await take(pilot, 11.3)
        await pilot.press("k")
        await until(pilot, lambda: len(screen.table.rows) == 5)
        await settle(pilot)
        assert screen.table.rows[0].reading.rig == "my-fast-card"
        assert "C Calibrate" in screen_lines(pilot.app)[-1]
        before = screen.rig.figures["byte"]
        await pilot.press("C")
        await fitted(pilot)
        assert "Calibrate fast-card by 5 readings" in text_of(pilot)
        await pilot.press("enter")
        await until(pilot, lambda: "Overwrite it?" in words_of(pilot))
        await pilot.press("shift+tab", "shift+tab", "enter")
        await until(pilot, lambda: pilot.app.screen is screen)
        await settle(pilot)
        assert screen.rig.figures["byte"] != before
        assert "5 readings" in screen.rig.figures["byte"].source


# --- taking a rig away --------------------------------------------------------------------------


async def test_an_own_rig_is_removed_and_nothing_goes_by_it(
    rows: list[object], tmp_path: Path
) -> None:
    home = tmp_path / "home"
    with_own_rig(
        home, rig="mine", card_rig="mine", bench_rig="mine", sort="all:mine", filter="lantern"
    )
    async with on_club_shelf(home) as (pilot, app):
        assert "all, mine" in text_of(pilot)
        await pilot.press("3")
        await until(pilot, lambda: isinstance(app.screen, ClockScreen))
        await pilot.press("5")
        await settle(pilot)
        assert "For mine" in text_of(pilot)
        await pilot.press("4")
        await until(pilot, lambda: isinstance(app.screen, BenchScreen))
        await settle(pilot)
        await pilot.press("R", "enter")
        await settle(pilot)
        assert "mine" in app.session.rigs, "the question rests on keeping it"
        await pilot.press("R", "down", "enter")
        await until(pilot, lambda: "mine" not in app.session.rigs)
        await settle(pilot)
        assert "mine is removed; its file is kept as" in words_of(pilot)
        assert (home / "rigs" / "set-aside" / "mine.toml").exists()
        assert not [*(home / "rigs").glob("*.toml")]
        assert "on fast-card:" in words_of(pilot)
        await pilot.press("R")
        assert isinstance(app.screen, BenchScreen), "a rig that we bring stays"
        for key, shown in [("5", "For fast-card"), ("3", "fast-card"), ("1", "all, SD card")]:
            await pilot.press(key)
            await settle(pilot)
            assert shown in text_of(pilot) and "mine" not in text_of(pilot)
        assert app.settings.sort == "all:fast-card"
        await pilot.press("q")
    assert load_settings(home / "settings.toml")[0].card_rig == "fast-card"


async def test_readings_of_a_rig_that_is_gone_are_still_shown(tmp_path: Path) -> None:
    async with bench_view(tmp_path, readings=True) as (pilot, screen):
        await calibrated(pilot, "enter")
        await take(pilot, 11.3)
        await pilot.press("k")
        await until(pilot, lambda: len(screen.table.rows) == 5)
        await pilot.press("R", "down", "enter")
        await until(pilot, lambda: "my-fast-card" not in pilot.app.session.rigs)
        await settle(pilot)
        assert screen.rig.name == "fast-card" and len(screen.table.rows) == 5
        await pilot.press("up", "up", "up", "up", "up")
        assert "reading 5 on my-fast-card" in words_of(pilot)


async def test_a_rig_that_is_gone_at_the_start_is_said_in_one_sentence(
    rows: list[object], tmp_path: Path
) -> None:
    home = tmp_path / "home"
    with_own_rig(home, rig="mine", card_rig="mine", bench_rig="mine", sort="all:mine")
    (home / "rigs" / "mine.toml").unlink()
    async with on_club_shelf(home) as (pilot, app):
        assert "the rig mine is gone: what went by it goes by fast-card" in words_of(pilot)
        assert {app.settings.rig, app.settings.card_rig, app.settings.bench_rig} == {"fast-card"}
        assert len(app.session.shelf.page("", app.settings.sort, False, 0, 9)) == 5


async def test_a_rig_goes_along_to_the_samples_and_back(rows: list[object], tmp_path: Path) -> None:
    async with on_club_shelf(tmp_path / "home") as (pilot, app):
        kept = app.session
        await pilot.press("w")
        await until(pilot, lambda: app.session is not kept, tries=400)
        await settle(pilot)
        app.rigs.add(replace(MINE, name="mine"), everywhere=True)
        await until(pilot, lambda: app.settings.rig == "mine")
        await pilot.press("w")
        await until(pilot, lambda: app.session.kept)
        await settle(pilot)
        row = app.session.shelf.page("lantern", "title", False, 0, 1)[0]
        assert row.all_s["mine"] is not None


async def test_the_chosen_file_is_kept_over_a_trip_to_the_shelf(
    rows: list[object], tmp_path: Path
) -> None:
    async with on_club_shelf(tmp_path / "home") as (pilot, app):
        await pilot.press("slash", *"lantern", "enter")
        await settle(pilot)
        await pilot.press("4")
        await until(pilot, lambda: isinstance(app.screen, BenchScreen))
        await settle(pilot)
        assert '"LANTERN", the first program' in text_of(pilot)
        await pilot.press("f", "down", "enter")
        assert '"PART TWO"' in text_of(pilot)
        for back, forth in [("1", "4"), ("escape", "4")]:
            await pilot.press(back)
            await settle(pilot)
            await pilot.press(forth)
            await until(pilot, lambda: isinstance(app.screen, BenchScreen))
            await settle(pilot)
            assert '"PART TWO"' in text_of(pilot)


async def test_a_view_that_is_only_being_built_takes_over_a_rig(
    rows: list[object], tmp_path: Path
) -> None:
    """The shelf is clocked, and all views go by the rig, while one of them has no parts yet."""
    home = tmp_path / "home"
    with_own_rig(home)
    async with on_club_shelf(home) as (pilot, app):
        await pilot.press("2")
        await settle(pilot)
        app.show_view("clock")
        clock = app.screen
        assert isinstance(clock, ClockScreen) and not clock.is_mounted
        app.rigs.add(app.session.rigs["mine"], everywhere=True)
        app.settings.rig = "mine"
        app.rigs._go_by_settings()
        await settle(pilot)
        assert clock.is_mounted and clock.rig_name == "mine"
