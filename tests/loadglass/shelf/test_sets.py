"""Disks of one title, measured on made-up names, and corrected by the user."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from loadglass.shelf.choices import ALONE, Choices, open_choices
from loadglass.shelf.index import Index
from loadglass.shelf.names import SIDES, read_name, stem
from loadglass.shelf.sets import Disk, DiskSet, disk_sets, group, marks_of, set_of, sets_of
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


NAME_WORDS = ("lotse", "kran", "boje", "LOTSE", "issue", "")
MARKS = ("", " disk 1", " disk 2", " disk 2 side b", " a", " b", "1", "2", " 3", " side b", "1of2")
CONTENTS = 60


def put_rows(index: Index, chance: random.Random, rows: int, folders: int) -> None:
    """Rows of images as a survey would leave them, under random names; some gone, some in zips."""
    with index.connected() as connection:
        for folder in range(1, folders + 1):
            connection.execute("INSERT INTO folders VALUES (?, ?)", (folder, b"/club/%d" % folder))
        for number in range(rows):
            name, title = (chance.choice(NAME_WORDS) + chance.choice(MARKS) for _ in range(2))
            sha256 = chance.randrange(CONTENTS).to_bytes(32, "big")
            in_zip = chance.random() < 0.2
            columns = {
                "folder_id": chance.randint(1, folders),
                "name": b"%d.zip" % chance.randrange(2) if in_zip else b"%d" % number,
                "member": b"%d" % number if in_zip else b"",
                **dict.fromkeys(("size_bytes", "mtime_ns", "audit_version", "verdict"), 0),
                **dict.fromkeys(("tracks", "files", "programs", "blocks", "free"), 0),
                **dict.fromkeys(("why", "kind", "findings"), ""),
                "gone": chance.random() < 0.1,
                "file_name": f"{name}.d64",
                "title": title,
                "sha256": None if chance.random() < 0.05 else sha256,
                "name_key": read_name(stem(f"{name}.d64")).key,
                "title_key": read_name(title).key,
            }
            marks = ", ".join("?" * len(columns))
            sql = f"INSERT INTO images ({', '.join(columns)}) VALUES ({marks})"
            connection.execute(sql, list(columns.values()))


@pytest.mark.parametrize("seed", range(12))
def test_the_set_of_one_image_is_the_one_among_all_sets(
    index: Index, choices: Choices, seed: int
) -> None:
    chance = random.Random(seed)
    put_rows(index, chance, rows=chance.choice((40, 150)), folders=4)
    for _ in range(chance.choice((0, 8))):
        content = chance.randrange(CONTENTS).to_bytes(32, "big").hex()
        choices.put_in_set([content], chance.choice((ALONE, "lotse", "Große Fahrt")))
    among_all = {disk.id: each for each in disk_sets(index, choices) for disk in each.disks}
    with index.connected() as connection:
        images = [image for (image,) in connection.execute("SELECT id FROM images")]
    assert among_all
    assert {image: set_of(index, choices, image) for image in images} == {
        image: among_all.get(image) for image in images
    }
    assert sets_of(index, choices, images) == among_all


def test_marks_are_shown_as_they_are_written() -> None:
    def disk(number: int, file_name: str, title: str = "") -> Disk:
        return Disk(number, "/club", file_name, title, "")

    by_name = DiskSet("x", (disk(1, "x.d64"), disk(2, "X (Disk 2 of 3).d64", "X/B")), False)
    assert marks_of(by_name) == {1: "", 2: "disk 2 of 3"}
    by_title = DiskSet("x", (disk(1, "q.d64", "X SIDE A"), disk(2, "r.d64", "X/B")), False)
    assert marks_of(by_title) == {1: "side a", 2: "b"}
