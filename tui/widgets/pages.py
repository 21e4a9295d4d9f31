"""Pages of rows from a source of any length: only what is shown is held, and a little more."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar

RowT = TypeVar("RowT", bound="Row")
RowT_co = TypeVar("RowT_co", bound="Row", covariant=True)

PAGE_ROWS = 64
PAGES_KEPT = 16


class Row(Protocol):
    @property
    def id(self) -> int:
        """Stays the same while the row stays, whatever else becomes of it."""


class PageSource(Protocol[RowT_co]):
    """Where rows come from; asked from one other thread at a time, never from the screen's."""

    def count(self, filter_text: str) -> int:
        """Rows that the filter lets through. Raises LoadglassError."""

    def page(
        self, filter_text: str, sort: str, descending: bool, offset: int, limit: int
    ) -> Sequence[RowT_co]:
        """Rows offset to offset + limit in that order. Raises LoadglassError."""

    def place_of(self, row: int, filter_text: str, sort: str, descending: bool) -> int | None:
        """The place of the row of that id; None if it is not among them."""


@dataclass(frozen=True, slots=True)
class Query:
    """Which rows, in which order."""

    filter_text: str = ""
    sort: str = ""
    descending: bool = False


class Pages(Generic[RowT]):
    """Rows of one query by their place in it, as far as they are at hand."""

    def __init__(self, query: Query, count: int):
        self.query = query
        self.count = count
        self._pages: OrderedDict[int, Sequence[RowT]] = OrderedDict()

    def row(self, index: int) -> RowT | None:
        """The row at that place; None if its page is not at hand, or it has gone."""
        number, at = divmod(index, PAGE_ROWS)
        page = self._pages.get(number)
        if page is None:
            return None
        self._pages.move_to_end(number)
        return page[at] if at < len(page) else None

    def put(self, number: int, rows: Sequence[RowT]) -> None:
        """Keep a page; the one that was looked at longest ago goes."""
        self._pages[number] = rows
        self._pages.move_to_end(number)
        while len(self._pages) > PAGES_KEPT:
            self._pages.popitem(last=False)

    def change(self, change: Callable[[RowT], RowT]) -> None:
        """Change the rows at hand, ahead of what the source will say."""
        for number, rows in self._pages.items():
            self._pages[number] = [change(row) for row in rows]

    def missing(self, first: int, last: int) -> list[int]:
        """Numbers of the pages of rows `first` to `last` that are not at hand."""
        return [number for number in self.numbers(first, last) if number not in self._pages]

    def numbers(self, first: int, last: int) -> range:
        """Numbers of the pages that hold rows `first` to `last`, as far as there are any."""
        last = min(last, self.count - 1)
        return range(max(first, 0) // PAGE_ROWS, last // PAGE_ROWS + 1)


def read_page(source: PageSource[RowT], query: Query, number: int) -> Sequence[RowT]:
    """One page of a query's rows. Raises LoadglassError."""
    return source.page(
        query.filter_text, query.sort, query.descending, number * PAGE_ROWS, PAGE_ROWS
    )
