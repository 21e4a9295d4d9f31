"""The index file: made, opened, set aside when it is not ours or broken."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from loadglass.shelf.database import DatabaseTrouble, writing
from loadglass.shelf.index import IndexBroken, open_index
from loadglass.shelf.survey import SurveyResult, survey
from loadglass.timing.rig import Rig
from tests.loadglass.shelf.club import image

Survey = Callable[..., SurveyResult]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "home" / "index.sqlite"


def test_a_new_index(path: Path) -> None:
    index = open_index(path)
    assert index.notices == []
    with index.connected() as connection:
        assert connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        assert connection.execute("PRAGMA foreign_keys").fetchone() == (1,)
        assert connection.execute("SELECT count(*) FROM images").fetchone() == (0,)
    assert open_index(path).notices == []


def test_foreign_keys_hold(path: Path) -> None:
    with (
        open_index(path).connected() as connection,
        pytest.raises(sqlite3.IntegrityError),
    ):
        connection.execute("INSERT INTO places VALUES (77, x'00')")


def spoil_text(path: Path) -> None:
    path.write_text("This is a shopping list. " * 500)


def spoil_middle(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[4096:12288] = b"\xff" * 8192
    path.write_bytes(data)


def spoil_cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:5000])


def spoil_foreign(path: Path) -> None:
    path.unlink()
    connection = sqlite3.connect(path)
    connection.execute("CREATE TABLE letters (a)")
    connection.commit()
    connection.close()


def spoil_version(path: Path) -> None:
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA user_version = 999")
    connection.close()


def spoil_tables(path: Path) -> None:
    connection = sqlite3.connect(path)
    connection.execute("DROP TABLE times")
    connection.close()


SPOILERS = [spoil_text, spoil_middle, spoil_cut, spoil_foreign, spoil_version, spoil_tables]


@pytest.mark.parametrize("spoil", SPOILERS)
def test_what_is_not_our_index_is_set_aside(
    path: Path, club: Path, rigs: Sequence[Rig], spoil: Callable[[Path], None]
) -> None:
    (club / "a.d64").write_bytes(image("A"))
    survey(open_index(path), [str(club)], rigs)
    with open_index(path).connected() as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    spoil(path)
    spoiled = path.read_bytes()
    index = open_index(path)
    assert len(index.notices) == 1
    assert "set aside" in index.notices[0]
    (aside,) = path.parent.glob("index.sqlite.set-aside-1")
    assert aside.read_bytes() == spoiled
    assert survey(index, [str(club)], rigs).added == 1
    assert open_index(path).notices == []


def test_a_page_that_breaks_later_sets_the_index_aside(
    path: Path, club: Path, rigs: Sequence[Rig]
) -> None:
    index = open_index(path)
    for i in range(30):
        (club / f"{i}.d64").write_bytes(image(f"DISK {i}"))
    survey(index, [str(club)], rigs)
    with index.connected() as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        (page,) = connection.execute(
            "SELECT rootpage FROM sqlite_master WHERE name = 'places'"
        ).fetchone()
    data = bytearray(path.read_bytes())
    data[(page - 1) * 4096 + 1 : page * 4096] = b"\xfe" * 4095
    path.write_bytes(data)
    with pytest.raises(IndexBroken, match="set aside"), index.connected() as connection:
        connection.execute("SELECT sum(length(packed)) FROM places").fetchall()
    index = open_index(path)
    assert survey(index, [str(club)], rigs).added == 30


def test_a_log_left_behind_is_not_taken_for_a_new_index(path: Path) -> None:
    index = open_index(path)
    connection = index.connect()
    with writing(connection):
        connection.execute("INSERT INTO roots VALUES (x'2f')")
    log = path.with_name(path.name + "-wal").read_bytes()
    connection.close()
    path.write_text("spoiled" * 1000)
    path.with_name(path.name + "-wal").write_bytes(log)
    assert open_index(path).roots() == []


def test_a_folder_in_its_place(path: Path) -> None:
    path.mkdir(parents=True)
    with pytest.raises(DatabaseTrouble, match="cannot be used"):
        open_index(path)


def test_no_full_text_search(
    path: Path, club: Path, rigs: Sequence[Rig], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("loadglass.shelf.index.TEXTS", "CREATE VIRTUAL TABLE texts USING none (a)")
    (club / "a.d64").write_bytes(image("A"))
    index = open_index(path)
    assert not index.full_text
    assert survey(index, [str(club)], rigs).added == 1
    assert not open_index(path).full_text
