"""The contents list: for people, for browsers, for spreadsheets; with hostile titles."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.findings import Verdict
from loadglass.card.contents import as_csv, as_html, as_text, contents_of, read_contents
from loadglass.card.device import CardTrouble, Device
from loadglass.card.manifest import CardList, Entry
from tests.examples import examples
from tests.loadglass.card.evening import plain_evening

ENTRY = Entry(
    target="F/Fog Horn.d64",
    sha256="0" * 64,
    bytes=174_848,
    image_sha256="0" * 64,
    source="/club/Fog Horn.d64",
    title="FOG HORN",
    verdict=Verdict.SOUND,
    stock_s=92.0,
    fast_s=13.04,
)


def card_list(*entries: Entry) -> CardList:
    return CardList(entries, generation=1, stock="stock-card", fast="fast-card")


class Texts(HTMLParser):
    """The tags and texts of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.cells: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        if tag == "td":
            self.cells.append("")

    def handle_data(self, data: str) -> None:
        if self.tags and self.tags[-1] == "td" and self.cells:
            self.cells[-1] += data


def test_plain_text() -> None:
    other = replace(ENTRY, target="Zoll.d64", title="ZOLL", stock_s=None, mended=True)
    assert as_text(contents_of(card_list(other, ENTRY))).splitlines() == [
        "Title               Folder  File           Stock    Fast   Saved",
        "FOG HORN            F       Fog Horn.d64  92.0 s  13.0 s  79.0 s",
        "ZOLL (mended copy)          Zoll.d64           –  13.0 s       –",
        "",
        "2 images; loading every program of each once, fast-card saves 1.3 minutes "
        "against stock-card",
    ]


@examples(200)
@given(st.text(max_size=30))
def test_any_title_in_html_stays_text(title: str) -> None:
    page = as_html(contents_of(card_list(replace(ENTRY, title=title))))
    parsed = Texts(page)
    assert parsed.tags.count("td") == 6
    assert set(parsed.tags) <= {
        *("html", "head", "meta", "title", "style", "body", "h1", "p", "table", "thead", "tbody"),
        *("tr", "th", "td"),
    }
    assert parsed.cells[1:3] == ["F", "Fog Horn.d64"]
    assert "http" not in page.replace(title, ""), "a page that needs nothing else"


@examples(200)
@given(st.text(max_size=20), st.sampled_from(["", "=1+1", "+1", "-2", "@SUM(A1)", "\t=1", " =1"]))
def test_no_cell_is_a_formula(title: str, start: str) -> None:
    text = as_csv(contents_of(card_list(replace(ENTRY, title=start + title))))
    rows = list(csv.reader(io.StringIO(text, newline="")))
    assert len(rows) == 2 and len(rows[1]) == len(rows[0]) == 9
    assert not rows[1][0].lstrip(" ").startswith(("=", "+", "-", "@"))
    assert rows[1][3:6] == ["92.0", "13.0", "79.0"]


def test_from_a_real_card(tmp_path: Path) -> None:
    evening = plain_evening(tmp_path)
    with pytest.raises(CardTrouble, match="no list"):
        read_contents(Device(str(evening.card)))
    evening.fill()
    contents = read_contents(Device(str(evening.card)))
    assert [(line.title, line.folder, line.saved_s) for line in contents.lines] == [
        ("FOG HORN", "F", 16.0),
        ("HARBOUR NIGHT", "H", 16.0),
        ("TIDE TABLE", "T", 16.0),
    ]
    assert (contents.stock, contents.fast, contents.saved_s) == ("stock-card", "fast-card", 48.0)
