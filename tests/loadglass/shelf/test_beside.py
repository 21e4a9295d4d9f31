"""What stands beside an image, and correcting the sets that names make."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pytest

from loadglass.shelf.beside import NAMED, Beside, beside
from loadglass.shelf.choices import ALONE, BadChoice, Choices, open_choices
from loadglass.shelf.corrections import (
    go_by_names,
    put_into,
    take_out,
    title_called,
    titles_near,
    undo,
    words_near,
)
from loadglass.shelf.index import Index
from loadglass.shelf.query import Shelf
from loadglass.shelf.rows import ShelfRow
from loadglass.shelf.sets import disk_sets
from loadglass.shelf.survey import SurveyResult
from loadglass.shelf.twins import image_of_content, twins_of_files
from loadglass.timing.rig import Rig
from tests.loadglass.shelf.club import image, program
from tests.loadglass.shelf.test_twins import CONTENT, damaged

Survey = Callable[..., SurveyResult]
DISKS = ("lotse disk 1", "lotse disk 2", "kran disk 1", "kran disk 2", "boje", "lotsenlied")


@pytest.fixture
def choices(tmp_path: Path) -> Iterator[Choices]:
    opened = open_choices(tmp_path / "home" / "choices.sqlite")
    yield opened
    opened.close()


@pytest.fixture
def shelf(
    index: Index, choices: Choices, rigs: Sequence[Rig], club: Path, surveyed: Survey
) -> Iterator[Shelf]:
    """Two sets of two disks, two disks of none, a damaged one, and a whole one of its file."""
    for name in DISKS:
        data = image(name.upper()[:16], program("A", name.encode() * 40))
        (club / f"{name}.d64").write_bytes(data)
    pair = image("KAPUTT", program("LOTSE", CONTENT), program("KAHN", CONTENT[::-1]))
    (club / "broken.d64").write_bytes(damaged(damaged(pair, 0, 20), 1, 20))
    (club / "whole.d64").write_bytes(image("GANZ", program("LOTSE", CONTENT)))
    (club / "whole too.d64").write_bytes(image("GANZ", program("LOTSE", CONTENT)))
    (club / "renamed.d64").write_bytes(image("ANDERS", program("PILOT", CONTENT)))
    surveyed()
    opened = Shelf(index, choices, rigs)
    yield opened
    opened.close()


@pytest.fixture
def row(shelf: Shelf) -> Callable[[str], ShelfRow]:
    rows = {row.file_name.removesuffix(".d64"): row for row in shelf.rows()}
    return rows.__getitem__


@pytest.fixture
def sets(index: Index, choices: Choices) -> Callable[[], dict[str, list[str]]]:
    return lambda: {
        each.name: [disk.file_name.removesuffix(".d64") for disk in each.disks]
        for each in disk_sets(index, choices)
    }


BY_NAME = {"kran": ["kran disk 1", "kran disk 2"], "lotse": ["lotse disk 1", "lotse disk 2"]}


@pytest.fixture
def find(index: Index, choices: Choices, shelf: Shelf, row: Callable[[str], ShelfRow]) -> object:
    def run(name: str) -> Beside:
        found = beside(index, choices, shelf, row(name).id)
        assert found is not None
        return found

    return run


Find = Callable[[str], Beside]


def test_a_damaged_image_has_sound_twins_and_files_that_are_lost(find: Find) -> None:
    found = find("broken")
    (lotse,) = found.sound
    assert [found.rows[twin.image].file_name for twin in lotse.twins] == [
        "whole too.d64",
        "whole.d64",
    ]
    assert (lotse.name, lotse.name_bytes, found.lost) == ("LOTSE", b"LOTSE", ((1, "KAHN"),))
    assert (found.same, found.files, found.disk_set) == ((), (), None)


def test_the_same_image_and_the_same_file_are_told_apart(find: Find) -> None:
    found = find("whole")
    assert [found.rows[twin.image].file_name for twin in found.same] == ["whole too.d64"]
    (lotse,) = found.files  # not once more on the image that is the same throughout
    assert [(found.rows[t.image].file_name, t.name) for t in lotse.twins] == [
        ("renamed.d64", "PILOT")
    ]
    assert not lotse.more and found.has_twins


def test_an_image_alone(find: Find, index: Index, choices: Choices, shelf: Shelf) -> None:
    found = find("boje")
    assert not found.has_twins and found.disk_set is None and found.lost == ()
    assert beside(index, choices, shelf, 9999) is None


def test_of_a_file_that_is_everywhere_some_places_are_named(
    index: Index, club: Path, surveyed: Survey
) -> None:
    for number in range(NAMED + 3):
        (club / f"{number:02}.d64").write_bytes(image(f"DISK {number:02}"))
    surveyed()
    with index.connected() as connection:
        (first,) = connection.execute("SELECT min(id) FROM images").fetchone()
    (found,) = twins_of_files(index, first, NAMED)
    assert len(found.twins) == NAMED and found.more
    (found,) = twins_of_files(index, first, NAMED + 2)
    assert len(found.twins) == NAMED + 2 and not found.more


def test_an_image_is_known_by_its_content_and_then_its_path(
    index: Index, row: Callable[[str], ShelfRow]
) -> None:
    for name in ("whole", "whole too"):
        assert image_of_content(index, row(name).sha256, row(name).path) == row(name).id
    assert image_of_content(index, row("boje").sha256, "moved.d64") == row("boje").id
    assert image_of_content(index, "00" * 32, row("boje").path) is None


def test_a_disk_is_put_with_others_and_it_is_taken_back(
    index: Index,
    choices: Choices,
    row: Callable[[str], ShelfRow],
    sets: Callable[[], dict[str, list[str]]],
) -> None:
    boje = row("boje")
    assert sets() == BY_NAME
    title = title_called(index, choices, " LOTSE ", [boje])
    done = put_into(choices, [boje.sha256], title)
    assert sets() == {**BY_NAME, "lotse": ["boje", "lotse disk 1", "lotse disk 2"]}
    out = take_out(choices, [row("lotse disk 1").sha256])
    assert sets() == {**BY_NAME, "lotse": ["boje", "lotse disk 2"]}
    undo(choices, out)
    undo(choices, done)
    assert sets() == BY_NAME
    assert not choices.all()
    take_out(choices, [row("kran disk 1").sha256])
    assert sets() == {"lotse": BY_NAME["lotse"]}
    go_by_names(choices, [row("kran disk 1").sha256])
    assert sets() == BY_NAME


def test_two_sets_of_one_name_stay_two_when_both_are_corrected(
    index: Index,
    choices: Choices,
    shelf: Shelf,
    club: Path,
    surveyed: Survey,
    row: Callable[[str], ShelfRow],
    sets: Callable[[], dict[str, list[str]]],
) -> None:
    (club / "more").mkdir()
    for number in (1, 2):
        data = image(f"ANDERE LOTSEN {number}", program("B", bytes([number]) * 900))
        (club / "more" / f"lotse disk {number}.d64").write_bytes(data)
    surveyed()
    boje, lied = row("boje").sha256, row("lotsenlied").sha256
    put_into(choices, [boje], title_called(index, choices, "lotse", [row("boje")]))
    (there,) = (
        title
        for title in titles_near(index, choices, shelf, "lotse")
        if title.is_set and not title.by_user
    )
    assert title_called(index, choices, "lotse", []).by_user, "the user's own goes first"
    put_into(choices, [lied], there)
    pair = ["lotse disk 1", "lotse disk 2"]
    assert sets() == {**BY_NAME, "lotse": ["boje", *pair], "lotse (2)": [*pair, "lotsenlied"]}


def test_names_near_are_offered(
    index: Index, choices: Choices, shelf: Shelf, row: Callable[[str], ShelfRow]
) -> None:
    near = titles_near(index, choices, shelf, "lots")
    names = [(title.name, title.is_set, len(title.contents)) for title in near]
    with_the_file = ["broken", "lotsenlied", "whole", "whole too"]  # LOTSE is a file's name, too
    assert names == [("lotse", True, 2), *((name, False, 1) for name in with_the_file)]
    assert words_near(row("lotse disk 2")) == "lotse"
    for text in ("", "  ", '"" - : <> %', "not"):
        assert titles_near(index, choices, shelf, text) == []
    for text in ('a"b', "x:y<3", "-lotse", "LOTSE disk"):
        titles_near(index, choices, shelf, text)


def test_a_name_that_nobody_has_makes_a_new_set(
    index: Index, choices: Choices, row: Callable[[str], ShelfRow]
) -> None:
    boje = row("boje")
    title = title_called(index, choices, "Große Fahrt", [boje])
    assert title.contents == ()
    put_into(choices, [boje.sha256], title)
    assert choices.of(boje.sha256).set_name == "Große Fahrt"
    again = title_called(index, choices, "GROSSE  FAHRT", [boje])
    assert again.name == "Große Fahrt", "one disk makes no set yet, but its name is known"
    with pytest.raises(BadChoice):
        put_into(choices, [boje.sha256], title_called(index, choices, "\x1b[2J", [boje]))
    assert choices.of(boje.sha256).set_name not in (None, ALONE)
