"""The same content elsewhere, and whole copies of what is damaged."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from formats.directory import read_directory
from formats.image import DiskImage
from loadglass.shelf.index import Index
from loadglass.shelf.survey import SurveyResult
from loadglass.shelf.twins import file_twins, image_twins, sound_twins
from tests.loadglass.shelf.club import image, program

Survey = Callable[..., SurveyResult]

CONTENT = random.Random(3).randbytes(9_000)


def damaged(data: bytes, slot: int, after_blocks: int) -> bytes:
    """The image with the link of a file's chain led off the disk after so many blocks."""
    sectors = bytearray(data)
    disk = DiskImage.from_bytes(data)
    entry = read_directory(disk).entries[slot]
    block = disk.geometry.index(*entry.start)
    for _ in range(after_blocks - 1):
        block = disk.next_blocks[block]
    sectors[block * 256 : block * 256 + 2] = bytes((99, 99))
    return bytes(sectors)


@pytest.fixture
def ids(club: Path, surveyed: Survey, index: Index) -> Callable[[], dict[str, int]]:
    def find() -> dict[str, int]:
        surveyed()
        with index.connected() as connection:
            return dict(connection.execute("SELECT file_name, id FROM images"))

    return find


def test_twins_of_images(club: Path, index: Index, ids: Callable[[], dict[str, int]]) -> None:
    (club / "a.d64").write_bytes(image("A"))
    (club / "copy.d64").write_bytes(image("A"))
    errors = bytes([1]) * 683
    (club / "with errors.d64").write_bytes(image("A") + errors)
    (club / "other.d64").write_bytes(image("B"))
    number = ids()
    twins = image_twins(index, number["a.d64"])
    assert [twin.path for twin in twins] == [
        str(club / "copy.d64"),
        str(club / "with errors.d64"),
    ]
    assert image_twins(index, number["other.d64"]) == []


def test_twins_of_files(club: Path, index: Index, ids: Callable[[], dict[str, int]]) -> None:
    lotse = program("LOTSE", CONTENT)
    (club / "a.d64").write_bytes(image("A", program("X", b"x" * 700), lotse))
    (club / "b.d64").write_bytes(image("B", program("PILOT", CONTENT), program("Y", b"y")))
    (club / "c.d64").write_bytes(image("C", program("LOTSE", CONTENT[:-1])))
    (club / "d.d64").write_bytes(image("D", program("LOTSE", CONTENT, 0x1000)))
    number = ids()
    (twin,) = file_twins(index, number["a.d64"], 1)
    assert (twin.path, twin.slot, twin.name) == (str(club / "b.d64"), 0, "PILOT")
    assert twin.size_bytes == len(CONTENT) + 2
    assert file_twins(index, number["b.d64"], 1) == []


@pytest.fixture
def broken(club: Path) -> None:
    """A damaged file, a whole copy of it, and three that only look like one."""
    whole = image("GANZ", program("X", b"x" * 700), program("LOTSE", CONTENT))
    (club / "whole.d64").write_bytes(whole)
    (club / "whole too.d64").write_bytes(whole)
    (club / "broken.d64").write_bytes(
        damaged(image("KAPUTT", program("LOTSE", CONTENT)), slot=0, after_blocks=20)
    )
    early = bytes(CONTENT[:1000]) + b"?" + bytes(CONTENT[1001:])
    (club / "other content.d64").write_bytes(image("ANDERS", program("LOTSE", early)))
    (club / "other name.d64").write_bytes(image("NAME", program("PILOT", CONTENT)))
    (club / "other address.d64").write_bytes(image("WO", program("LOTSE", CONTENT, 0x0900)))
    (club / "too short.d64").write_bytes(image("KURZ", program("LOTSE", CONTENT[:3000])))


@pytest.mark.usefixtures("broken")
def test_sound_twins(club: Path, index: Index, ids: Callable[[], dict[str, int]]) -> None:
    number = ids()
    (found,) = sound_twins(index, number["broken.d64"])
    assert (found.slot, found.name, found.readable_bytes) == (0, "LOTSE", 20 * 254)
    assert [(twin.path, twin.slot) for twin in found.twins] == [
        (str(club / "whole too.d64"), 1),
        (str(club / "whole.d64"), 1),
    ]
    assert sound_twins(index, number["whole.d64"]) == []


@pytest.mark.usefixtures("broken")
def test_twins_are_looked_at_and_not_believed(
    club: Path, index: Index, ids: Callable[[], dict[str, int]]
) -> None:
    number = ids()
    (club / "whole.d64").write_bytes(image("JETZT ANDERS"))
    (club / "whole too.d64").unlink()
    assert sound_twins(index, number["broken.d64"]) == []


@pytest.mark.usefixtures("broken")
def test_a_copy_that_has_gone_since_does_not_count(
    club: Path, index: Index, ids: Callable[[], dict[str, int]]
) -> None:
    number = ids()
    (club / "whole too.d64").unlink()
    (found,) = sound_twins(index, number["broken.d64"])
    assert [twin.path for twin in found.twins] == [str(club / "whole.d64")]


@pytest.mark.parametrize("name", ['"A" B-C', "***", "2.0"])
@pytest.mark.parametrize("full_text", [True, False])
def test_any_name_is_found(
    club: Path, index: Index, ids: Callable[[], dict[str, int]], name: str, full_text: bool
) -> None:
    (club / "whole.d64").write_bytes(image("GANZ", program(name, CONTENT)))
    (club / "broken.d64").write_bytes(damaged(image("KAPUTT", program(name, CONTENT)), 0, 20))
    number = ids()
    (found,) = sound_twins(replace(index, full_text=full_text), number["broken.d64"])
    assert [twin.path for twin in found.twins] == [str(club / "whole.d64")]


def test_what_runs_into_another_file_counts_up_to_there(
    club: Path, index: Index, ids: Callable[[], dict[str, int]]
) -> None:
    data = bytearray(image("MISCH", program("LOTSE", CONTENT), program("Y", b"y" * 5_000)))
    disk = DiskImage.from_bytes(bytes(data))
    lotse, other = read_directory(disk).entries
    block = disk.geometry.index(*lotse.start)
    for _ in range(9):
        block = disk.next_blocks[block]
    data[block * 256 : block * 256 + 2] = bytes(other.start)
    (club / "mixed.d64").write_bytes(data)
    (club / "whole.d64").write_bytes(image("GANZ", program("LOTSE", CONTENT)))
    number = ids()
    (found,) = sound_twins(index, number["mixed.d64"])
    assert (found.slot, found.readable_bytes) == (0, 10 * 254)
    assert [twin.path for twin in found.twins] == [str(club / "whole.d64")]
