"""Surveying from the screen, and going from shelf to shelf."""

from __future__ import annotations

import io
import sys
import threading
import time
from pathlib import Path
from typing import Any

import pytest
from textual.widgets import Input

import tui.app
from loadglass.progress import Progress
from loadglass.shelf.rows import ShelfRow
from loadglass.shelf.survey import SurveyResult, SurveyStopped
from tests.tui.driving import screen_lines, settle, shelf_of, until
from tests.tui.harbour import IMAGES, write_images
from tests.tui.memory_shelf import club_session
from tui.app import LoadglassApp
from tui.screens.ask import AskText
from tui.screens.report import Report


@pytest.fixture
def app(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> LoadglassApp:
    """On an empty shelf, in a folder with images in it."""
    monkeypatch.chdir(tmp_path)
    write_images(tmp_path)
    (tmp_path / "torn.d64").write_bytes(b"x")
    return LoadglassApp(club_session([], tmp_path / "home"))


async def test_from_the_empty_shelf_to_a_full_one(app: LoadglassApp, tmp_path: Path) -> None:
    async with app.run_test(size=(100, 30), notifications=True) as pilot:
        await settle(pilot)
        assert "The shelf is empty" in "\n".join(screen_lines(app))
        await pilot.press("u", *str(tmp_path), "enter")
        await until(pilot, lambda: app.last_survey is not None)
        await settle(pilot)
        text = "\n".join(screen_lines(app))
        assert "FOG HORN" in text and "The shelf is empty" not in text
        assert f"shelf: {len(IMAGES) + 1} images" in text
        assert f"{len(IMAGES)} new on the shelf" in " ".join(text.split())
        await pilot.press("i")
        await settle(pilot)
        assert isinstance(app.screen, Report)
        text = "\n".join(screen_lines(app))
        assert "new on the shelf" in text and "1 not to be read as images" in text


async def test_surveying_again_needs_no_folder(app: LoadglassApp, tmp_path: Path) -> None:
    async with app.run_test(size=(100, 30)) as pilot:
        await settle(pilot)
        await pilot.press("u", *str(tmp_path), "enter")
        await until(pilot, lambda: app.last_survey is not None)
        (tmp_path / "members.d64").unlink()
        app.last_survey = None
        await settle(pilot)
        await pilot.press("u", "enter")
        await until(pilot, lambda: app.last_survey is not None)
        assert app.last_survey is not None and app.last_survey.gone == 1
        await settle(pilot)
        assert shelf_of(app).table.row_count == len(IMAGES)


async def test_no_folder_and_none_before_does_nothing(app: LoadglassApp) -> None:
    async with app.run_test(size=(100, 30)) as pilot:
        await settle(pilot)
        await pilot.press("u", "enter")
        await until(pilot, lambda: "name a folder" in " ".join(screen_lines(app)))
        await pilot.press("escape")
        await settle(pilot)
        assert app.last_survey is None and app.works.latest is None


async def test_a_folder_that_is_not_there_is_said(app: LoadglassApp, tmp_path: Path) -> None:
    async with app.run_test(size=(100, 30)) as pilot:
        await settle(pilot)
        await pilot.press("u", *"/no/such/[b]place", "enter")
        says = "there is no folder /no/such/[b]place: check the path"
        await until(pilot, lambda: says in " ".join(screen_lines(app)))
        assert isinstance(app.screen, AskText) and app.last_survey is None
        app.screen.query_one(Input).value = str(tmp_path)
        await pilot.press("enter")
        await until(pilot, lambda: app.last_survey is not None)


async def test_a_survey_shows_its_progress_fills_the_table_and_stops(
    app: LoadglassApp, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    half_way = threading.Event()
    real = tui.app.survey

    def slow(index: Any, paths: Any, rigs: Any, job: Any) -> Any:
        real(index, [str(tmp_path / "fog-horn.d64")], rigs)
        half_way.set()
        while not job.stopping:
            job.report(Progress(1, 5, 1.0))
            time.sleep(0.02)
        raise SurveyStopped(SurveyResult(added=1))

    monkeypatch.setattr(tui.app, "survey", slow)
    async with app.run_test(size=(100, 30)) as pilot:
        await settle_without_work(pilot)
        app.survey([str(tmp_path)])
        await until(pilot, half_way.is_set)
        await until(pilot, lambda: "FOG HORN" in "\n".join(screen_lines(app)))
        await until(pilot, lambda: "surveying" in "\n".join(screen_lines(app)))
        assert "1 of 5" in "\n".join(screen_lines(app))
        await pilot.press("x")
        await until(pilot, lambda: app.works.latest is None)
        assert shelf_of(app).table.row_count == 1


async def settle_without_work(pilot: Any) -> None:
    await pilot.pause(0.1)
    await until(pilot, lambda: "The shelf is empty" in "\n".join(screen_lines(pilot.app)))


async def test_to_the_samples_and_back_to_ones_own_shelf(
    rows: list[ShelfRow], tmp_path: Path
) -> None:
    app = LoadglassApp(club_session([row.path for row in rows], tmp_path / "home"))
    async with app.run_test(size=(100, 30)) as pilot:
        await settle(pilot)
        await pilot.press("/", *"fog", "enter", "w")
        await until(pilot, lambda: app.session.name == "samples")
        await settle(pilot)
        lines = screen_lines(app)
        assert "samples: " in lines[0] and "GRAUHAVEN" in "\n".join(lines)
        await pilot.press("space", "w")
        await until(pilot, lambda: app.session.name == "shelf")
        await settle(pilot)
        assert shelf_of(app).table.row_count == len(rows)
        assert len(app.screen_stack) == 2
        await pilot.press("q")
    app.close()


async def test_a_survey_on_screen_may_start_processes(
    app: LoadglassApp, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("loadglass.shelf.survey.WORTH_WORKERS", 1)
    async with app.run_test(size=(100, 30)) as pilot:
        await settle(pilot)
        with pytest.raises(io.UnsupportedOperation):  # Python then starts them without it
            sys.stderr.fileno()
        app.survey([str(tmp_path)])
        await until(pilot, lambda: app.last_survey is not None, tries=1000)
        await settle(pilot)
        assert shelf_of(app).table.row_count == len(IMAGES) + 1
