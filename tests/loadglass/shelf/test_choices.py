"""The user's choices: kept by content, apart from the index, and never thrown away."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from loadglass.shelf.choices import ALONE, BadChoice, Choice, open_choices
from loadglass.shelf.database import DatabaseTrouble

ONE, TWO = "11" * 32, "22" * 32


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "home" / "choices.sqlite"


def test_nothing_is_made_before_something_is_chosen(path: Path) -> None:
    choices = open_choices(path)
    assert choices.of(ONE) == Choice()
    assert not path.parent.exists()
    choices.pick([ONE])
    assert path.exists()
    choices.close()


def test_choices_are_there_the_next_time(path: Path) -> None:
    choices = open_choices(path)
    choices.pick([ONE, TWO])
    choices.pick([TWO], False)
    choices.rate([ONE], 5)
    choices.tag([ONE, TWO], "Demo")
    choices.tag([ONE], "zwei-seiten")
    choices.tag([TWO], "demo", wanted=False)
    choices.put_in_set([ONE], "Hafenlicht")
    choices.put_in_set([TWO], ALONE)
    choices.close()
    again = open_choices(path)
    assert again.of(ONE) == Choice(True, 5, ("demo", "zwei-seiten"), "Hafenlicht")
    assert again.of(TWO) == Choice(set_name=ALONE)
    assert again.tags() == {"demo": 1, "zwei-seiten": 1}
    again.rate([ONE], None)
    again.pick([ONE], False)
    again.tag([ONE], "demo", wanted=False)
    again.tag([ONE], "zwei-seiten", wanted=False)
    again.put_in_set([ONE, TWO], None)
    assert dict(again.all()) == {}
    again.close()


def test_another_process_is_seen(path: Path) -> None:
    here, there = open_choices(path), open_choices(path)
    here.pick([ONE])
    before = there.version
    assert there.of(ONE).picked
    here.rate([ONE], 2)
    assert there.version != before
    assert there.of(ONE).rating == 2
    assert there.version == there.version
    here.close()
    there.close()


@pytest.mark.parametrize("rating", [0, 6, -1])
def test_bad_ratings(path: Path, rating: int) -> None:
    with pytest.raises(BadChoice, match="1 to 5"):
        open_choices(path).rate([ONE], rating)


@pytest.mark.parametrize("tag", ["", "two words", "-minus", "a,b", "x" * 31, "a:b", "\x1b[0m"])
def test_bad_tags(path: Path, tag: str) -> None:
    with pytest.raises(BadChoice, match="no tag"):
        open_choices(path).tag([ONE], tag)


def test_bad_names_of_sets(path: Path) -> None:
    for name in ("x" * 61, "a\nb", "\x1b[0m"):
        with pytest.raises(BadChoice, match="one line"):
            open_choices(path).put_in_set([ONE], name)


def test_a_broken_file_is_set_aside(path: Path) -> None:
    path.parent.mkdir()
    path.write_bytes(b"no database at all" * 100)
    choices = open_choices(path)
    assert len(choices.notices) == 1
    assert "set aside" in choices.notices[0]
    choices.pick([ONE])
    choices.close()
    (aside,) = path.parent.glob("choices.sqlite.set-aside-*")
    assert aside.read_bytes().startswith(b"no database")


def test_a_file_of_a_later_version_is_left_alone(path: Path) -> None:
    path.parent.mkdir()
    connection = sqlite3.connect(path)
    connection.execute("CREATE TABLE future (a)")
    connection.execute("PRAGMA user_version = 99")
    connection.commit()
    connection.close()
    before = path.read_bytes()
    with pytest.raises(DatabaseTrouble, match="later loadglass"):
        open_choices(path)
    assert path.read_bytes() == before


def test_a_file_of_an_earlier_version_goes_on(path: Path) -> None:
    choices = open_choices(path)
    choices.pick([ONE])
    choices.close()
    with sqlite3.connect(path) as connection:
        connection.execute("DROP TABLE off_shelf")
        connection.execute("PRAGMA user_version = 1")
    connection.close()
    again = open_choices(path)
    assert not again.notices and again.of(ONE).picked and not again.off_shelf
    again.take_off([(b"/club", b"a.d64", b"")])
    assert open_choices(path).off_shelf == {(b"/club", b"a.d64", b"")}
    again.close()
