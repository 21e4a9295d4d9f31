"""From the shelf to candidates: picks, filters, sets and twins."""

from __future__ import annotations

import gzip
import zipfile
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from formats.compose import compose
from formats.findings import Verdict
from loadglass.card.asked import asked_for
from loadglass.card.candidates import Candidate
from loadglass.card.choose import Rules, choose
from loadglass.shelf.choices import Choices, open_choices
from loadglass.shelf.index import Index, open_index
from loadglass.shelf.query import Shelf
from loadglass.shelf.survey import survey
from loadglass.timing.rig_files import built_in_rigs
from tests.loadglass.card.evening import broken, image

RIGS = list(built_in_rigs().values())


class Club:
    """A surveyed folder with the user's choices."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder / "club"
        self.folder.mkdir()
        self.index: Index = open_index(folder / "home" / "index.sqlite")
        self.choices: Choices = open_choices(folder / "home" / "choices.sqlite")

    def put(self, name: str, data: bytes) -> None:
        (self.folder / name).write_bytes(data)

    def survey(self) -> None:
        survey(self.index, [str(self.folder)], RIGS, workers=0)

    def ask(self, where: str | None = None, whole_sets: bool = False) -> list[Candidate]:
        with closing(Shelf(self.index, self.choices, RIGS)) as shelf:
            return asked_for(shelf, self.index, self.choices, where, whole_sets)

    def named(self, where: str | None = None, whole_sets: bool = False) -> dict[str, Candidate]:
        return {each.file_name: each for each in self.ask(where, whole_sets)}

    def pick(self, *names: str) -> None:
        self.choices.pick(each.sha256 for name, each in self.named("").items() if name in names)


@pytest.fixture
def club(tmp_path: Path) -> Iterator[Club]:
    made = Club(tmp_path)
    made.put("Fog Horn.d64", image(b"FOG HORN", 1))
    made.put("Long Pier Disk 1.d64", image(b"LONG PIER 1", 2))
    made.put("Long Pier Disk 2.d64", image(b"LONG PIER 2", 3))
    made.put("Broken.d64", broken(b"BROKEN", 4))
    made.put("Errors.d64", image(b"ERRORS", 5) + b"\x01" * 683)
    made.put("Packed.d64.gz", gzip.compress(image(b"PACKED", 6)))
    with zipfile.ZipFile(made.folder / "attic.zip", "w") as archive:
        archive.writestr("Gull.d64", image(b"GULL", 7))
    made.put("scrap.d64", b"x" * 100)
    made.survey()
    yield made
    made.choices.close()


def test_without_picks_and_filter_everything(club: Club) -> None:
    asked = club.ask()
    found = {each.file_name: each for each in asked}
    assert not any(each.named for each in asked)
    assert len(found) == 8
    fog = found["Fog Horn.d64"]
    assert (fog.title, fog.size_bytes, fog.layout) == ("FOG HORN", 174_848, "35-track")
    assert fog.all_s["stock-card"] is not None and fog.all_s["fast-card"] is not None
    assert found["Errors.d64"].size_bytes == 175_531
    assert found["Packed.d64.gz"].size_bytes == 174_848, "unpacked"
    assert found["Gull.d64"].archive == str(club.folder / "attic.zip")
    assert found["scrap.d64"].verdict is Verdict.UNREADABLE and found["scrap.d64"].why
    taken = choose(asked, Rules(built_in_rigs()["fast-card"])).taken
    assert {each.file_name for each in taken} == found.keys() - {"Broken.d64", "scrap.d64"}


def test_a_filter(club: Club) -> None:
    assert club.named("fog").keys() == {"Fog Horn.d64"}
    assert club.named("verdict:damaged").keys() == {"Broken.d64"}


def test_picks_are_what_is_asked_for_unless_a_filter_is_given(club: Club) -> None:
    club.pick("Fog Horn.d64", "Gull.d64")
    asked = club.ask()
    assert all(each.named for each in asked)
    assert {each.file_name for each in asked} == {"Fog Horn.d64", "Gull.d64"}
    assert len(club.ask("")) == 8


def test_a_pick_that_is_nowhere_any_more(club: Club) -> None:
    club.pick("Fog Horn.d64")
    (club.folder / "Fog Horn.d64").unlink()
    club.survey()
    (gone,) = club.ask()
    assert gone.gone and gone.file_name == "Fog Horn.d64"
    club.put("Horn.d64", image(b"FOG HORN", 1))
    club.survey()
    assert [each.file_name for each in club.ask()] == ["Horn.d64"]


def test_copies_of_one_content_are_twins(club: Club) -> None:
    club.put("Copy of Fog Horn.d64", image(b"FOG HORN", 1))
    club.survey()
    found = club.named()
    assert found["Fog Horn.d64"].twins == found["Copy of Fog Horn.d64"].twins != ""
    assert found["Gull.d64"].twins == ""


def test_what_has_nothing_to_load_goes_if_it_is_named_or_a_disk_of_a_set(club: Club) -> None:
    club.put("Blank.d64", compose(b"BLANK", []))
    club.put("Long Pier Disk 3.d64", compose(b"LONG PIER 3", []))
    club.survey()
    rules = Rules(built_in_rigs()["fast-card"])
    choice = choose(club.ask(), rules)
    why = {Path(each.path).name: each.why for each in choice.left_out}
    assert why.keys() == {"Blank.d64", "Broken.d64", "scrap.d64"}
    assert why["Blank.d64"].startswith("nothing to load: no file in its directory")
    for asked in (club.ask("blank"), club.pick("Blank.d64") or club.ask()):
        assert [each.file_name for each in choose(asked, rules).taken] == ["Blank.d64"]


def test_disks_of_a_set(club: Club) -> None:
    found = club.named()
    first, second = found["Long Pier Disk 1.d64"], found["Long Pier Disk 2.d64"]
    assert first.set_id == second.set_id != ""
    assert first.set_part != second.set_part and first.set_parts == 2
    assert found["Fog Horn.d64"].set_id == ""


def test_the_other_disks_of_a_set_come_with_it(club: Club) -> None:
    club.pick("Long Pier Disk 2.d64")
    assert club.named().keys() == {"Long Pier Disk 2.d64"}
    assert club.named(whole_sets=True).keys() == {"Long Pier Disk 1.d64", "Long Pier Disk 2.d64"}


def test_a_set_of_the_users_own(club: Club) -> None:
    found = club.named()
    club.choices.put_in_set([found["Fog Horn.d64"].sha256, found["Gull.d64"].sha256], "evening")
    found = club.named()
    assert found["Fog Horn.d64"].set_id == found["Gull.d64"].set_id
    assert found["Fog Horn.d64"].set_parts == 2
    assert found["Fog Horn.d64"].set_part != found["Gull.d64"].set_part
