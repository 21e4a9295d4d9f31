"""Columns of a table, and how many of them fit a width."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

from rich.cells import cell_len, set_cell_size

RowT = TypeVar("RowT")

GAP_CELLS = 2
ELLIPSIS = "…"


@dataclass(frozen=True, slots=True)
class Cell:
    """A text with a meaning, which is one of the table's component classes; "" is plain."""

    text: str
    meaning: str = ""


@dataclass(frozen=True)
class Column(Generic[RowT]):
    """One column: what it shows and how much room it takes."""

    name: str
    """In plain words, for lists of columns."""
    label: str
    """Above the column."""
    cell: Callable[[RowT], str | Cell]
    width: int
    """Cells at the least."""
    rank: int
    """The highest ranks leave first where there is no room for all."""
    sort: str | None = None
    """The key by which rows are sorted; None: they cannot be sorted by this."""
    group: str = ""
    """Printed once above neighbours that share it."""
    right: bool = False
    """Numbers stand at the right edge."""
    most: int = 0
    """Cells at the most; a column takes spare room up to this."""


@dataclass(frozen=True, slots=True)
class Placed(Generic[RowT]):
    """A column that is shown: its first cell on the line, and its width in cells."""

    column: Column[RowT]
    at: int
    width: int


def place_columns(
    columns: Sequence[Column[RowT]], width: int, sort: str | None = None
) -> list[Placed[RowT]]:
    """The columns that fit `width` cells, in their order; what is left goes to those that grow.

    The column of the lowest rank is always there, cut down if it must be; that by which rows
    are sorted comes next.
    """
    by_rank = sorted(columns, key=lambda column: column.rank)
    by_rank = by_rank[:1] + sorted(by_rank[1:], key=lambda c: sort is None or c.sort != sort)
    importance = {id(column): place for place, column in enumerate(by_rank)}
    numbers = sorted(range(len(columns)), key=lambda number: importance[id(columns[number])])
    chosen: set[int] = set()
    room = width + GAP_CELLS
    for number in numbers:
        column = columns[number]
        if column.width + GAP_CELLS > room and chosen:
            break
        chosen.add(number)
        room -= column.width + GAP_CELLS
    widths = {number: columns[number].width for number in chosen}
    if room < 0:
        widths = {number: max(width, 1) for number in chosen}
    for number in numbers[: len(chosen)]:
        more = min(max(columns[number].most - widths[number], 0), max(room, 0))
        widths[number] += more
        room -= more
    placed = []
    at = 0
    for number in sorted(chosen):
        placed.append(Placed(columns[number], at, widths[number]))
        at += widths[number] + GAP_CELLS
    return placed


def shortened(name: str, cells: int) -> str:
    """A rig's name, if need be without its middle: rigs that are alike differ at their ends."""
    if len(name) <= cells:
        return name
    if cells <= 0:
        return ""
    behind = (cells - 1) // 2
    return f"{name[: cells - 1 - behind]}{ELLIPSIS}{name[len(name) - behind :]}"


def fit(text: str, width: int, right: bool = False) -> str:
    """Exactly `width` cells of a text: padded, or cut with an ellipsis."""
    length = len(text) if text.isascii() else cell_len(text)
    if length > width:
        return set_cell_size(text, width - 1) + ELLIPSIS if width > 1 else ELLIPSIS[:width]
    padding = " " * (width - length)
    return padding + text if right else text + padding
