"""The lines of a table as pieces of text with styles: groups, labels, rows."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import groupby
from typing import TypeVar

from rich.cells import cell_len
from rich.segment import Segment
from rich.style import Style

from tui.widgets.columns import GAP_CELLS, Cell, Placed, fit, shortened

RowT = TypeVar("RowT")

NOT_HERE_YET = "·"
UP, DOWN = "▲", "▼"
POINTER = "›"
"""In front of the cursor's row, so that it shows without colours."""
GUTTER = 1
"""Cells in front of every line."""


def group_line(placed: Sequence[Placed[RowT]], width: int, style: Style) -> Iterator[Segment]:
    """What neighbouring columns have in common, above them and as wide as they are."""
    line = " " * GUTTER
    for group, members in groupby(placed, lambda each: each.column.group):
        if group:
            run = list(members)
            cells = run[-1].at + run[-1].width - run[0].at
            room = cells - 2
            # Of half of it nobody would make sense: what stands before the comma does as well.
            whole = group if len(group) < 2 * room else group.partition(",")[0]
            label = f" {shortened(whole, room)} "
            line = line.ljust(GUTTER + run[0].at) + label.center(cells, "─")
    yield Segment(line.ljust(width), style)


def label_line(
    placed: Sequence[Placed[RowT]], sort: str, descending: bool, plain: Style, sorted_by: Style
) -> Iterator[Segment]:
    """The columns' labels, with a mark at the one that rows are sorted by."""
    yield Segment(" " * GUTTER, plain)
    at = 0
    for each in placed:
        column = each.column
        is_sorted = column.sort is not None and column.sort == sort
        # A label at the right edge may reach into the gap in front of it, but for one cell.
        start = min(at + 1, each.at) if column.right else each.at
        width = each.at + each.width - start
        label = column.label
        if is_sorted:
            mark = DOWN if descending else UP
            between = " " if cell_len(label) + 2 <= width else ""
            label = between.join((mark, label) if column.right else (label, mark))
        label = fit(label, min(cell_len(label), width))
        spare = Segment(" " * (width - cell_len(label)), plain)
        shown = Segment(label, sorted_by if is_sorted else plain)
        yield Segment(" " * (start - at), plain)
        yield from (spare, shown) if column.right else (shown, spare)
        at = each.at + each.width


def row_line(
    row: RowT | None,
    placed: Sequence[Placed[RowT]],
    base: Style,
    colour: Callable[[str], Style] | None,
    *,
    is_cursor: bool,
) -> Iterator[Segment]:
    """A row; one that is still on its way is a dot.

    colour: what a meaning adds to the style of the row; None: the row has one style throughout.
    Neighbours of one style are one piece, for a terminal is slow at changing styles.
    """
    text = POINTER if is_cursor else " " * GUTTER
    if row is None:
        yield Segment(text + NOT_HERE_YET, base)
        return
    for each in placed:
        cell = each.column.cell(row)
        shown, meaning = (cell.text, cell.meaning) if isinstance(cell, Cell) else (cell, "")
        shown = fit(shown, each.width, each.column.right)
        if meaning and colour is not None:
            yield Segment(text, base)
            yield Segment(shown, base + colour(meaning))
            text = " " * GAP_CELLS
        else:
            text += shown + " " * GAP_CELLS
    yield Segment(text, base)
