"""The Bench view: taking readings, keeping them, what they mean, calibrating from them."""

from __future__ import annotations

import random
import threading
from dataclasses import replace
from pathlib import Path

import pytest
from textual.widgets import Button, Input

from formats.errors import LoadglassError
from loadglass.bench.log import BenchLog
from loadglass.opened import open_and_audit
from loadglass.timing.rig_files import load_rigs
from tests.examples import few_or_all
from tests.tui import disks, harbour
from tests.tui.bench_view import (
    MINE,
    app_of,
    bench_view,
    fitted,
    log_of,
    miles,
    press_space,
    push_bench,
    readings_of,
    readings_of_lantern,
    take,
    text_of,
    words_of,
)
from tests.tui.driving import lines_of, screen_lines, settle, shelf_of, until
from tui.app import SMALLEST
from tui.screens.ask import AskText, ChooseOne
from tui.screens.bench import BenchScreen
from tui.screens.clock import ClockScreen
from tui.screens.disk import DiskScreen
from tui.screens.shelf import ShelfScreen
from tui.screens.view import Subject
from tui.watch import State

# --- the stopwatch ------------------------------------------------------------------------------


async def test_the_moments_of_the_keys_make_the_reading(tmp_path: Path) -> None:
    async with bench_view(tmp_path) as (pilot, screen):
        await press_space(pilot, 5000.0)
        assert screen.stopwatch.state is State.RUNNING
        await press_space(pilot, 5012.84)
        assert screen.stopwatch.state is State.STOPPED
        assert screen.stopwatch.seconds == pytest.approx(12.84)
        await pilot.press("k")
        await until(pilot, lambda: screen.table.rows)
        (reading,) = log_of(pilot.app).read().readings.values()
        assert (reading.seconds, reading.rig, reading.timed.file) == (12.84, "fast-card", "LONG")
        assert screen.stopwatch.state is State.READY


async def test_it_runs_along_the_range_and_says_so(tmp_path: Path) -> None:
    async with bench_view(tmp_path) as (pilot, screen):
        prediction = screen.stopwatch.prediction
        assert prediction is not None
        assert f"{prediction.seconds:.1f} s predicted" in text_of(pilot)
        await pilot.press("space")
        await pilot.pause(0.3)
        assert "the range begins in" in text_of(pilot)
        assert screen.stopwatch.seconds > 0.2
        clock = screen.stopwatch.clock
        assert clock.started is not None
        for ago, says in (
            (prediction.seconds, "within the range"),
            (prediction.high + 3.05, "3.1 s above the range"),
        ):
            clock.started += screen.stopwatch.seconds - ago
            screen.stopwatch.lay()
            assert says in "\n".join(lines_of(screen.stopwatch))


async def test_a_key_that_repeats_itself_stops_nothing(tmp_path: Path) -> None:
    async with bench_view(tmp_path) as (pilot, screen):
        for moment in (0.0, 0.1, 0.2, 0.3):
            await press_space(pilot, 100 + moment)
        assert screen.stopwatch.state is State.RUNNING
        await press_space(pilot, 112.0)
        await press_space(pilot, 112.1)
        await press_space(pilot, 130.0)
        assert screen.stopwatch.seconds == pytest.approx(12.0)


async def test_a_reading_can_be_thrown_away(tmp_path: Path) -> None:
    async with bench_view(tmp_path) as (pilot, screen):
        await take(pilot, 9.0)
        await pilot.press("backspace")
        assert screen.stopwatch.state is State.READY
        assert "0.0" not in log_of(pilot.app).read().readings
        await take(pilot, 9.5)
        assert screen.stopwatch.seconds == pytest.approx(9.5)


async def test_a_click_on_the_figures_is_as_good_as_the_key(tmp_path: Path) -> None:
    async with bench_view(tmp_path) as (pilot, screen):
        await pilot.click(screen.stopwatch, offset=(3, 2))
        assert screen.stopwatch.state is State.RUNNING
        await pilot.pause(0.5)
        await pilot.click(screen.stopwatch, offset=(3, 2))
        assert screen.stopwatch.state is State.STOPPED


async def test_a_remark_goes_with_the_reading(tmp_path: Path) -> None:
    async with bench_view(tmp_path) as (pilot, screen):
        await take(pilot, 9.0)
        await pilot.press("e")
        assert isinstance(pilot.app.screen, AskText)
        await pilot.press(*"blue", "enter")
        assert "remark: blue" in text_of(pilot)
        await pilot.press("k")
        await until(pilot, lambda: screen.table.rows)
        assert screen.table.rows[0].reading.remark == "blue"
        assert screen.remark == ""


async def test_leaving_with_a_reading_is_asked_twice(tmp_path: Path) -> None:
    async with bench_view(tmp_path) as (pilot, screen):
        await take(pilot, 9.0)
        for key in ("1", "q"):
            screen.leave_warned = False
            await pilot.press(key)
            await pilot.pause()
            assert pilot.app.screen is screen and pilot.app.is_running
        await until(pilot, lambda: "k keeps" in words_of(pilot))
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(pilot.app.screen, ShelfScreen))


async def test_a_reading_that_cannot_be_kept_stays_on_the_stopwatch(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise LoadglassError("the disk is full")

    async with bench_view(tmp_path) as (pilot, screen):
        await take(pilot, 9.0)
        monkeypatch.setattr(BenchLog, "add", full)
        await pilot.press("k")
        await settle(pilot)
        assert "the disk is full" in text_of(pilot)
        assert screen.stopwatch.seconds == pytest.approx(9.0)


# --- what is timed, on which rig ----------------------------------------------------------------


async def test_from_the_shelf_it_times_the_first_program(
    rows: list[object], tmp_path: Path
) -> None:
    app = app_of(tmp_path / "home", list(harbour.IMAGES))
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await pilot.press("slash", *"lantern", "enter")
        await settle(pilot)
        await pilot.press("4")
        await until(pilot, lambda: isinstance(app.screen, BenchScreen))
        await settle(pilot)
        screen = app.screen
        assert isinstance(screen, BenchScreen) and screen.timed is not None
        assert screen.timed.what == "start"
        assert '"LANTERN", the first program' in text_of(pilot)
        await pilot.press("f")
        await settle(pilot)
        await pilot.press("home", "enter")
        assert "all programs of LANTERN WATCH · 84 blocks" in text_of(pilot)
        await pilot.press("2")
        await settle(pilot)
        disk = app.screen
        assert isinstance(disk, DiskScreen)
        await pilot.press("end", "4")
        await settle(pilot)
        assert app.screen is screen
        assert screen.timed is not None and screen.timed.file == "PART TWO"
        await pilot.press("escape")
        assert shelf_of(app)


async def test_from_the_disk_it_times_the_chosen_file(tmp_path: Path) -> None:
    app = app_of(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        app.push_screen(DiskScreen(disks.opened(disks.tidy()), list(app.session.rigs.values())))
        await settle(pilot)
        await pilot.press("down", "down", "4")
        await settle(pilot)
        assert isinstance(app.screen, BenchScreen)
        assert '"KARTE" · 36 blocks' in text_of(pilot)
        assert " 4 Bench " in screen_lines(app)[0]
        await pilot.press("escape")
        assert isinstance(app.screen, DiskScreen)


async def test_without_an_image_the_log_is_still_there(tmp_path: Path) -> None:
    app = app_of(tmp_path)
    log_of(app).add(readings_of(disks.opened(miles())))
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await pilot.press("4")
        await settle(pilot)
        screen = app.screen
        assert isinstance(screen, BenchScreen)
        assert "choose an image on the shelf to time it" in text_of(pilot)
        assert len(screen.table.rows) == 4
        await pilot.press("space", "k", "plus", "f", "e")
        await settle(pilot)
        assert app.screen is screen and screen.stopwatch.state is State.READY


async def test_a_damaged_file_says_why_it_has_no_time(tmp_path: Path) -> None:
    async with bench_view(tmp_path, disks.looped(), slot=1) as (pilot, screen):
        assert '"LOTSE.MC" is damaged and cannot be timed' in text_of(pilot)
        await pilot.press("space")
        assert screen.stopwatch.state is State.READY


async def test_another_rig_predicts_anew_and_is_remembered(tmp_path: Path) -> None:
    async with bench_view(tmp_path, readings=True) as (pilot, screen):
        assert "4 readings of fast-card" in text_of(pilot)
        await pilot.press("d")
        await settle(pilot)
        assert isinstance(pilot.app.screen, ChooseOne)
        assert "4 readings" in text_of(pilot)
        await pilot.press("home", "down", "enter")
        await settle(pilot)
        assert screen.rig.name == "stock-card"
        assert "on stock-card" in text_of(pilot) and "0 readings of stock-card" in text_of(pilot)
        assert pilot.app.settings.bench_rig == "stock-card"


async def test_a_rig_that_does_not_mount_the_image_says_so(tmp_path: Path) -> None:
    image = disks.tidy(disks.TRACKS_80)
    async with bench_view(tmp_path, image, slot=0) as (pilot, screen):
        pilot.app.settings.bench_rig = "fast-spinning"
        screen.choose_rig("fast-spinning")
        await settle(pilot)
        assert "fast-spinning does not mount 80-track images" in text_of(pilot)
        await pilot.press("space")
        assert screen.stopwatch.state is State.READY


async def test_the_rig_cannot_change_while_the_clock_runs(tmp_path: Path) -> None:
    async with bench_view(tmp_path) as (pilot, screen):
        await press_space(pilot, 100.0)
        await pilot.press("d", "f")
        assert pilot.app.screen is screen


# --- the log ------------------------------------------------------------------------------------


async def test_readings_stand_beside_their_predictions(tmp_path: Path) -> None:
    async with bench_view(tmp_path, size=(80, 30), readings=True) as (_, screen):
        lines = lines_of(screen.table)
        assert '"LONGEST"' in lines[2] and '"SHORT"' in lines[5]  # the latest first
        long = screen.table.rows[1]
        assert long.prediction is not None
        off = long.reading.seconds - long.prediction.seconds
        assert f"{off:+.1f} s  OUT" in lines[3]


async def test_a_reading_taken_otherwise_can_be_typed(tmp_path: Path) -> None:
    async with bench_view(tmp_path) as (pilot, screen):
        await pilot.press("plus", *"soon", "enter")
        await settle(pilot)
        assert '"soon" is no reading' in text_of(pilot) and not screen.table.rows
        pilot.app.screen.query_one(Input).value = "1:02.5"
        await pilot.press("enter")
        await until(pilot, lambda: screen.table.rows)
        assert screen.table.rows[0].reading.seconds == 62.5


async def test_a_reading_is_removed_only_if_one_says_so(tmp_path: Path) -> None:
    async with bench_view(tmp_path, readings=True) as (pilot, screen):
        await pilot.press("down", "delete", "enter")
        await settle(pilot)
        assert len(log_of(pilot.app).read().readings) == 4
        await pilot.press("delete", "down", "enter")
        await until(pilot, lambda: len(screen.table.rows) == 3)
        assert list(log_of(pilot.app).read().readings) == [1, 2, 4]


async def test_a_spoilt_line_of_the_log_is_said(tmp_path: Path) -> None:
    app = app_of(tmp_path)
    log_of(app).add(readings_of(disks.opened(miles())))
    with (tmp_path / "bench.jsonl").open("a") as log:
        log.write("oops\n")
    async with app.run_test(size=(80, 24), notifications=True) as pilot:
        screen = await push_bench(pilot, None)
        await settle(pilot)
        assert len(screen.table.rows) == 4
        assert "line 5" in text_of(pilot)


async def test_a_reading_far_off_is_diagnosed_before_it_is_kept(tmp_path: Path) -> None:
    async with bench_view(tmp_path) as (pilot, screen):
        assert screen.timed is not None
        stock = screen.timed.estimate(screen.app.session.rigs["stock-card"])
        assert stock is not None
        await take(pilot, stock.seconds)
        says = words_of(pilot)
        assert "this matches the stock loader" in says
        await pilot.press("k")
        await until(pilot, lambda: screen.table.rows)
        await settle(pilot)
        assert "this matches the stock loader" in words_of(pilot)


# --- calibrating --------------------------------------------------------------------------------


async def test_calibrating_shrinks_the_ranges_and_writes_the_rig(tmp_path: Path) -> None:
    async with bench_view(tmp_path, readings=True) as (pilot, screen):
        before = screen.stopwatch.prediction
        await pilot.press("C")
        await fitted(pilot)
        await pilot.press("enter")
        await until(pilot, lambda: pilot.app.screen is screen)
        await settle(pilot)
        now = screen.stopwatch.prediction
        assert before is not None and now is not None and screen.timed is not None
        assert now.high - now.low < (before.high - before.low) / 2
        true = screen.timed.estimate(MINE)
        assert true is not None and now.low <= true.seconds <= now.high
        assert screen.rig.name == "my-fast-card"
        assert "0 readings of my-fast-card, 4 of rigs like it" in text_of(pilot)
        assert all(row.prediction.word(row.reading.seconds) == "in" for row in screen.table.rows)
    written = load_rigs(tmp_path / "rigs").rigs["my-fast-card"]
    assert written.value("byte") == pytest.approx(0.26, rel=0.02)


async def test_a_rig_is_overwritten_only_by_the_button(tmp_path: Path) -> None:
    (tmp_path / "rigs").mkdir(parents=True)
    path = tmp_path / "rigs" / "my-fast-card.toml"
    path.write_text("# mine\n")
    async with bench_view(tmp_path, readings=True) as (pilot, screen):
        await pilot.press("C")
        modal = await fitted(pilot)
        await pilot.press("enter")
        await until(pilot, lambda: "Overwrite" in str(modal.query_one("#write", Button).label))
        assert path.read_text() == "# mine\n" and modal.focused is modal.query_one("#cancel")
        await pilot.press("shift+tab", "shift+tab", "enter")
        await until(pilot, lambda: pilot.app.screen is screen)
        assert "[figures.byte]" in path.read_text()


async def test_a_name_that_cannot_be_is_refused_in_a_sentence(tmp_path: Path) -> None:
    async with bench_view(tmp_path, readings=True) as (pilot, _):
        await pilot.press("C")
        modal = await fitted(pilot)
        modal.query_one(Input).value = "fast-card"
        await pilot.press("enter")
        await until(pilot, lambda: modal.query_one(".trouble").display)
        assert "a rig we bring" in text_of(pilot)


async def test_readings_that_fit_nothing_are_refused(tmp_path: Path) -> None:
    async with bench_view(tmp_path) as (pilot, screen):
        opened = screen.opened
        assert opened is not None
        short, *_, longest = readings_of(opened)
        wrong = [replace(short, seconds=30.0), replace(longest, seconds=2.0)]
        log_of(pilot.app).add(wrong)
        screen.read_log()
        await until(pilot, lambda: screen.table.rows)
        await settle(pilot)
        await pilot.press("C")
        await settle(pilot)
        assert "a byte would take less than no time" in words_of(pilot)
        await pilot.press("enter")
        await until(pilot, lambda: pilot.app.screen is screen)
        assert not (tmp_path / "rigs").exists()


async def test_calibrating_needs_readings_of_the_rig(tmp_path: Path) -> None:
    async with bench_view(tmp_path) as (pilot, screen):
        await pilot.press("C")
        assert pilot.app.screen is screen
        assert "Calibrate" not in screen_lines(pilot.app)[-1]


async def test_views_that_are_open_get_times_on_the_new_rig(tmp_path: Path) -> None:
    opened = disks.opened(miles())
    app = app_of(tmp_path)
    log_of(app).add(readings_of(opened))
    async with app.run_test(size=(140, 45)) as pilot:
        await settle(pilot)
        disk = DiskScreen(opened, list(app.session.rigs.values()), 2)
        clock = ClockScreen(Subject(opened, 2))
        for screen in (disk, clock):
            await app.push_screen(screen)
        await push_bench(pilot, Subject(opened, 2))
        await settle(pilot)
        await pilot.press("C")
        await fitted(pilot)
        await pilot.press("enter")
        await settle(pilot)
        await pilot.press("escape")
        await settle(pilot)
        assert app.screen is clock
        assert "my-fast-card" in "\n".join(lines_of(clock.query_one("#stages")))
        await pilot.press("escape", "t")
        await settle(pilot)
        assert app.screen is disk and "my-fast-card" in text_of(pilot)


async def test_the_shelf_gets_times_on_the_new_rig(rows: list[object], tmp_path: Path) -> None:
    app = app_of(tmp_path / "home", list(harbour.IMAGES))
    opened = open_and_audit("lantern.d64")
    log_of(app).add(list(readings_of_lantern(opened)))
    async with app.run_test(size=(100, 30)) as pilot:
        await settle(pilot)
        await pilot.press("4")
        await until(pilot, lambda: isinstance(app.screen, BenchScreen))
        await settle(pilot)
        await pilot.press("C")
        await fitted(pilot)
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(app.screen, BenchScreen))
        await settle(pilot)
        await pilot.press("1")
        shelf = shelf_of(app)
        assert "my-fast-card" in shelf.session.rivals
        row = next(row for row in app.session.shelf.rows() if row.file_name == "lantern.d64")
        fast, mine = row.all_s["fast-card"], row.all_s["my-fast-card"]
        assert fast is not None and mine is not None and mine > fast * 1.1


# --- any screen, any key ------------------------------------------------------------------------

KEYS = ["space", "k", "backspace", "e", "d", "f", "plus", "delete", "C", "up", "down", "enter"]
KEYS += ["escape", "tab", "pagedown", "home", "end", "question_mark", "4", "2"]


@few_or_all(12, 120)
async def test_keys_at_random_on_any_screen(tmp_path: Path, count: int) -> None:
    dice = random.Random(count)
    async with bench_view(tmp_path, readings=True) as (pilot, screen):
        for size in [(80, 24), (140, 45), (40, 10), (12, 3), (1, 1), (200, 60)]:
            await pilot.resize_terminal(*size)
            for key in dice.choices(KEYS, k=count):
                await pilot.press(key)
                if isinstance(pilot.app.screen, ShelfScreen):
                    screen = await push_bench(pilot, screen.subject)
            await pilot.pause()
            assert pilot.app.is_running
            assert len(screen_lines(pilot.app)) == max(size[1], SMALLEST.height)


@pytest.mark.parametrize("size", [(80, 24), (140, 45)])
async def test_hostile_names_are_drawn_and_nothing_else(
    tmp_path: Path, size: tuple[int, int]
) -> None:
    async with bench_view(tmp_path, disks.hostile(), size, slot=0) as (pilot, screen):
        assert '"[RED]ROT[/RED]"' in text_of(pilot)
        await take(pilot, 5.0)
        await pilot.press("e", *"[b]x", "enter", "k")
        await until(pilot, lambda: screen.table.rows)
        for key in ("f", "escape", "d", "escape", "C"):
            await pilot.press(key)
            await settle(pilot)
            assert all(line.isprintable() or "\xa0" in line for line in screen_lines(pilot.app))


async def test_nothing_slow_runs_on_the_thread_of_the_screen(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import tui.screens.calibrate as calibrating

    threads: dict[str, set[int]] = {"calibrate": set(), "add": set(), "read": set()}

    def watched(owner: object, name: str) -> None:
        before = getattr(owner, name)

        def call(*arguments: object, **named: object) -> object:
            threads[name].add(threading.get_ident())
            return before(*arguments, **named)

        monkeypatch.setattr(owner, name, call)

    async with bench_view(tmp_path, readings=True) as (pilot, screen):
        watched(calibrating, "calibrate")
        watched(BenchLog, "add")
        watched(BenchLog, "read")
        await take(pilot, 9.0)
        await pilot.press("k")
        await until(pilot, lambda: len(screen.table.rows) == 5)
        screen.read_log()
        await pilot.press("C")
        await fitted(pilot)
    assert all(each and threading.get_ident() not in each for each in threads.values())


@pytest.mark.parametrize("size", [(80, 24), (140, 45)])
async def test_plain_glyphs_need_no_font_of_ours(tmp_path: Path, size: tuple[int, int]) -> None:
    """Nothing outside code page 437 and a few dashes, with the setting for plain glyphs."""
    allowed = set(map(chr, range(0x20, 0x7F)))
    allowed |= {bytes([code]).decode("cp437") for code in range(0x80, 0x100)}
    allowed |= set("–—×·…›‹╌⌫⏎ ▌▎▊▆▅▇▃▄▂▁")  # and the toolkit's scroll bars and notices
    async with bench_view(tmp_path, size=size, readings=True) as (pilot, _):
        app = pilot.app
        app.settings.glyphs = "plain"  # type: ignore[attr-defined]
        app.apply_settings()  # type: ignore[attr-defined]
        for seconds in (4.3, 9.9, 30.2):
            await take(pilot, seconds)
            for line in screen_lines(app):  # type: ignore[arg-type]
                assert set(line) <= allowed, set(line) - allowed
            await pilot.press("backspace")
        await pilot.press("3")
        await settle(pilot)
        for _ in range(4):
            await pilot.press("tab", "d")
            await settle(pilot)
            for line in screen_lines(app):  # type: ignore[arg-type]
                assert set(line) <= allowed, set(line) - allowed
