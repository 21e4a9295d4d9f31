"""The shelf as rows: what a filter lets through, in any order, page by page.

A filter gives a set of ids, an order gives all ids in a row; both are kept until the index or
the user's choices change. So a page costs no more at the end of 100,000 rows than at the start.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Iterator, Mapping, Sequence
from threading import RLock
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from formats.errors import LoadglassError
from formats.findings import Verdict
from formats.visible import visible
from loadglass.shelf.choices import Choices
from loadglass.shelf.clocks import valid_ids
from loadglass.shelf.database import temporary_writing
from loadglass.shelf.filters import HELP, RIG_PREFIXES, FilterError, parse, times_of
from loadglass.shelf.index import Index
from loadglass.shelf.paths import image_source
from loadglass.shelf.record import VERDICTS
from loadglass.shelf.rows import ShelfRow
from loadglass.shelf.sets import disk_sets
from loadglass.timing.rig import Rig

__all__ = ["DEFAULT_SORT", "HELP", "FilterError", "Shelf", "SortError", "parse"]

Ids = NDArray[np.int64]

DEFAULT_SORT = "title"
_TITLE, _FILE = "title COLLATE NOCASE {way}", "file_name COLLATE NOCASE {way}"
TEXT_SORTS = {"title": f"{_TITLE}, {_FILE}, id {{way}}", "file": f"{_FILE}, {_TITLE}, id {{way}}"}
NUMBER_SORTS = {
    **{
        name: f"SELECT id, {name} FROM images"
        for name in ("files", "programs", "blocks", "tracks", "verdict")
    },
    **{
        name: f"SELECT id, chosen.{name} FROM images JOIN temp.chosen USING (sha256)"
        for name in ("rating", "picked")
    },
}
"""Orders by a number of each image, as SQL of (id, number)."""
KEPT_RESULTS = 32
PAGE_ROWS = 500

_CHOSEN = """
CREATE TEMP TABLE chosen (
    sha256 BLOB PRIMARY KEY, picked INTEGER, rating INTEGER, tags TEXT
) WITHOUT ROWID
"""
_IN_SETS = "CREATE TEMP TABLE in_sets (image_id INTEGER PRIMARY KEY, name TEXT)"
_OFF = "CREATE TEMP TABLE off (image_id INTEGER PRIMARY KEY)"
_OFF_IMAGE = """
INSERT OR IGNORE INTO temp.off SELECT images.id FROM images JOIN folders ON folders.id = folder_id
WHERE folders.path = ? AND name = ? AND member = ?
"""
_MATCHING = (
    "SELECT images.id FROM images LEFT JOIN temp.chosen AS chosen ON chosen.sha256 = images.sha256"
)


class Sums(NamedTuple):
    """Of contents that are of one verdict and kind; or of images, where every copy counts."""

    verdict: Verdict
    kind: str
    images: int
    one_s: float
    other_s: float
    """Of every program in a row, on two rigs, of those that have a time on both."""
    unknown: int
    """Those that have not."""
    copies: int
    """Images beside these that are of the same contents."""


_PICKED_SUMS = """
SELECT verdict, kind, count(*), total(one_s), total(other_s), sum(one_s IS NULL), sum(copies)
FROM (
    SELECT min(verdict) AS verdict, kind, count(*) - 1 AS copies,
        iif(other.all_s IS NULL, NULL, one.all_s) AS one_s,
        iif(one.all_s IS NULL, NULL, other.all_s) AS other_s
    FROM images JOIN temp.chosen USING (sha256)
    LEFT JOIN times AS one ON one.image_id = images.id AND one.rig_id = ?
    LEFT JOIN times AS other ON other.image_id = images.id AND other.rig_id = ?
    WHERE picked AND NOT gone AND images.id NOT IN (SELECT image_id FROM temp.off) GROUP BY {each}
) GROUP BY verdict, kind
"""
"""Of copies the soundest counts."""


class SortError(LoadglassError):
    """An order that there is not; the sentence says which there are."""


class Shelf:
    """The shelf for tables and lists: implements rows.ShelfView. Close it.

    May be used by any thread, by one at a time: a call waits for the one before. It sees what
    a survey in another thread or process has stored as soon as it is stored.
    """

    def __init__(self, index: Index, choices: Choices, rigs: Sequence[Rig]) -> None:
        self._index = index
        self._choices = choices
        self._rigs = list(rigs)
        self._lock = RLock()
        self._connection = index.connect()
        self._stamp: tuple[int, int] | None = None
        self._sets_stamp: tuple[int, int] | None = None
        self._kept: OrderedDict[tuple[str, ...], Ids] = OrderedDict()
        with index.guarded():
            self._connection.execute(_CHOSEN)
            self._connection.execute(_IN_SETS)
            self._connection.execute(_OFF)

    def close(self) -> None:
        with self._lock:
            self._connection.close()

    def use_rigs(self, rigs: Sequence[Rig]) -> None:
        """Give times on these rigs from now on."""
        with self._lock:
            self._rigs = list(rigs)
            self._stamp = None

    def count(self, filter_text: str) -> int:
        """Rows that the filter lets through. Raises FilterError, DatabaseTrouble."""
        with self._lock, self._index.guarded():
            self._refresh()
            return len(self._matching(filter_text))

    def page(
        self, filter_text: str, sort: str, descending: bool, offset: int, limit: int
    ) -> list[ShelfRow]:
        """Rows offset to offset + limit. Raises FilterError, SortError, DatabaseTrouble."""
        with self._lock, self._index.guarded():
            self._refresh()
            ids = self._result(filter_text, sort, descending)[offset : offset + limit]
            return self._rows(ids.tolist())

    def rows(
        self,
        filter_text: str = "",
        sort: str = DEFAULT_SORT,
        descending: bool = False,
        limit: int | None = None,
    ) -> Iterator[ShelfRow]:
        """All rows, or the first `limit`, as they were when the first was asked for."""
        with self._lock, self._index.guarded():
            self._refresh()
            ids = self._result(filter_text, sort, descending)[:limit].tolist()
        for first in range(0, len(ids), PAGE_ROWS):
            with self._lock, self._index.guarded():
                page = self._rows(ids[first : first + PAGE_ROWS])
            yield from page

    def row(self, image: int) -> ShelfRow | None:
        """One image by its id."""
        with self._lock, self._index.guarded():
            return next(iter(self._rows([image])), None)

    def place_of(self, image: int, filter_text: str, sort: str, descending: bool) -> int | None:
        """The offset of an image's row, or None where the filter leaves it out."""
        with self._lock, self._index.guarded():
            self._refresh()
            places = np.flatnonzero(self._result(filter_text, sort, descending) == image)
            return int(places[0]) if places.size else None

    def numbers(self, filter_text: str, sort: str) -> NDArray[np.float64]:
        """What the rows that the filter lets through are sorted by, in no order.

        NaN where there is nothing, such as a time of an image without a program. Raises
        FilterError, DatabaseTrouble, and SortError where `sort` goes by a text.
        """
        with self._lock, self._index.guarded():
            self._refresh()
            return self._numbered(sort)[self._matching(filter_text)]

    def picked_sums(self, rig: str, other: str, every_copy: bool = False) -> list[Sums]:
        """What the picks that are there come to on two rigs. Raises DatabaseTrouble."""
        with self._lock, self._index.guarded():
            self._refresh()
            ids = valid_ids(self._connection, self._rigs)
            sql = _PICKED_SUMS.format(each="images.id" if every_copy else "sha256")
            rows = self._connection.execute(sql, (ids.get(rig), ids.get(other)))
            return [Sums(VERDICTS[verdict], *rest) for verdict, *rest in rows.fetchall()]

    def take_off(self, images: Sequence[int], off: bool = True) -> None:
        """Show these images no longer, whatever a survey finds, or again. DatabaseTrouble.

        Their files are left alone; what is there after an image was taken off stays off too.
        """
        sql = (
            "SELECT folders.path, name, member FROM images "
            "JOIN folders ON folders.id = folder_id WHERE images.id = ?"
        )
        with self._lock, self._index.guarded():
            places = [self._connection.execute(sql, (image,)).fetchone() for image in images]
        self._choices.take_off(filter(None, places), off)

    def _refresh(self) -> None:
        """Forget what was found before anything changed."""
        (written,) = self._connection.execute("PRAGMA data_version").fetchone()
        chosen = self._choices.version
        if self._stamp == (written, chosen):
            return
        if self._stamp is None or self._stamp[1] != chosen:
            with temporary_writing(self._connection):
                self._connection.execute("DELETE FROM temp.chosen")
                self._connection.executemany(
                    "INSERT INTO temp.chosen VALUES (?, ?, ?, ?)",
                    (
                        (
                            *(bytes.fromhex(sha), each.picked, each.rating),
                            "".join(f" {tag} " for tag in each.tags),
                        )
                        for sha, each in self._choices.all().items()
                    ),
                )
        with temporary_writing(self._connection):
            self._connection.execute("DELETE FROM temp.off")
            self._connection.executemany(_OFF_IMAGE, self._choices.off_shelf)
        self._stamp = (written, chosen)
        self._kept.clear()

    def _result(self, filter_text: str, sort: str, descending: bool) -> Ids:
        way = "DESC" if descending else "ASC"
        return self._keep(
            ("result", filter_text.strip(), sort, way),
            lambda: _picked_from(self._order(sort, way), self._matching(filter_text)),
        )

    def _matching(self, filter_text: str) -> Ids:
        """Ids that the filter lets through, in no order."""

        def find() -> Ids:
            condition = parse(filter_text, self._rigs, self._index.full_text)
            if condition.is_everything:
                return self._shown(self._order(DEFAULT_SORT, "ASC"))
            if condition.search is not None:  # many times faster than with a look at each image
                return self._shown(self._found(condition.search))
            if condition.speaks_of_sets:
                self._note_sets()
            return self._set_of_ids(f"{_MATCHING} WHERE {condition.sql}", condition.parameters)

        return self._keep(("matching", filter_text.strip()), find)

    def _note_sets(self) -> None:
        """Which image is in which set, for filters; grouped anew once anything has changed."""
        if self._sets_stamp == self._stamp:
            return
        sets = disk_sets(self._index, self._choices)
        with temporary_writing(self._connection):
            self._connection.execute("DELETE FROM temp.in_sets")
            self._connection.executemany(
                "INSERT INTO temp.in_sets VALUES (?, ?)",
                ((disk.id, each.name.casefold()) for each in sets for disk in each.disks),
            )
        self._sets_stamp = self._stamp

    def _found(self, search: str) -> Ids:
        """What a full-text search finds."""
        return self._set_of_ids("SELECT rowid AS id FROM texts WHERE texts MATCH ?", (search,))

    def _shown(self, ids: Ids) -> Ids:
        """Without what is gone or was taken off."""
        hidden = "SELECT id FROM images WHERE gone UNION SELECT image_id FROM temp.off"
        left_out = self._ids(hidden, ())
        return np.setdiff1d(ids, left_out) if len(left_out) else ids

    def _order(self, sort: str, way: str) -> Ids:
        """All ids in an order; ties as by DEFAULT_SORT, so that nothing jumps about."""
        return self._keep(("order", sort, way), lambda: self._sorted(sort, way))

    def _sorted(self, sort: str, way: str) -> Ids:
        if sort in TEXT_SORTS:
            order = self._ids(
                f"SELECT id FROM images ORDER BY {TEXT_SORTS[sort].format(way=way)}", ()
            )
            if sort != "title" or way == "DESC":
                return order
            untitled = "SELECT count(*) FROM images WHERE title COLLATE NOCASE = ''"
            (count,) = self._connection.execute(untitled).fetchone()
            return np.roll(order, -count)  # last, as they are the other way about
        numbers = self._numbered(sort)
        base = self._order(DEFAULT_SORT, "ASC")
        in_turn = -numbers[base] if way == "DESC" else numbers[base]
        return base[np.argsort(in_turn, kind="stable")]  # NaN, no number, comes last

    def _numbered(self, sort: str) -> NDArray[np.float64]:
        """The number of each image that an order goes by, at the place of its id."""
        pairs = self._connection.execute(*self._numbers(sort)).fetchall()
        numbers = np.full(self._order(DEFAULT_SORT, "ASC").max(initial=0) + 1, np.nan)
        if pairs:
            images, values = np.array(pairs, dtype=np.float64).T
            numbers[images.astype(np.int64)] = values
        return numbers

    def _numbers(self, sort: str) -> tuple[str, tuple[Any, ...]]:
        """SQL of (id, number), and its parameters. Raises SortError."""
        if sort in NUMBER_SORTS:
            return NUMBER_SORTS[sort], ()
        prefix, _, name = sort.partition(":")
        rig = next((rig for rig in self._rigs if rig.name == name), None)
        if prefix in RIG_PREFIXES and rig is not None:
            return times_of(prefix, rig)
        known = [*TEXT_SORTS, *NUMBER_SORTS, *(f"{each}:RIG" for each in RIG_PREFIXES)]
        raise SortError(f'there is no order "{visible(sort)}": there are {", ".join(known)}')

    def _keep(self, key: tuple[str, ...], find: Callable[[], Ids]) -> Ids:
        if key not in self._kept:
            found = find()
            self._kept[key] = found
            while len(self._kept) > KEPT_RESULTS:
                self._kept.popitem(last=False)
        self._kept.move_to_end(key)
        return self._kept[key]

    def _set_of_ids(self, sql: str, parameters: Sequence[Any]) -> Ids:
        """In no order, as one text: for a tuple an id takes three times that."""
        joining = f"SELECT group_concat(id) FROM ({sql})"
        (joined,) = self._connection.execute(joining, parameters).fetchone()
        return np.fromstring(joined or "", dtype=np.int64, sep=",")

    def _ids(self, sql: str, parameters: Sequence[Any]) -> Ids:
        cursor = self._connection.execute(sql, parameters)
        return np.fromiter((row[0] for row in cursor.fetchall()), dtype=np.int64)

    def _rows(self, ids: Sequence[int]) -> list[ShelfRow]:
        """The rows of these images, in their order; those that are not there are left out."""
        pages = (ids[first : first + PAGE_ROWS] for first in range(0, len(ids), PAGE_ROWS))
        return [row for page in pages for row in self._page(page)]

    def _page(self, ids: Sequence[int]) -> list[ShelfRow]:
        marks = ", ".join("?" * len(ids))
        images = self._connection.execute(
            "SELECT images.id, folders.path, name, member, file_name, title, verdict, kind, "
            "tracks, files, blocks, sha256, gone, programs, why, "
            "images.id IN (SELECT image_id FROM temp.off), instr(findings, ' own-loader ') "
            "FROM images "
            f"JOIN folders ON folders.id = folder_id WHERE images.id IN ({marks})",
            ids,
        ).fetchall()
        starts, rows = self._times(ids, marks)
        choices = self._choices.all()
        by_id = {image[0]: _row(image, starts, rows, choices) for image in images}
        return [by_id[image] for image in ids if image in by_id]

    def _times(self, ids: Sequence[int], marks: str) -> tuple[_Times, _Times]:
        starts: _Times = {image: dict.fromkeys(rig.name for rig in self._rigs) for image in ids}
        rows: _Times = {image: dict.fromkeys(rig.name for rig in self._rigs) for image in ids}
        for name, rig_id in valid_ids(self._connection, self._rigs).items():
            for image, start_s, all_s in self._connection.execute(
                "SELECT image_id, start_s, all_s FROM times "
                f"WHERE rig_id = ? AND image_id IN ({marks})",
                (rig_id, *ids),
            ):
                starts[image][name], rows[image][name] = start_s, all_s
        return starts, rows


def _picked_from(order: Ids, matching: Ids) -> Ids:
    """Those ids of a row of all ids that match."""
    if len(matching) == len(order):
        return order
    is_in = np.zeros(max(order.max(initial=0), matching.max(initial=0)) + 1, dtype=np.bool_)
    is_in[matching] = True
    picked: Ids = order[is_in[order]]
    return picked


_Times = dict[int, dict[str, float | None]]


def _row(
    image: tuple[Any, ...], starts: _Times, rows: _Times, choices: Mapping[str, Any]
) -> ShelfRow:
    (number, folder, name, member, file_name, title, verdict, kind) = image[:8]
    (tracks, files, blocks, sha256, gone, programs, why, off, own_loader) = image[8:]
    content = sha256.hex() if sha256 else ""
    choice = choices.get(content)
    return ShelfRow(
        id=number,
        path=image_source(folder, name, member).path,
        file_name=file_name,
        title=title,
        verdict=VERDICTS[verdict],
        kind=kind,
        tracks=tracks,
        files=files,
        blocks=blocks,
        sha256=content,
        start_s=starts[number],
        all_s=rows[number],
        gone=bool(gone),
        off=bool(off),
        rating=choice.rating if choice else None,
        tags=choice.tags if choice else (),
        picked=bool(choice and choice.picked),
        programs=programs,
        why=why,
        own_loader=bool(own_loader),
    )
