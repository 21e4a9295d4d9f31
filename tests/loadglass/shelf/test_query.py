"""Filters, orders and pages against plain Python over the same few images."""

from __future__ import annotations

import random
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import numpy as np
import pytest

from formats.compose import NewFile
from formats.findings import Verdict
from formats.geometry import TRACKS_40
from loadglass.shelf import filters
from loadglass.shelf.choices import ALONE, Choices, open_choices
from loadglass.shelf.index import Index
from loadglass.shelf.query import HELP, FilterError, Shelf, SortError, parse
from loadglass.shelf.rows import ShelfRow, ShelfView
from loadglass.shelf.survey import SurveyResult
from loadglass.timing.rig import Rig
from tests.loadglass.shelf.club import image, program

Survey = Callable[..., SurveyResult]
Check = Callable[[ShelfRow], bool]

TITLES = ("HAFENLICHT", "LEUCHTFEUER", "EBBE UND FLUT", "KRANFÜHRER", "hafenlicht ii", "")


@pytest.fixture
def choices(tmp_path: Path) -> Iterator[Choices]:
    opened = open_choices(tmp_path / "home" / "choices.sqlite")
    yield opened
    opened.close()


@pytest.fixture
def shelf(
    index: Index, choices: Choices, rigs: Sequence[Rig], club: Path, surveyed: Survey
) -> Iterator[Shelf]:
    """Forty images of one to four programs, two of them alike, two that are not images."""
    chance = random.Random(5)
    for i in range(40):
        title = TITLES[i % len(TITLES)].replace("Ü", "UE").upper()
        files = [
            program(f"{chance.choice(('LICHT', 'BOJE', 'KRAN'))} {n}", chance.randbytes(size))
            for n in range(1, chance.randint(2, 5))
            for size in (chance.choice((100, 5_000, 20_000, 36_000)),)
        ]
        below = club / ("alt" if i % 2 else "neu")
        below.mkdir(exist_ok=True)
        (below / f"disk{i}.d64").write_bytes(image(title, *files))
    (club / "zwilling.d64").write_bytes((club / "neu" / "disk0.d64").read_bytes())
    stretched = bytearray(image("BREIT", program("KRAN", b"x" * 500)))
    stretched += bytes(TRACKS_40.size_bytes - len(stretched))
    (club / "breit.d64").write_bytes(stretched)
    whole = image("LANG", program("BOJE", b"x" * 500)) + b"tail" * 10
    (club / "lang.d64").write_bytes(whole)
    (club / "kaputt.d64").write_bytes(b"?" * 99)
    surveyed()
    opened = Shelf(index, choices, rigs)
    yield opened
    opened.close()


def start(rig: str) -> Callable[[ShelfRow], float]:
    return lambda row: row.start_s[rig] if row.start_s[rig] is not None else float("nan")


def saved(rig: str) -> Callable[[ShelfRow], float | None]:
    """Seconds of all programs that a rig of ours saves against stock on its drive."""
    stock = rig.replace("fast", "stock")
    return lambda row: (
        None if row.all_s[rig] is None else (row.all_s[stock] or 0) - (row.all_s[rig] or 0)
    )


def test_it_is_what_the_screen_asks_for(shelf: Shelf) -> None:
    view: ShelfView = shelf
    assert view.count("") == 44
    assert len(view.page("", "title", False, 40, 10)) == 4


FILTERS: dict[str, Check] = {
    "hafen": lambda row: row.title.startswith("HAFEN"),
    "HAFENLICHT": lambda row: row.title.startswith("HAFENLICHT"),
    '"hafenlicht ii"': lambda row: row.title == "HAFENLICHT II",
    'title:"ebbe und"': lambda row: row.title.startswith("EBBE"),
    "flut ebbe": lambda row: "EBBE" in row.title,
    "file:disk1": lambda row: row.file_name.startswith("disk1"),
    "disk12": lambda row: row.file_name.startswith("disk12"),
    "-hafen": lambda row: not row.title.startswith("HAFEN"),
    "not hafen": lambda row: not row.title.startswith("HAFEN"),
    "fast-card<3s": lambda row: start("fast-card")(row) < 3,
    "stock-card>0.5min": lambda row: start("stock-card")(row) > 30,
    "stock-card>=30": lambda row: start("stock-card")(row) >= 30,
    "start:stock-spinning <= 30s": lambda row: start("stock-spinning")(row) <= 30,
    "all:fast-card<2min": lambda row: (row.all_s["fast-card"] or 1e9) < 120,
    "saved:fast-card>30s": lambda row: (saved("fast-card")(row) or 0) > 30,
    "hafen title:hafen": lambda row: row.title.startswith("HAFEN"),
    "blocks>100": lambda row: row.blocks > 100,
    "blocks>=100 blocks != 143": lambda row: row.blocks >= 100 and row.blocks != 143,
    "files=1": lambda row: row.files == 1,
    "programs:2": lambda row: row.programs == 2,
    "tracks>35": lambda row: row.tracks > 35,
    "kind:40-track": lambda row: row.kind == "40-track",
    "verdict:sound": lambda row: row.verdict is Verdict.SOUND,
    "verdict:quirky,unreadable": lambda row: row.verdict in (Verdict.QUIRKY, Verdict.UNREADABLE),
    "verdict!=sound": lambda row: row.verdict is not Verdict.SOUND,
    "finding:image-long": lambda row: row.file_name == "lang.d64",
    "twin:yes": lambda row: row.file_name in ("zwilling.d64", "disk0.d64"),
    "path:/NEU/": lambda row: "/neu/" in row.path,
    "path:/alt/,/neu/": lambda row: "/alt/" in row.path or "/neu/" in row.path,
    "verdict:sound -title:hafen blocks<50": lambda row: (
        row.verdict is Verdict.SOUND and not row.title.startswith("HAFEN") and row.blocks < 50
    ),
}


@pytest.mark.parametrize("full_text", [True, False], ids=["full-text", "plain"])
@pytest.mark.parametrize("text", FILTERS)
def test_filters(shelf: Shelf, text: str, full_text: bool) -> None:
    if not full_text:
        object.__setattr__(shelf._index, "full_text", False)
    everything = list(shelf.rows())
    expected = {row.path for row in everything if FILTERS[text](row)}
    assert {row.path for row in shelf.rows(text)} == expected
    assert shelf.count(text) == len(expected)
    assert 0 < len(expected) < len(everything)


def test_a_name_in_lower_case_letters_is_found(club: Path, surveyed: Survey, shelf: Shelf) -> None:
    shifted = bytes(code | 0x80 if 0x41 <= code <= 0x5A else code for code in b"NEBEL")
    (club / "nacht.d64").write_bytes(image("DUNKEL", NewFile(shifted, b"\x01\x08x")))
    surveyed()
    assert [row.file_name for row in shelf.rows("name:nebel")] == ["nacht.d64"]


def test_sets_are_filtered_by_their_names(
    shelf: Shelf, choices: Choices, club: Path, surveyed: Survey
) -> None:
    def found(text: str) -> list[str]:
        return sorted(row.file_name for row in shelf.rows(text))

    assert found("set:lotse") == found("in-set:yes") == []
    for number in (1, 2):
        (club / f"Lotse disk {number}.d64").write_bytes(image(f"X{number}"))
    surveyed()
    pair = ["Lotse disk 1.d64", "Lotse disk 2.d64"]
    assert found("set:LOTS") == found("in-set:yes") == found("set:kran,lotse") == pair
    assert len(found("in-set:no")) == shelf.count("") - 2 == shelf.count("-set:lotse")
    contents = [row.sha256 for row in shelf.rows('file:"Lotse disk 2"')]
    choices.put_in_set(contents, ALONE)
    assert found("set:lotse") == []
    choices.put_in_set([row.sha256 for row in shelf.rows("file:lotse")], "GROSSE FAHRT")
    assert found("set:fahrt") == pair


def test_choices_are_filtered_and_shared_by_twins(shelf: Shelf, choices: Choices) -> None:
    twin = next(iter(shelf.rows("zwilling")))
    other = next(iter(shelf.rows("disk1")))
    choices.pick([twin.sha256])
    choices.rate([twin.sha256], 4)
    choices.rate([other.sha256], 2)
    choices.tag([other.sha256], "Demo")
    choices.tag([other.sha256], "nacht")
    assert {row.file_name for row in shelf.rows("picked:yes")} == {"zwilling.d64", "disk0.d64"}
    assert {row.file_name for row in shelf.rows("rating>=3")} == {"zwilling.d64", "disk0.d64"}
    assert [row.tags for row in shelf.rows("tag:demo")] == [("demo", "nacht")]
    assert shelf.count("rated:yes") == 3
    assert shelf.count("tagged:no") == 43
    assert shelf.count("not tag:demo,rest") == 43
    assert shelf.count("picked:no") == 42
    assert [row.rating for row in shelf.page("", "rating", True, 0, 4)] == [4, 4, 2, None]
    assert [row.rating for row in shelf.page("", "rating", False, 0, 4)] == [2, 4, 4, None]
    choices.pick([twin.sha256], False)
    assert shelf.count("picked:yes") == 0


def test_what_is_gone_shows_only_when_asked_for(shelf: Shelf, club: Path, surveyed: Survey) -> None:
    (club / "lang.d64").unlink()
    surveyed()
    assert shelf.count("") == 43
    assert [row.file_name for row in shelf.rows("gone:yes")] == ["lang.d64"]
    assert shelf.count("gone:no") == 43
    assert shelf.count("lang") == 0


SORTS: dict[str, Callable[[ShelfRow], object]] = {
    "title": lambda row: row.title,
    "file": lambda row: row.file_name,
    "files": lambda row: row.files,
    "blocks": lambda row: row.blocks,
    "verdict": lambda row: list(Verdict).index(row.verdict),
    "start:fast-card": lambda row: row.start_s["fast-card"],
    "all:stock-spinning": lambda row: row.all_s["stock-spinning"],
    "saved:fast-spinning": lambda row: saved("fast-spinning")(row),
}


@pytest.mark.parametrize("descending", [False, True])
@pytest.mark.parametrize("sort", SORTS)
def test_orders(shelf: Shelf, sort: str, descending: bool) -> None:
    rows = list(shelf.rows("", sort, descending))
    keys = [SORTS[sort](row) for row in rows]
    known = [key for key in keys if key not in (None, "")]
    assert keys[: len(known)] == sorted(known, reverse=descending)
    assert all(key in (None, "") for key in keys[len(known) :])
    assert [row.id for row in rows] == [row.id for row in shelf.rows("", sort, descending)]


def test_pages_are_parts_of_one_row(shelf: Shelf) -> None:
    whole = [row.id for row in shelf.rows("blocks>20", "blocks", True)]
    pages = [
        row.id
        for offset in range(0, 60, 7)
        for row in shelf.page("blocks>20", "blocks", True, offset, 7)
    ]
    assert pages == whole
    assert [row.id for row in shelf.rows("blocks>20", "blocks", True, limit=5)] == whole[:5]
    assert shelf.place_of(whole[9], "blocks>20", "blocks", True) == 9
    assert shelf.place_of(whole[9], "blocks<5", "blocks", True) is None


def test_an_order_that_there_is_not(shelf: Shelf) -> None:
    for sort in ("size", "start:slow-card", "all:"):
        with pytest.raises(SortError, match="there is no order"):
            shelf.page("", sort, False, 0, 1)


WRONG = {
    "blocks>": (7, "a value is missing"),
    "blocks>many": (7, "no number"),
    "blocks>-1": (7, "no number"),
    "fast-crad<20s": (0, "perhaps fast-card"),
    "ok all:fast-crad<20s": (7, "perhaps fast-card"),
    "fast-card<20h": (10, "no time"),
    "verdict:soud": (8, "perhaps sound"),
    "verdict:sound,": (14, "beside the comma"),
    "verdict<damaged": (7, "cannot be more or less"),
    "finding:own-lader": (8, "perhaps own-loader"),
    "finding:zz": (8, "one of chain-loop, .* and 28 more"),
    "finding:tracks": (8, "those that begin so are tracks-extra"),
    "picked:maybe": (7, "yes, no"),
    'tag:"demo': (4, "closing quote"),
    'say "hello': (4, "closing quote"),
    "<20s": (0, "field or a rig"),
    "tune not": (5, "nothing follows"),
    "!?": (0, "field or a rig"),
    "a ...": (2, "no letter or digit"),
    "colour:red": (0, "no field or rig"),
}


@pytest.mark.parametrize("text", WRONG)
def test_errors_point_at_the_place(text: str, rigs: Sequence[Rig]) -> None:
    position, words = WRONG[text]
    with pytest.raises(FilterError, match=words) as caught:
        parse(text, rigs)
    assert caught.value.position == position
    assert f"character {position + 1}" in str(caught.value)


def test_any_text_is_a_filter_or_an_error(shelf: Shelf) -> None:
    chance = random.Random(7)
    pieces = [*"\"'*()%_\\\0:<=-aß^{+ 1,;\ud800", "not", "tag", "blocks", "NEAR", "OR", "AND"]
    for _ in range(3000):
        text = "".join(chance.choices(pieces, k=chance.randint(1, 9)))
        place = 0
        try:
            shelf.count(text)
        except FilterError as error:
            place = error.position
        assert 0 <= place <= len(text)


def test_help_names_every_field(rigs: Sequence[Rig]) -> None:
    fields = [*filters.NUMBERS, *filters.FLAGS, *filters.TEXTS, *filters.WORDS]
    for field in fields:
        assert field in HELP
    assert len(HELP.splitlines()) <= 24
    assert max(map(len, HELP.splitlines())) <= 80


def test_help_means_what_it_says(rigs: Sequence[Rig]) -> None:
    """Every example at the start of a line of the help is a filter."""
    examples = [line[2:22].strip() for line in HELP.splitlines() if line.startswith("  ")]
    assert len(examples) > 10
    for example in examples:
        parse(example, rigs)


def test_a_survey_elsewhere_is_seen(
    shelf: Shelf, index: Index, club: Path, surveyed: Survey
) -> None:
    before = shelf.count("")
    (club / "neu.d64").write_bytes(image("NEU"))
    surveyed()
    assert shelf.count("") == before + 1
    assert shelf.page("neu.d64", "title", False, 0, 9)[0].title == "NEU"


def test_rows_are_as_in_the_index_file(shelf: Shelf, index: Index) -> None:
    connection = sqlite3.connect(index.path)
    try:
        for row in shelf.rows():
            found = connection.execute(
                "SELECT title, files, blocks FROM images WHERE id = ?", (row.id,)
            ).fetchone()
            assert found == (row.title, row.files, row.blocks)
    finally:
        connection.close()


def test_numbers_are_those_of_the_rows_that_are_left(shelf: Shelf) -> None:
    rows = list(shelf.rows("verdict:sound"))
    numbers = shelf.numbers("verdict:sound", "all:fast-card")
    times = [row.all_s["fast-card"] for row in rows]
    assert len(numbers) == len(rows)
    assert np.isnan(numbers).sum() == times.count(None)
    expected = sorted(time for time in times if time is not None)
    assert sorted(numbers[~np.isnan(numbers)]) == pytest.approx(expected)
    with pytest.raises(SortError):
        shelf.numbers("", "title")


def test_what_is_taken_off_stays_off_until_it_is_put_back(
    shelf: Shelf, choices: Choices, club: Path, surveyed: Survey
) -> None:
    everything = shelf.count("")
    junk = [*shelf.rows("kaputt"), *shelf.rows("file:disk0")]
    files = {path: path.read_bytes() for path in club.rglob("*.d64")}
    shelf.take_off([row.id for row in junk])
    assert shelf.count("") == everything - 2
    assert shelf.count("kaputt") == shelf.count("verdict:unreadable file:kaputt") == 0
    assert {row.path for row in shelf.rows("off:yes")} == {row.path for row in junk}
    assert all(row.off for row in shelf.rows("off:yes"))
    assert shelf.count("file:zwilling") == 1, "a copy elsewhere stays"
    choices.pick([junk[1].sha256])
    assert shelf.count("picked:yes") == 1
    assert sum(sums.images for sums in shelf.picked_sums("stock-card", "fast-card")) == 1
    (club / "kaputt.d64").write_bytes(b"!" * 99)
    surveyed()
    assert shelf.count("") == everything - 2, "a survey does not bring it back"
    assert {path: path.read_bytes() for path in files} == files | {club / "kaputt.d64": b"!" * 99}
    (club / "kaputt.d64").unlink()
    surveyed()
    assert shelf.count("gone:yes") == 0
    assert [row.file_name for row in shelf.rows("off:yes gone:yes")] == ["kaputt.d64"]
    shelf.take_off([row.id for row in shelf.rows("off:yes")], off=False)
    assert not choices.off_shelf
    assert shelf.count("") == everything - 1 and shelf.count("gone:yes") == 1
