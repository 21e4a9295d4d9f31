"""The readings of the bench log as a table, beside what a rig predicts for them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from loadglass.bench.reading import Reading
from tui.readings import IN, NEAR, OUT, Prediction, timed_text, when_text
from tui.widgets.columns import GAP_CELLS, Cell, Column, Placed, fit, place_columns
from tui.widgets.line_view import Line, cells, wrapped
from tui.widgets.row_list import GUTTER, RowList
from tui.wording import NOTHING, seconds_text

GAP = " " * GAP_CELLS
WORD_MEANINGS = {IN: "good", NEAR: "odd", OUT: "bad"}


@dataclass(frozen=True, slots=True)
class Row:
    """A reading, and what the rig of the table says to it."""

    reading: Reading
    prediction: Prediction | None
    """None where the rig does not mount such an image."""


class ReadingList(RowList):
    """The latest reading first."""

    def __init__(self, *, id: str | None = None):
        super().__init__(id=id)
        self.rows: list[Row] = []
        self.says = ""
        """In place of the rows, where there are none."""
        self._placed: list[Placed[Row]] = []

    @property
    def row(self) -> Row | None:
        """The one under the cursor."""
        return self.rows[self.cursor] if self.rows else None

    def show(self, rows: Sequence[Row], says: str = "") -> None:
        self.rows, self.says = list(rows), says
        self.set_reactive(ReadingList.cursor, min(self.cursor, max(len(self.rows) - 1, 0)))
        self.lay()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        return action != "choose"  # all that is to be known of a reading is shown already

    def row_count(self) -> int:
        return len(self.rows)

    def prepare(self) -> None:
        self._placed = place_columns(COLUMNS, self.row_width)
        super().prepare()

    def head(self) -> Sequence[Line]:
        labels = [fit(p.column.label, p.width, p.column.right) + GAP for p in self._placed]
        return [cells(((" " * GUTTER + "".join(labels)).ljust(self.line_width), "head"))]

    def row_lines(self, row: int) -> Sequence[Line]:
        line: list[Cell] = []
        for placed in self._placed:
            cell = placed.column.cell(self.rows[row])
            text, meaning = (cell.text, cell.meaning) if isinstance(cell, Cell) else (cell, "")
            line += cells((fit(text, placed.width, placed.column.right), meaning), GAP)
        return [line]

    def tail(self) -> Sequence[Line]:
        if self.rows or not self.says:
            return []
        return [cells(("  " + line, "muted")) for line in wrapped(self.says, self.row_width)]


def _predicted(row: Row) -> str:
    return seconds_text(row.prediction.seconds if row.prediction else None)


def _range(row: Row) -> str:
    return row.prediction.range_text if row.prediction else NOTHING


def _off(row: Row) -> str:
    return row.prediction.off_text(row.reading.seconds) if row.prediction else NOTHING


def _word(row: Row) -> Cell:
    if row.prediction is None:
        return Cell(NOTHING, "muted")
    word = row.prediction.word(row.reading.seconds)
    return Cell(word, WORD_MEANINGS[word])


COLUMNS: list[Column[Row]] = [
    Column("number", "id", lambda row: str(row.reading.id), width=3, rank=5, right=True),
    Column("what was timed", "timed", lambda row: timed_text(row.reading.timed), 14, 0, most=34),
    Column("reading", "reading", lambda row: seconds_text(row.reading.seconds), 8, 1, right=True),
    Column("predicted", "predicted", _predicted, width=9, rank=3, right=True),
    Column("range", "90 % range", _range, width=13, rank=4, right=True),
    Column("off by", "off by", _off, width=7, rank=2, right=True),
    Column("in the range", "", _word, width=4, rank=2),
    Column("when", "when", lambda row: when_text(row.reading), width=16, rank=7),
    Column("rig", "rig", lambda row: row.reading.rig, width=10, rank=6, most=20),
    Column("remark", "remark", lambda row: row.reading.remark, width=8, rank=8, most=40),
]
