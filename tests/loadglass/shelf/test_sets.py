"""Disks of one title, measured on made-up names, and corrected by the user."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from loadglass.shelf.choices import ALONE, Choices, open_choices
from loadglass.shelf.index import Index
from loadglass.shelf.names import SIDES, read_name, stem
from loadglass.shelf.sets import disk_sets, group, set_of
from loadglass.shelf.survey import SurveyResult
from tests.loadglass.shelf.club import image, program
from tests.loadglass.shelf.set_names import labelled, score

Survey = Callable[..., SurveyResult]

PRECISION_FLOOR = 0.97
RECALL_FLOOR = 0.92


def test_precision_and_recall_on_made_up_names() -> None:
    result = score(group((disk for _, disk in labelled()), {}))
    assert result.names >= 60
    assert result.sets >= 20
    assert result.precision >= PRECISION_FLOOR, result.wrongly_together
    assert result.recall >= RECALL_FLOOR, result.wrongly_apart


NAMES = {
    "Hafenlicht (Disk 2 of 3)": ("hafenlicht", 2 * SIDES),
    "hafenlicht_side_b": ("hafenlicht", 2 * SIDES),
    "HAFENLICHT D1S2": ("hafenlicht", SIDES + 2),
    "hafenlicht 2a": ("hafenlicht", 2 * SIDES + 1),
    "hafenlicht-disk01": ("hafenlicht", SIDES),
    "hafenlicht 1/2": ("hafenlicht", SIDES),
    "hafenlicht": ("hafenlicht", 0),
    "regatta 1986": ("regatta 1986", 0),
    "diskmonitor": ("diskmonitor", 0),
    "seitenwind 64": ("seitenwind 64", 0),
    "": ("", 0),
    "///###": ("", 0),
}


@pytest.mark.parametrize("name", NAMES)
def test_names_taken_apart(name: str) -> None:
    assert read_name(name)[:2] == NAMES[name]


def test_stems() -> None:
    assert stem("a.b.D64") == "a.b"
    assert stem("a.d64.gz") == "a"
    assert stem("a.txt") == "a.txt"


@pytest.fixture
def choices(tmp_path: Path) -> Iterator[Choices]:
    opened = open_choices(tmp_path / "home" / "choices.sqlite")
    yield opened
    opened.close()


def test_sets_on_the_shelf_and_the_user_who_knows_better(
    index: Index, choices: Choices, club: Path, surveyed: Survey
) -> None:
    contents = {}
    for name in ("lotse disk 1", "lotse disk 2", "kran disk 1", "kran disk 2", "boje"):
        contents[name] = image(name.upper()[:16], program("A", name.encode() * 40))
        (club / f"{name}.d64").write_bytes(contents[name])
    (club / "away").mkdir()
    (club / "away" / "lotse disk 3.d64").write_bytes(image("WEIT WEG"))
    surveyed()

    def shown() -> dict[str, list[str]]:
        return {
            each.name: [disk.file_name.removesuffix(".d64") for disk in each.disks]
            for each in disk_sets(index, choices)
        }

    lotse, kran = ["lotse disk 1", "lotse disk 2"], ["kran disk 1", "kran disk 2"]
    assert shown() == {"kran": kran, "lotse": lotse}
    with index.connected() as connection:
        ids = dict(connection.execute("SELECT file_name, hex(sha256) FROM images"))
        numbers = dict(connection.execute("SELECT file_name, id FROM images"))
    sha256 = {name.removesuffix(".d64"): content.lower() for name, content in ids.items()}
    found = set_of(index, choices, numbers["lotse disk 2.d64"])
    assert found is not None and found.name == "lotse"
    assert set_of(index, choices, numbers["boje.d64"]) is None

    choices.put_in_set([sha256["kran disk 2"]], ALONE)
    choices.put_in_set([sha256["lotse disk 3"], sha256["boje"]], "Große Fahrt")
    assert shown() == {"Große Fahrt": ["boje", "lotse disk 3"], "lotse": lotse}
    choices.put_in_set(sha256.values(), None)
    assert shown() == {"kran": kran, "lotse": lotse}


def test_what_is_gone_is_in_no_set(
    index: Index, choices: Choices, club: Path, surveyed: Survey
) -> None:
    for i in (1, 2):
        (club / f"lotse disk {i}.d64").write_bytes(image(f"LOTSE {i}"))
    surveyed()
    assert len(disk_sets(index, choices)) == 1
    (club / "lotse disk 2.d64").unlink()
    surveyed()
    assert disk_sets(index, choices) == []
