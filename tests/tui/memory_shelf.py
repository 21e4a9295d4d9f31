"""A shelf in memory, of real images or of made-up rows: what a view needs and no more."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path

from formats.errors import LoadglassError
from formats.findings import Verdict
from formats.petscii import to_text
from loadglass.home import Home
from loadglass.opened import open_and_audit
from loadglass.shelf.choices import open_choices
from loadglass.shelf.index import open_index
from loadglass.shelf.query import Shelf, Sums
from loadglass.shelf.rows import ShelfRow
from loadglass.shelf.survey import survey
from loadglass.timing.estimate import Times, clock_image
from loadglass.timing.rig_files import built_in_rigs
from tui.session import Session
from tui.shelves import OpenShelf

RIGS = built_in_rigs()


class BadFilter(LoadglassError):
    pass


class MemoryShelf:
    """Filters by words in title and file name, or by picks; `!` in a filter is refused."""

    def __init__(self, rows: Sequence[ShelfRow]):
        self.rows = list(rows)

    def count(self, filter_text: str) -> int:
        return len(self._matching(filter_text))

    def picked_sums(self, rig: str, other: str, every_copy: bool = False) -> list[Sums]:
        """Each pick by itself; no two are of one content."""
        times = [(row, row.all_s.get(rig), row.all_s.get(other)) for row in self.rows if row.picked]
        return [
            Sums(row.verdict, row.kind, 1, 0.0, 0.0, 1, 0)
            if one_s is None or other_s is None
            else Sums(row.verdict, row.kind, 1, one_s, other_s, 0, 0)
            for row, one_s, other_s in times
        ]

    def page(
        self, filter_text: str, sort: str, descending: bool, offset: int, limit: int
    ) -> Sequence[ShelfRow]:
        rows = sorted(self._matching(filter_text), key=lambda row: sort_key(row, sort))
        if descending:
            rows.reverse()
        return rows[offset : offset + limit]

    def place_of(self, row: int, filter_text: str, sort: str, descending: bool) -> int | None:
        rows = self.page(filter_text, sort, descending, 0, len(self.rows))
        return next((place for place, each in enumerate(rows) if each.id == row), None)

    def _matching(self, filter_text: str) -> list[ShelfRow]:
        if "!" in filter_text:
            raise BadFilter("the ! is no part of a filter: leave it out")
        if filter_text == "picked:yes":
            return [row for row in self.rows if row.picked]
        words = filter_text.lower().split()
        return [
            row
            for row in self.rows
            if all(word in f"{row.title} {row.file_name}".lower() for word in words)
        ]


def sort_key(row: ShelfRow, sort: str) -> tuple[object, int]:
    what, _, rig = sort.partition(":")
    if rig:
        times = row.start_s if what == "start" else row.all_s
        return (times.get(rig) or -1.0, row.id)
    value = {
        "title": row.title,
        "file": row.file_name,
        "files": row.files,
        "blocks": row.blocks,
        "verdict": row.verdict.value,
        "rating": row.rating or 0,
    }[what]
    return (value, row.id)


def row_of(path: Path, number: int) -> ShelfRow:
    """The row of an image as a survey would make it."""
    opened = open_and_audit(path)
    audit = opened.audit
    clocking = clock_image(audit, RIGS.values())
    return ShelfRow(
        id=number,
        path=str(path),
        file_name=opened.file_name,
        title=to_text(audit.directory.title),
        verdict=audit.verdict,
        kind=opened.image.kind,
        tracks=opened.image.geometry.tracks,
        files=len(audit.files),
        blocks=sum(file.walked_blocks for file in audit.files),
        sha256=opened.sha256,
        start_s=seconds(clocking.start),
        all_s=seconds(clocking.all),
    )


def seconds(times: Times) -> dict[str, float | None]:
    return {rig: estimate.seconds if estimate else None for rig, estimate in times.items()}


def made_up_row(number: int) -> ShelfRow:
    """A row without an image behind it."""
    blocks = 20 + number * 37 % 600
    stock, fast = blocks * 254 / 390, 1.1 + blocks * 254 / 3600
    times = {
        "stock-spinning": stock,
        "stock-card": stock * 0.8,
        "fast-spinning": fast,
        "fast-card": fast * 0.7,
    }
    return ShelfRow(
        id=number,
        path=f"/shelf/{number:06}.d64",
        file_name=f"{number:06}.d64",
        title=f"TITLE {number:06}",
        verdict=list(Verdict)[number % 3],
        kind="35-track",
        tracks=35,
        files=1 + number % 9,
        blocks=blocks,
        sha256=hashlib.sha256(str(number).encode()).hexdigest(),
        start_s=times,
        all_s={rig: time * 1.5 for rig, time in times.items()},
    )


def session_of(rows: Sequence[ShelfRow], folder: Path, *, kept: bool = True) -> Session:
    """A session on these rows that keeps its settings and choices below `folder`."""
    home = Home(folder, folder, folder)
    opened = OpenShelf(open_index(home.index), open_choices(home.choices), MemoryShelf(rows))
    return Session(opened, RIGS, home, "shelf", kept)


def club_session(paths: Sequence[str], folder: Path) -> Session:
    """A session on a real index of these images and folders."""
    home = Home(folder, folder, folder)
    index, choices = open_index(home.index), open_choices(home.choices)
    rigs = list(RIGS.values())
    surveyed = survey(index, paths, rigs, workers=0) if paths else None
    return Session(
        OpenShelf(index, choices, Shelf(index, choices, rigs), surveyed), RIGS, home, "shelf"
    )
