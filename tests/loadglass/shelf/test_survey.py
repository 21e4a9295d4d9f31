"""Surveys: what is read, what is left alone, and what the counts say."""

from __future__ import annotations

import gzip
import os
import shutil
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from loadglass.shelf.index import Index
from loadglass.shelf.survey import SurveyResult
from tests.loadglass.shelf.club import image, program

Survey = Callable[..., SurveyResult]


def counts(result: SurveyResult) -> tuple[int, int, int, int, int]:
    return result.added, result.changed, result.unchanged, result.gone, result.failed


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Paths of the images that a survey opens, as they are read."""
    from loadglass.sources import FileBytes, Reader, Source

    seen: list[str] = []
    read = Reader.read

    def watched(self: Reader, source: Source) -> FileBytes:
        seen.append(source.path)
        return read(self, source)

    monkeypatch.setattr(Reader, "read", watched)
    return seen


def test_images_are_read_once(club: Path, surveyed: Survey, opened: list[str]) -> None:
    (club / "a.d64").write_bytes(image("HAFENLICHT"))
    (club / "below").mkdir()
    (club / "below" / "b.d64.gz").write_bytes(gzip.compress(image("LEUCHTFEUER")))
    (club / "notes.txt").write_text("Tide table")
    with zipfile.ZipFile(club / "c.zip", "w") as archive:
        archive.writestr("one.d64", image("EBBE"))
        archive.writestr("two.d64", image("FLUT"))
        archive.writestr("readme.txt", "hello")
    first = surveyed()
    assert counts(first) == (4, 0, 0, 0, 0)
    assert first.passed_over == 2
    assert len(opened) == 4
    opened.clear()
    again = surveyed()
    assert counts(again) == (0, 0, 4, 0, 0)
    assert again.passed_over == 2
    assert opened == []


def test_changed_images_are_read_again(club: Path, surveyed: Survey, opened: list[str]) -> None:
    for name in ("a.d64", "b.d64"):
        (club / name).write_bytes(image(name[:1].upper()))
    surveyed()
    opened.clear()
    (club / "b.d64").write_bytes(image("B", program("NEU", b"x" * 999)))
    assert counts(surveyed()) == (0, 1, 1, 0, 0)
    assert opened == [str(club / "b.d64")]


def test_gone_images_come_back_unopened(
    club: Path, surveyed: Survey, index: Index, opened: list[str]
) -> None:
    (club / "side").mkdir()
    for name in ("a.d64", "side/b.d64"):
        (club / name).write_bytes(image("A"))
    surveyed()
    opened.clear()
    away = club.with_name("away")
    shutil.move(club / "side", away)
    assert counts(surveyed()) == (0, 0, 1, 1, 0)
    assert counts(surveyed()) == (0, 0, 1, 0, 0)
    with index.connected() as connection:
        marks = connection.execute("SELECT file_name, gone FROM images ORDER BY 1").fetchall()
    assert marks == [("a.d64", 0), ("b.d64", 1)]
    shutil.move(away, club / "side")
    assert counts(surveyed()) == (0, 0, 2, 0, 0)
    with index.connected() as connection:
        assert connection.execute("SELECT sum(gone) FROM images").fetchone() == (0,)
    assert opened == []


def test_only_what_lies_below_the_paths_can_go(club: Path, surveyed: Survey) -> None:
    for name in ("a", "ab"):
        (club / name).mkdir()
        (club / name / "x.d64").write_bytes(image("A"))
    surveyed()
    shutil.rmtree(club / "ab")
    assert counts(surveyed(club / "a")) == (0, 0, 1, 0, 0)
    assert counts(surveyed()) == (0, 0, 1, 1, 0)


def test_a_folder_that_cannot_be_read_is_not_gone(
    club: Path, surveyed: Survey, monkeypatch: pytest.MonkeyPatch
) -> None:
    (club / "locked" / "deep").mkdir(parents=True)
    (club / "locked" / "deep" / "x.d64").write_bytes(image("A"))
    surveyed()
    scandir = os.scandir

    def refusing(path: str) -> object:
        if str(path).endswith("locked"):
            raise PermissionError(13, "Permission denied")
        return scandir(path)

    monkeypatch.setattr(os, "scandir", refusing)
    result = surveyed()
    assert counts(result) == (0, 0, 0, 0, 0)
    assert len(result.problems) == 1
    assert "locked" in result.problems[0]


def test_paths_inside_one_another_count_once(club: Path, surveyed: Survey) -> None:
    (club / "in").mkdir()
    (club / "in" / "a.d64").write_bytes(image("A"))
    assert counts(surveyed(club, club / "in", club / "in" / "a.d64")) == (1, 0, 0, 0, 0)


def test_a_file_named_on_the_call_may_have_any_name(club: Path, surveyed: Survey) -> None:
    (club / "a.bin").write_bytes(image("A"))
    (club / "b.d64").write_bytes(image("B"))
    assert counts(surveyed(club / "a.bin")) == (1, 0, 0, 0, 0)
    assert counts(surveyed(club / "a.bin")) == (0, 0, 1, 0, 0)
    (club / "a.bin").unlink()
    result = surveyed(club / "a.bin")
    assert counts(result) == (0, 0, 0, 1, 0)
    assert "a.bin" in result.problems[0]


def test_what_is_no_image_is_on_the_shelf_as_unreadable(
    club: Path, surveyed: Survey, index: Index, opened: list[str]
) -> None:
    (club / "short.d64").write_bytes(b"x" * 1000)
    (club / "broken.d64.gz").write_bytes(b"\x1f\x8b\x08garbage")
    result = surveyed()
    assert counts(result) == (0, 0, 0, 0, 2)
    assert len(result.problems) == 2
    with index.connected() as connection:
        rows = connection.execute("SELECT verdict, why <> '' FROM images").fetchall()
    assert rows == [(3, 1), (3, 1)]
    opened.clear()
    assert counts(surveyed()) == (0, 0, 2, 0, 0)
    assert opened == []


def test_a_new_version_of_the_audit_reads_what_is_there_again(
    club: Path,
    surveyed: Survey,
    index: Index,
    opened: list[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    for name in "abc":
        (club / f"{name}.d64").write_bytes(image(name.upper()))
    surveyed()
    (club / "c.d64").unlink()
    surveyed()
    opened.clear()
    for module in ("changes", "reading"):
        monkeypatch.setattr(f"loadglass.shelf.{module}.AUDIT_VERSION", 99)
    assert counts(surveyed()) == (0, 0, 2, 0, 0)
    assert opened == [str(club / "a.d64"), str(club / "b.d64")]
    assert counts(surveyed()) == (0, 0, 2, 0, 0)
    assert len(opened) == 2
    with index.connected() as connection:
        versions = connection.execute("SELECT audit_version FROM images ORDER BY name").fetchall()
    assert [version for (version,) in versions[:2]] == [99, 99]


def test_ids_stay_while_images_stay(club: Path, surveyed: Survey, index: Index) -> None:
    def ids() -> dict[str, int]:
        with index.connected() as connection:
            return dict(connection.execute("SELECT file_name, id FROM images"))

    for name in "abc":
        (club / f"{name}.d64").write_bytes(image(name.upper()))
    surveyed()
    before = ids()
    (club / "b.d64").write_bytes(image("NEU", program("NEU", b"x" * 999)))
    (club / "c.d64").unlink()
    (club / "d.d64").write_bytes(image("D"))
    surveyed()
    assert {name: number for name, number in ids().items() if name in before} == before


def test_what_was_surveyed_is_remembered(club: Path, surveyed: Survey, index: Index) -> None:
    (club / "in").mkdir()
    surveyed(club / "in")
    surveyed(club, club / "nowhere")
    assert index.roots() == [str(club), str(club / "in")]
