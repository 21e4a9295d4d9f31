"""Picks, ratings and tags made on the shelf, on a real index."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from loadglass.shelf.choices import open_choices
from loadglass.shelf.database import DatabaseTrouble
from loadglass.shelf.rows import ShelfRow
from tests.tui.driving import lines_of, screen_lines, settle, shelf_of, until
from tests.tui.memory_shelf import club_session
from tui.app import LoadglassApp


@pytest.fixture
def app(rows: list[ShelfRow], tmp_path: Path) -> LoadglassApp:
    return LoadglassApp(club_session([row.path for row in rows], tmp_path / "home"))


def shown_rows(app: LoadglassApp) -> list[ShelfRow]:
    return list(app.session.shelf.rows("", "title"))


def picked(app: LoadglassApp) -> list[str]:
    return [row.title for row in shown_rows(app) if row.picked]


async def test_space_picks_and_takes_back_and_goes_on(app: LoadglassApp, tmp_path: Path) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        first, second = [row.title for row in shown_rows(app)[:2]]
        await pilot.press("space", "space")
        await settle(pilot)
        assert picked(app) == [first, second]
        assert shelf_of(app).table.cursor == 2
        lines = lines_of(shelf_of(app).table)
        assert "■" in lines[2] and "■" in lines[3] and "■" not in lines[4]
        await pilot.press("up", "space")
        await settle(pilot)
        assert picked(app) == [first]
    kept = open_choices(tmp_path / "home" / "choices.sqlite")
    assert sum(choice.picked for choice in kept.all().values()) == 1
    kept.close()


async def test_a_pick_shows_before_it_is_written(app: LoadglassApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await pilot.press("space")
        await settle(pilot)
        assert "■" in lines_of(shelf_of(app).table)[2]


async def test_a_range_is_picked_whole_and_then_taken_back_whole(app: LoadglassApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await pilot.press("down", "space", "home", "shift+down", "shift+down", "space")
        await settle(pilot)
        assert picked(app) == [row.title for row in shown_rows(app)[:3]]
        assert shelf_of(app).table.mark_from is None
        await pilot.press("home", "b", "down", "down", "space")
        await settle(pilot)
        assert picked(app) == []


async def test_all_that_the_filter_shows_is_picked(app: LoadglassApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await pilot.press("/", *"verdict:damaged", "enter")
        await settle(pilot)
        await pilot.press("P", "escape")
        await settle(pilot)
        assert picked(app) == ["RING BUOY"]
        await pilot.press("/", *"picked:yes", "enter")
        await settle(pilot)
        assert shelf_of(app).table.row_count == 1


@pytest.mark.parametrize(("copies", "which"), [(1, "copy"), (2, "2 copies")])
async def test_a_pick_says_what_it_does_to_copies(
    rows: list[ShelfRow], tmp_path: Path, copies: int, which: str
) -> None:
    names = [f"again{number}.d64" for number in range(copies)]
    for name in names:
        shutil.copy("fog-horn.d64", name)
    app = LoadglassApp(club_session([*(row.path for row in rows), *names], tmp_path / "home"))
    async with app.run_test(size=(80, 24), notifications=True) as pilot:
        await settle(pilot)
        await pilot.press("/", *"fog", "enter", "space")
        await settle(pilot)
        assert f"FOG HORN picked, with its {which}" in "\n".join(screen_lines(app))
        assert picked(app) == ["FOG HORN"] * (1 + copies)
        await pilot.press("space")  # on the next row, the copy
        await settle(pilot)
        assert f"FOG HORN taken back, with its {which}" in "\n".join(screen_lines(app))
        if copies == 1:
            assert "with its copy again0.d64" in "\n".join(screen_lines(app))
        assert picked(app) == []


async def test_taking_all_back_is_asked_and_says_how_many(
    rows: list[ShelfRow], tmp_path: Path
) -> None:
    shutil.copy(rows[0].path, "copy.d64")
    paths = [*(row.path for row in rows), "copy.d64"]
    app = LoadglassApp(club_session(paths, tmp_path / "home"))
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await pilot.press("P")
        await settle(pilot)
        assert len(picked(app)) == len(paths), "adding all is one key"
        for answer, left in (("escape", len(paths)), ("l", len(paths)), ("t", 0)):
            await pilot.press("P")
            await settle(pilot)
            asked = f"Take back all that is shown: {len(rows)} images and 1 copy?"
            assert asked in "\n".join(screen_lines(app))
            await pilot.press(answer)
            await settle(pilot)
            assert len(picked(app)) == left


async def test_a_rating_is_typed_or_chosen_and_taken_back(app: LoadglassApp) -> None:
    async with app.run_test(size=(200, 30)) as pilot:
        await settle(pilot)
        await pilot.press("r", "4")
        await settle(pilot)
        assert shown_rows(app)[0].rating == 4
        assert "4 of 5" in lines_of(shelf_of(app).table)[2]
        await pilot.press("r", "up", "enter")
        await settle(pilot)
        assert shown_rows(app)[0].rating == 3
        await pilot.press("r", "escape")
        await settle(pilot)
        assert shown_rows(app)[0].rating == 3
        await pilot.press("r", "0")
        await settle(pilot)
        assert shown_rows(app)[0].rating is None


async def test_tags_are_added_and_taken_away_and_can_be_filtered_by(app: LoadglassApp) -> None:
    async with app.run_test(size=(200, 30)) as pilot:
        await settle(pilot)
        await pilot.press("shift+down", "g", *"Demo night", "enter")
        await settle(pilot)
        assert [row.tags for row in shown_rows(app)[:2]] == [("demo", "night")] * 2
        await pilot.press("escape", "home", "g", *"-night", "enter")
        await settle(pilot)
        assert shown_rows(app)[0].tags == ("demo",)
        await pilot.press("/", *"tag:night", "enter")
        await settle(pilot)
        assert shelf_of(app).table.row_count == 1
        assert "demo night" in "\n".join(screen_lines(app))


async def test_what_is_no_tag_is_said_in_a_sentence(app: LoadglassApp) -> None:
    async with app.run_test(size=(120, 30), notifications=True) as pilot:
        await settle(pilot)
        await pilot.press("g", *"[b]x", "enter")
        await settle(pilot)
        assert '"[b]x" is no tag' in " ".join(screen_lines(app))
        assert shown_rows(app)[0].tags == ()


async def test_nothing_can_be_chosen_about_what_cannot_be_read(
    rows: list[ShelfRow], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tui.sayings.READ_S", 0.0)  # of what is said of the survey
    Path("torn.d64").write_bytes(b"x" * 1000)
    app = LoadglassApp(club_session(["torn.d64"], tmp_path / "home"))
    async with app.run_test(size=(120, 30), notifications=True) as pilot:
        await settle(pilot)
        assert "? unreadable" in "\n".join(screen_lines(app))
        await pilot.press("space")
        await settle(pilot)
        assert "nothing to pick" in " ".join(screen_lines(app))


async def test_an_empty_shelf_has_nothing_to_choose(tmp_path: Path) -> None:
    app = LoadglassApp(club_session([], tmp_path / "home"))
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await pilot.press("space", "P", "r", "g", "enter")
        await settle(pilot)
        assert len(app.screen_stack) == 2


async def test_what_is_taken_off_the_shelf_can_be_put_back(app: LoadglassApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        first, second, *rest = [row.file_name for row in shown_rows(app)]
        await pilot.press("shift+down", "delete")
        await settle(pilot)
        assert "Take 2 images off the shelf?" in "\n".join(screen_lines(app))
        await pilot.press("l")
        await settle(pilot)
        assert len(shown_rows(app)) == len(rest) + 2
        await pilot.press("delete", "t")
        await settle(pilot)
        assert [row.file_name for row in shown_rows(app)] == rest
        await pilot.press("/", *"off:yes", "enter")
        await settle(pilot)
        assert f"2 of {len(rest)}" in "\n".join(screen_lines(app))
        await pilot.press("delete", "home", "delete")
        await settle(pilot)
        assert {row.file_name for row in shown_rows(app)} == {first, second, *rest}


@pytest.mark.parametrize("keys", [("space",), ("P",), ("r", "3"), ("g", "x", "enter")])
async def test_an_index_that_cannot_be_asked_is_said_and_chooses_nothing(
    app: LoadglassApp, monkeypatch: pytest.MonkeyPatch, keys: tuple[str, ...]
) -> None:
    def broken(*_: object) -> object:
        raise DatabaseTrouble("the index cannot be read: survey anew")

    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        monkeypatch.setattr(type(app.session.shelf), "page", broken)
        await pilot.press(*keys)
        await until(pilot, lambda: "the index cannot be read" in " ".join(screen_lines(app)))
