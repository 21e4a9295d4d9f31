"""The Shelf view, driven like a person would."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from formats.findings import Verdict
from loadglass.opened import open_and_audit
from loadglass.shelf.rows import ShelfRow
from loadglass.timing.estimate import clock_image
from tests.tui.driving import lines_of, screen_lines, settle, shelf_of, until
from tests.tui.harbour import HOSTILE_FILE_NAME, IMAGES
from tests.tui.memory_shelf import club_session, made_up_row, row_of, session_of
from tui.amounts import duration_text
from tui.app import LoadglassApp
from tui.screens.ask import ChooseOne
from tui.screens.shelf import ShelfScreen
from tui.settings import load_settings
from tui.widgets.histogram import Histogram
from tui.widgets.picks_bars import PicksBars
from tui.widgets.preview import Preview

ESCAPE = "\x1b"


@pytest.fixture
def app(rows: list[ShelfRow], tmp_path: Path) -> LoadglassApp:
    return LoadglassApp(session_of(rows, tmp_path / "home"))


def titles(app: LoadglassApp) -> list[str]:
    shelf = shelf_of(app)
    pages = shelf.table._pages
    return [row.title for place in range(pages.count) if (row := pages.row(place)) is not None]


async def test_every_image_has_a_row_with_its_verdict_and_times(app: LoadglassApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        lines = lines_of(shelf_of(app).table)
        assert "all, SD card" in lines[0]
        for word in ("title", "verdict", "files", "blocks", "stock", "fast", "saved"):
            assert word in lines[1]
        fog = next(line for line in lines if "FOG HORN" in line)
        row = next(row for row in app.session.shelf.page("fog", "title", False, 0, 1))
        stock, fast = row.all_s["stock-card"], row.all_s["fast-card"]
        assert stock is not None and fast is not None
        assert fog.split()[2:] == [
            *("o", "sound", "1", "121"),
            *(f"{stock:.1f}", "s", f"{fast:.1f}", "s", f"{stock - fast:.1f}", "s"),
        ]
        buoy = next(line for line in lines if "RING BUOY" in line)
        assert "X damaged" in buoy and "–" in buoy
        assert "shelf: 5 images" in screen_lines(app)[0]


async def test_typing_filters_at_once_and_escape_takes_it_away(app: LoadglassApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await pilot.press("/", "f", "o", "g")
        await settle(pilot)
        assert titles(app) == ["FOG HORN"]
        assert "1 of 5" in screen_lines(app)[1]
        await pilot.press("enter")
        assert app.focused is shelf_of(app).table
        await pilot.press("escape")
        await settle(pilot)
        assert len(titles(app)) == 5
        row = shelf_of(app).table.cursor_row
        assert row is not None and row.title == "FOG HORN"
        assert "/ and arrow up bring back: fog" in screen_lines(app)[1]
        await pilot.press("/", "up")
        await settle(pilot)
        assert titles(app) == ["FOG HORN"]
        await pilot.press("enter", "escape", "/", *"lantern")
        await settle(pilot)
        assert titles(app) == ["LANTERN WATCH"]


async def test_escape_closes_what_is_open_before_the_filter_goes(
    rows: list[ShelfRow], tmp_path: Path
) -> None:
    app = LoadglassApp(club_session([row.path for row in rows], tmp_path / "home"))
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await pilot.press("/", *"fog", "enter", "h", "v")
        await settle(pilot)
        shelf = shelf_of(app)
        histogram = shelf.query_one(Histogram)
        assert histogram.display and shelf.preview.display
        await pilot.press("escape")
        assert not histogram.display and shelf.preview.display
        await pilot.press("escape")
        assert not shelf.preview.display and shelf.filter_line.text == "fog"
        await pilot.press("escape")
        assert shelf.filter_line.text == ""
        await settle(pilot)
        assert "esc" not in screen_lines(app)[-1]
        await pilot.press("escape")
        assert app.screen is shelf


async def test_keys_of_the_view_are_letters_while_one_types(app: LoadglassApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await pilot.press("/", *"sq?/1do")
        await settle(pilot)
        assert shelf_of(app).filter_line.text == "sq?/1do"


async def test_a_filter_that_cannot_be_understood_says_why_and_leaves_the_rows(
    app: LoadglassApp,
) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await pilot.press("/", '"')
        await settle(pilot)
        assert 'the closing quote " is missing' in "\n".join(screen_lines(app))
        assert len(titles(app)) == 5
        await pilot.press("backspace")
        await settle(pilot)
        assert "is missing" not in "\n".join(screen_lines(app))


async def test_a_filter_by_a_rig_says_which_programs_it_is_of(app: LoadglassApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        says = "fast-card: of the first program; all:fast-card: of all programs"
        await pilot.press("/", *"fast-card<5")
        await settle(pilot)
        assert says in "\n".join(screen_lines(app))
        await pilot.press("enter")
        assert app.focused is shelf_of(app).table
        shelf_of(app).filter_line.put("all:fast-card<5")
        await settle(pilot)
        assert says not in "\n".join(screen_lines(app))


async def test_a_wrong_filter_is_not_left_behind_and_not_brought_back(app: LoadglassApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await pilot.press("/", *"fog", "enter", "/", *" verdict:damged", "enter", "down")
        shelf = shelf_of(app)
        assert app.focused is shelf.filter_line.input
        assert 'verdict cannot be "damged"' in "\n".join(screen_lines(app))
        await pilot.press("escape")
        await settle(pilot)
        assert app.focused is shelf.table
        assert shelf.filter_line.text == "fog" == app.settings.filter
        assert titles(app) == ["FOG HORN"]
        await pilot.press("/", *" verdict:damged")
        shelf.table.focus()
        await pilot.press("escape")
        await settle(pilot)
        assert "/ and arrow up bring back: fog " in screen_lines(app)[1]
        assert app.settings.filter == ""


async def test_a_filter_that_lets_nothing_through_says_so(app: LoadglassApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await pilot.press("/", *"xyz")
        await settle(pilot)
        assert "no image" in "\n".join(lines_of(shelf_of(app).table))


async def test_sorting_from_the_keyboard_and_turning_it_round(app: LoadglassApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        assert titles(app) == sorted(titles(app))
        await pilot.press("s")
        assert isinstance(app.screen, ChooseOne)
        await pilot.press("down", "down", "down", "down", "enter")
        await settle(pilot)
        assert app.settings.sort == "blocks"
        assert titles(app)[-1] == "FOG HORN"
        await pilot.press("S")
        await settle(pilot)
        assert titles(app)[0] == "FOG HORN"
        assert " ▼blocks" in lines_of(shelf_of(app).table)[1]


async def test_sorting_by_a_click_on_a_column(app: LoadglassApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        at = lines_of(shelf_of(app).table)[1].index("verdict")
        await pilot.click("#table", offset=(at + 1, 1))
        await settle(pilot)
        assert app.settings.sort == "verdict" and not app.settings.descending
        await pilot.click("#table", offset=(at + 1, 1))
        await settle(pilot)
        assert app.settings.descending


async def test_the_other_drive_is_one_key_away_and_stands_in_words(app: LoadglassApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        app.settings.sort = "all:stock-card"
        await pilot.press("d")
        await settle(pilot)
        lines = lines_of(shelf_of(app).table)
        assert "all, spinning " in lines[0]
        assert app.settings.rig == "fast-spinning"
        assert app.settings.sort == "all:stock-spinning"
        seconds = app.session.shelf.page("fog", "title", False, 0, 1)[0].all_s["stock-spinning"]
        assert f"{seconds:.1f} s" in next(line for line in lines if "FOG HORN" in line)
        await pilot.press("d")
        assert "all, SD card" in lines_of(shelf_of(app).table)[0]


async def test_the_preview_shows_the_image_under_the_cursor(app: LoadglassApp) -> None:
    async with app.run_test(size=(140, 45)) as pilot:
        await settle(pilot)
        shelf = shelf_of(app)
        await pilot.press("/", *"ring", "enter")
        await settle(pilot)
        preview = "\n".join(lines_of(app.screen.query_one(Preview)))
        assert "X damaged" in preview and "chain-loop" in preview
        assert '0    "RING BUOY       " GH 2A' in preview
        assert '"BUOY"' in preview and "BLOCKS FREE." in preview
        assert "no program that can be loaded" in preview
        await pilot.press("escape")
        await settle(pilot)
        await pilot.press("/", *"lantern", "enter")
        await settle(pilot)
        preview = "\n".join(lines_of(shelf.preview))
        assert "Loading first program" in preview and "Loading all programs" in preview
        assert preview.count("█") > 10


async def test_the_preview_has_the_range_and_says_where_the_cartridge_is_slower(
    app: LoadglassApp,
) -> None:
    async with app.run_test(size=(140, 45)) as pilot:
        await settle(pilot)
        await pilot.press("/", *"lantern", "enter")
        await settle(pilot)
        shelf = shelf_of(app)

        def words() -> str:
            return " ".join(" ".join(lines_of(shelf.preview)).split())

        clocking = clock_image(open_and_audit("lantern.d64").audit, app.session.rigs.values())
        for loads in (clocking.start, clocking.all):
            estimate = loads["fast-card"]
            assert estimate is not None
            assert f"fast-card: 90 % range {estimate.low:.1f}–{estimate.high:.1f} s" in words()
        start, stock = clocking.start["fast-card"], clocking.start["stock-card"]
        assert start is not None and stock is not None and start.seconds > stock.seconds
        lost = f"{start.seconds - stock.seconds:.1f} s"
        assert words().count("longer than") == 1, "all programs in a row are faster"
        says = f"fast-card takes {lost} longer than stock-card, for its own start takes 0.9 s"
        assert says in words()
        await pilot.press("d")
        await settle(pilot)
        assert "fast-spinning: 90 % range" in words() and "fast-card: 90" not in words()


async def test_the_preview_needs_room_or_a_key(app: LoadglassApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        preview = shelf_of(app).preview
        assert not preview.display
        await pilot.press("v")
        assert preview.display
        await pilot.press("v")
        assert not preview.display
        await pilot.resize_terminal(120, 30)
        await settle(pilot)
        assert preview.display
        await pilot.press("v")
        assert not preview.display
        assert not app.settings.preview


async def test_an_image_that_has_gone_is_said_in_a_sentence(
    rows: list[ShelfRow], tmp_path: Path
) -> None:
    Path(rows[0].path).unlink()
    app = LoadglassApp(session_of(rows[:1], tmp_path / "home"))
    async with app.run_test(size=(120, 30), notifications=True) as pilot:
        await settle(pilot)
        assert "there is no file fog-horn.d64" in " ".join(screen_lines(app))
        await pilot.press("enter")
        await settle(pilot)
        assert isinstance(app.screen, ShelfScreen)
        assert "Cannot be opened" in "\n".join(screen_lines(app))


async def test_hostile_names_reach_the_terminal_as_harmless_text(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path(HOSTILE_FILE_NAME).write_bytes(IMAGES["evil-name.d64"])
    rows = [row_of(Path(HOSTILE_FILE_NAME), 1)]
    app = LoadglassApp(session_of(rows, tmp_path / "home"))
    async with app.run_test(size=(200, 40)) as pilot:
        await settle(pilot)
        text = "\n".join(screen_lines(app))
        assert ESCAPE not in text and "\x07" not in text and "\u202e" not in text
        assert "[BOLD]␛" in text and "[RED]␛␍" in text
        assert r"\x1b]0;owned\x07 [bold]name[red] \u202e.d64" in text
        await pilot.press("enter")
        await settle(pilot)
        assert not isinstance(app.screen, ShelfScreen)
        text = "\n".join(screen_lines(app))
        assert ESCAPE not in text and "[RED]␛␍" in text


async def test_plain_glyphs_are_used_everywhere_on_the_shelf(
    rows: list[ShelfRow], tmp_path: Path
) -> None:
    odd = dataclasses.replace(rows[0], title="♠\U0001fb72␓ ABC")
    app = LoadglassApp(session_of([odd], tmp_path / "home"))
    async with app.run_test(size=(120, 30)) as pilot:
        await settle(pilot)
        assert "\U0001fb72" in lines_of(shelf_of(app).table)[2]
        await pilot.press("o", "down", "enter", "escape")
        await settle(pilot)
        assert app.settings.glyphs == "plain"
        text = "\n".join(screen_lines(app))
        assert "\U0001fb72" not in text and "▏" not in text and "♠" in text


async def test_what_the_view_was_like_is_remembered(rows: list[ShelfRow], tmp_path: Path) -> None:
    home = tmp_path / "home"
    app = LoadglassApp(session_of(rows, home))
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await pilot.press("d", "S", "/", *"fog", "enter")
        await settle(pilot)
        await pilot.press("q")
    assert load_settings(home / "settings.toml") == (app.settings, [])
    app = LoadglassApp(session_of(rows, home))
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        assert titles(app) == ["FOG HORN"]
        assert app.settings.descending and app.settings.rig == "fast-spinning"


async def test_settings_that_fit_no_longer_are_passed_over(
    rows: list[ShelfRow], tmp_path: Path
) -> None:
    home = tmp_path / "home"
    home.mkdir()
    (home / "settings.toml").write_text('rig = "sold"\nsort = "all:sold"\ntheme = 4\n')
    app = LoadglassApp(session_of(rows, home))
    async with app.run_test(size=(80, 24), notifications=True) as pilot:
        await settle(pilot)
        assert len(titles(app)) == 5
        assert app.settings.rig in app.session.rivals
        assert "theme makes no sense" in "\n".join(screen_lines(app))


async def test_an_empty_shelf_says_what_to_do(tmp_path: Path) -> None:
    app = LoadglassApp(session_of([], tmp_path / "home"))
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        text = "\n".join(screen_lines(app))
        assert "The shelf is empty" in text and "folder" in text and "samples" in text
        await pilot.press("down", "enter", "s", "escape", "d", "v", "2")
        await settle(pilot)
        assert isinstance(app.screen, ShelfScreen)


@pytest.mark.parametrize("size", [(40, 10), (20, 5), (2, 2), (300, 100)])
async def test_any_size_will_do(app: LoadglassApp, size: tuple[int, int]) -> None:
    async with app.run_test(size=size) as pilot:
        await settle(pilot)
        await pilot.press("down", "v", "/", "f", "escape", "?", "escape", "s", "escape", "o")
        await pilot.press("escape")
        await pilot.resize_terminal(100, 30)
        await settle(pilot)
        assert "FOG HORN" in "\n".join(screen_lines(app))


async def test_resizing_back_and_forth_keeps_the_cursor_in_sight(tmp_path: Path) -> None:
    rows = [made_up_row(number) for number in range(1000)]
    app = LoadglassApp(session_of(rows, tmp_path / "home"))
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await pilot.press("end")
        for size in ((40, 10), (200, 60), (60, 7), (80, 24)):
            await pilot.resize_terminal(*size)
            await settle(pilot)
            assert "TITLE 000999" in "\n".join(lines_of(shelf_of(app).table))


async def test_no_verdict_hangs_on_colour_alone(tmp_path: Path) -> None:
    rows = [
        dataclasses.replace(made_up_row(number), verdict=verdict)
        for number, verdict in enumerate(Verdict)
    ]
    app = LoadglassApp(session_of(rows, tmp_path / "home"))
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        lines = lines_of(shelf_of(app).table)
        for line, shown in zip(
            lines[2:6], ("o sound", "~ quirky", "X damaged", "? unreadable"), strict=True
        ):
            assert shown in line


async def test_the_shelf_changing_under_the_cursor_is_shown(tmp_path: Path) -> None:
    rows = [made_up_row(number) for number in range(10)]
    session = session_of(rows, tmp_path / "home")
    app = LoadglassApp(session)
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await pilot.press("down", "down")
        session.shelf.rows.extend(made_up_row(number) for number in range(10, 20))
        app.shelf_changed()
        await until(pilot, lambda: shelf_of(app).table.row_count == 20)
        assert shelf_of(app).table.cursor == 2
        await settle(pilot)
        assert "shelf: 20 images" in screen_lines(app)[0]


async def test_the_spread_of_the_load_times_follows_filter_and_drive(
    rows: list[ShelfRow], tmp_path: Path
) -> None:
    app = LoadglassApp(club_session([row.path for row in rows], tmp_path / "home"))
    async with app.run_test(size=(100, 30)) as pilot:
        await settle(pilot)
        histogram = shelf_of(app).query_one(Histogram)
        assert not histogram.display
        await pilot.press("h")
        await settle(pilot)
        lines = lines_of(histogram)
        assert "all programs of 3 images" in lines[0]
        assert "stock-card" in lines[1] and "fast-card" in lines[1]
        times = [row.all_s["stock-card"] for row in app.session.shelf.rows()]
        within = sum(30 <= time < 60 for time in times if time is not None)
        assert within > 0
        assert f"█ {within} " in next(line for line in lines if "30–60 s" in line)
        await pilot.press("/", *"lantern", "enter", "d")
        await settle(pilot)
        lines = lines_of(histogram)
        assert "all programs of 1 image" in lines[0] and "fast-spinning" in lines[1]
        await pilot.press("h")
        assert not histogram.display


# --- what the picks cost in waiting -------------------------------------------------------------


async def test_picks_are_summed_up_before_and_after(tmp_path: Path) -> None:
    sound = [dataclasses.replace(made_up_row(n), verdict=Verdict.SOUND) for n in range(9)]
    rows = [dataclasses.replace(row, picked=row.id < 3) for row in sound]
    rows += [dataclasses.replace(made_up_row(9), picked=True, verdict=Verdict.DAMAGED)]
    app = LoadglassApp(session_of(rows, tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        bars = shelf_of(app).query_one(PicksBars)
        assert bars.display and bars.totals is not None
        before = sum(row.all_s["stock-card"] or 0 for row in rows[:3])
        after = sum(row.all_s["fast-card"] or 0 for row in rows[:3])
        waiting = bars.totals.waiting
        assert bars.totals.images == 3
        assert (waiting.stock_s, waiting.fast_s) == pytest.approx((before, after))
        stock, fast = lines_of(bars)
        assert stock.startswith(" 3 picked") and duration_text(before) in stock
        assert stock.rstrip().endswith("1 damaged: not counted")
        assert f"{duration_text(after)}: {duration_text(before - after)} saved" in fast
        assert stock.count("█") > 3 * fast.count("█") > 0
        await pilot.press("d")
        await settle(pilot)
        assert "stock-spinning" in lines_of(bars)[0]


async def test_without_picks_there_are_no_bars(app: LoadglassApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        assert not shelf_of(app).query_one(PicksBars).display


async def test_picking_shows_the_sums_and_taking_back_hides_them(
    rows: list[ShelfRow], tmp_path: Path
) -> None:
    app = LoadglassApp(club_session([row.path for row in rows], tmp_path / "home"))
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        bars = shelf_of(app).query_one(PicksBars)
        await pilot.press("space", "space")
        await until(pilot, lambda: bars.display)
        await until(pilot, lambda: bars.totals is not None and bars.totals.images == 2)
        await pilot.press("up", "up", "space", "space")
        await until(pilot, lambda: not bars.display)
