"""Whatever lies in the folders, and whatever happens meanwhile: reported, and nothing stops."""

from __future__ import annotations

import io
import os
import shutil
import sqlite3
import sys
import zipfile
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from loadglass.progress import Job
from loadglass.shelf import index as index_module
from loadglass.shelf.choices import open_choices
from loadglass.shelf.database import DatabaseTrouble
from loadglass.shelf.index import Index, open_index
from loadglass.shelf.query import Shelf
from loadglass.shelf.survey import SurveyResult, SurveyStopped, survey
from loadglass.sources import FileBytes, Reader, Source
from loadglass.timing.estimate import ImageSeconds
from loadglass.timing.places import ImagePlaces
from loadglass.timing.rig import Rig
from tests.loadglass.shelf.club import image, program

Survey = Callable[..., SurveyResult]
posix_only = pytest.mark.skipif(sys.platform == "win32", reason="needs POSIX")


@posix_only
def test_pipes_are_not_waited_for(club: Path, surveyed: Survey) -> None:
    os.mkfifo(club / "pipe.d64")
    os.mkfifo(club / "pipe")
    (club / "a.d64").write_bytes(image("A"))
    result = surveyed()
    assert (result.images, result.added, result.passed_over) == (1, 1, 2)
    assert len(result.problems) == 1
    assert "pipe.d64" in result.problems[0]
    named = surveyed(club / "pipe.d64")
    assert named.failed == 1
    assert "no regular file" in named.problems[0]


@posix_only
def test_links_are_not_followed(club: Path, surveyed: Survey, tmp_path: Path) -> None:
    (tmp_path / "outside.d64").write_bytes(image("OUT"))
    (club / "in").mkdir()
    (club / "in" / "a.d64").write_bytes(image("A"))
    (club / "in" / "circle").symlink_to(club)
    (club / "link.d64").symlink_to(tmp_path / "outside.d64")
    (club / "dead.d64").symlink_to(tmp_path / "nowhere")
    result = surveyed()
    assert (result.added, result.failed, result.problems) == (1, 0, [])


@posix_only
def test_names_that_are_not_utf_8(
    club: Path, surveyed: Survey, index: Index, rigs: Sequence[Rig], tmp_path: Path
) -> None:
    folder = os.fsencode(club) + b"/m\xf6we"
    os.mkdir(folder)
    with open(folder + b"/fl\xfct\x1b[31m.d64", "wb") as file:
        file.write(image("FLUT"))
    assert surveyed().added == 1
    assert surveyed().unchanged == 1
    shelf = Shelf(index, open_choices(tmp_path / "none"), rigs)
    (row,) = shelf.rows("flut")
    shelf.close()
    assert os.fsencode(row.path) == folder + b"/fl\xfct\x1b[31m.d64"
    assert row.file_name.isprintable()
    assert "\x1b" not in row.file_name
    os.unlink(folder + b"/fl\xfct\x1b[31m.d64")
    assert surveyed().gone == 1


def test_a_file_that_shrinks_while_it_is_read(
    club: Path, surveyed: Survey, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = club / "a.d64"
    path.write_bytes(image("A"))
    fstat = os.fstat

    def shrinking(descriptor: int) -> os.stat_result:
        status = fstat(descriptor)
        os.truncate(path, 1000)
        return status

    with monkeypatch.context() as patch:
        patch.setattr(os, "fstat", shrinking)
        result = surveyed()
    assert result.failed == 1
    assert "changed while it was read" in result.problems[0]
    path.write_bytes(image("A"))
    assert surveyed().changed == 1
    assert surveyed().unchanged == 1


def test_an_image_replaced_during_the_survey(
    club: Path, surveyed: Survey, index: Index, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = club / "a.d64"
    path.write_bytes(image("ALT"))
    read = Reader.read

    def replacing(self: Reader, source: Source) -> FileBytes:
        new = path.with_suffix(".new")
        new.write_bytes(image("NEU", program("N", b"n" * 3_000)))
        os.replace(new, path)
        return read(self, source)

    with monkeypatch.context() as patch:
        patch.setattr(Reader, "read", replacing)
        assert surveyed().added == 1
    with index.connected() as connection:
        assert connection.execute("SELECT title FROM images").fetchone() == ("NEU",)
    assert surveyed().unchanged == 1


def test_an_image_that_vanishes_before_it_is_read(
    club: Path, surveyed: Survey, monkeypatch: pytest.MonkeyPatch
) -> None:
    (club / "a.d64").write_bytes(image("A"))
    (club / "b.d64").write_bytes(image("B"))
    read = Reader.read

    def vanishing(self: Reader, source: Source) -> FileBytes:
        (club / "a.d64").unlink(missing_ok=True)
        return read(self, source)

    with monkeypatch.context() as patch:
        patch.setattr(Reader, "read", vanishing)
        result = surveyed()
    assert (result.added, result.failed) == (1, 1)
    assert (surveyed().unchanged, surveyed().gone) == (1, 0)


def test_a_fault_of_ours_in_one_image(
    club: Path, surveyed: Survey, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in "abc":
        (club / f"{name}.d64").write_bytes(image(name.upper()))
    from loadglass.shelf import reading

    real = reading.audit

    def failing(disk: object) -> object:
        if b"B\xa0\xa0" in disk.sectors:  # type: ignore[attr-defined]
            raise ZeroDivisionError("so be it")
        return real(disk)  # type: ignore[arg-type]

    with monkeypatch.context() as patch:
        patch.setattr(reading, "audit", failing)
        result = surveyed()
    assert (result.added, result.failed) == (2, 1)
    assert "fault of loadglass" in result.problems[0]
    assert surveyed().changed == 1


def test_a_fault_of_ours_in_clocking_one_image(
    club: Path, surveyed: Survey, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in "abc":
        (club / f"{name}.d64").write_bytes(image(name.upper(), program(name.upper(), b"x" * 600)))
    (club / "b.d64").write_bytes(image("B", program("B", b"x" * 6_000)))
    from loadglass.shelf import reading

    real = reading.seconds_of

    def failing(images: Sequence[ImagePlaces], rigs: Sequence[Rig]) -> ImageSeconds:
        if any(len(file.blocks) > 20 for places in images for file in places.files):
            raise ZeroDivisionError("so be it")
        return real(images, rigs)

    with monkeypatch.context() as patch:
        patch.setattr(reading, "seconds_of", failing)
        result = surveyed()
    assert (result.added, result.failed) == (2, 1)
    assert "b.d64" in result.problems[0]


def zipped(members: dict[str, bytes]) -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return file.getvalue()


def test_an_archive_inside_an_archive(club: Path, surveyed: Survey) -> None:
    inner = zipped({"deep.d64": image("DEEP")})
    (club / "outer.zip").write_bytes(zipped({"a.d64": image("A"), "inner.zip": inner}))
    result = surveyed()
    assert (result.added, result.passed_over) == (1, 1)
    assert "archive inside an archive" in result.problems[0]


def test_ten_thousand_members(club: Path, surveyed: Survey) -> None:
    members = {f"{i:05}.txt": b"" for i in range(10_050)}
    (club / "texts.zip").write_bytes(zipped({"a.d64": image("A"), **members}))
    tiny = {f"{i:05}.d64": b"?" for i in range(10_050)}
    (club / "tiny.zip").write_bytes(zipped(tiny))
    result = surveyed()
    assert (result.added, result.failed) == (1, 10_000)
    limits = [problem for problem in result.problems if "only the first 10,000" in problem]
    assert len(limits) == 2
    assert len(result.problems) <= 1_000
    assert surveyed().unchanged == 10_001


def test_an_archive_that_changes(club: Path, surveyed: Survey, index: Index) -> None:
    path = club / "box.zip"
    path.write_bytes(zipped({"a.d64": image("A"), "b.d64": image("B")}))
    assert surveyed().added == 2
    path.write_bytes(zipped({"b.d64": image("B"), "c.d64": image("C"), "d.txt": b""}))
    result = surveyed()
    assert (result.added, result.changed, result.gone) == (1, 1, 1)
    assert surveyed().unchanged == 2
    path.write_bytes(b"PK no longer an archive")
    result = surveyed()
    assert (result.images, result.gone) == (0, 2)
    assert "cannot read the archive" in result.problems[0]


def test_broken_members(club: Path, surveyed: Survey) -> None:
    whole = bytearray(zipped({"a.d64": image("A"), "b.d64": os.urandom(174_848)}))
    whole[-60_000:-59_000] = bytes(1000)
    (club / "box.zip").write_bytes(whole)
    result = surveyed()
    assert (result.added, result.failed) == (1, 1)
    assert "broken in its archive" in result.problems[0]


def test_an_archive_is_finished_by_the_next_survey(
    club: Path, index: Index, rigs: Sequence[Rig], surveyed: Survey
) -> None:
    (club / "box.zip").write_bytes(zipped({f"{i}.d64": image(f"D{i}") for i in range(30)}))

    def stop_soon(progress: object) -> None:
        if progress.total is not None and progress.done:  # type: ignore[attr-defined]
            job.stop()

    job = Job(report=stop_soon, interval_s=0)
    with pytest.raises(SurveyStopped) as caught:
        survey(index, [str(club)], rigs, job, workers=0)
    done = caught.value.result.added
    assert 0 < done < 30
    result = surveyed()
    assert (result.added, result.unchanged) == (30 - done, done)


def test_a_disk_too_full_to_open_the_index(index: Index, monkeypatch: pytest.MonkeyPatch) -> None:
    """Seen on a real full disk: SQLite then has an I/O error over its shared memory."""
    error = sqlite3.OperationalError("disk I/O error")
    error.sqlite_errorname = "SQLITE_IOERR_SHMSIZE"
    with pytest.raises(DatabaseTrouble, match="I/O error"), index.guarded():
        raise error
    usage = shutil.disk_usage(index.path.parent)._replace(free=4096)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage)
    with pytest.raises(DatabaseTrouble, match="the disk is full"), index.guarded():
        raise error


def test_a_full_disk(
    club: Path, index: Index, rigs: Sequence[Rig], monkeypatch: pytest.MonkeyPatch
) -> None:
    (club / "first").mkdir()
    for i in range(10):
        (club / "first" / f"{i}.d64").write_bytes(image(f"DISK {i}"))
    survey(index, [str(club)], rigs, workers=0)
    (club / "second").mkdir()
    for i in range(300):
        content = os.urandom(100)
        (club / "second" / f"{i}.d64").write_bytes(image(f"MORE {i}", program("M", content)))
    connect = index_module._connect

    def limited(path: Path) -> sqlite3.Connection:
        connection = connect(path)
        (pages,) = connection.execute("PRAGMA page_count").fetchone()
        connection.execute(f"PRAGMA max_page_count = {pages + 20}")
        return connection

    with monkeypatch.context() as patch:
        patch.setattr(index_module, "_connect", limited)
        with pytest.raises(DatabaseTrouble, match="the disk is full"):
            survey(index, [str(club)], rigs, workers=0)
    again = open_index(index.path)
    assert again.notices == []
    with again.connected() as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        (kept,) = connection.execute("SELECT count(*) FROM images").fetchone()
        assert 10 <= kept < 310
    result = survey(again, [str(club)], rigs, workers=0)
    assert (result.unchanged, result.added) == (kept, 310 - kept)
