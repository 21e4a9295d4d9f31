"""What stands beside an image, in sections: its set, sound twins, the same images and files."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

from loadglass.shelf.beside import Beside
from tui.beside_words import Item, Section, sections
from tui.widgets.columns import GAP_CELLS, Cell, Column, Placed, fit, place_columns
from tui.widgets.lettering import Lettering
from tui.widgets.line_view import Line, cells, wrapped
from tui.widgets.row_list import GUTTER, NO_ROW, RowList
from tui.widgets.shelf_columns import PICKED, verdict_cell
from tui.wording import seconds_text

GAP = " " * GAP_CELLS


class BesideList(RowList):
    """The first row is a disk of the set, or the image itself."""

    def __init__(self, rig: str, rig_word: str, *, id: str | None = None):
        super().__init__(id=id)
        self.rig = rig
        self.rig_word = rig_word
        self.lettering = Lettering()
        self.sections: Sequence[Section] = ()
        self.items: list[Item] = []
        self._placed: list[Placed[Item]] = []

    @property
    def item(self) -> Item | None:
        """The one under the cursor."""
        return self.items[self.cursor] if self.cursor < len(self.items) else None

    def show(self, beside: Beside, at: tuple[bool, int, int | None] | None) -> None:
        """Show what was found, with the cursor on the item of that place, if it is still there."""
        self.sections = list(sections(beside))
        self.items = [item for section in self.sections for item in section.items]
        places = [item.place for item in self.items]
        here = at if at in places else (True, beside.image.id, None)
        self.set_reactive(RowList.cursor, places.index(here))
        self.lay()

    def row_count(self) -> int:
        return len(self.items)

    def prepare(self) -> None:
        self._placed = place_columns(self._columns(), self.row_width)
        self._lines, self._first_line = [], []
        row = 0
        for section in self.sections:
            if self._lines:
                self._lines.append((NO_ROW, []))
            heading = self.lettering.sentence(section.heading)
            self._lines.append((NO_ROW, cells((heading, "strong"))))
            for item in section.items:
                self._first_line.append(len(self._lines))
                self._lines.append((row, self._item_line(item)))
                row += 1
            for sentence in section.says:
                says = self.lettering.sentence(sentence)
                self._lines += (
                    (NO_ROW, cells((part, "muted"))) for part in wrapped(says, self.row_width)
                )

    def row_lines(self, row: int) -> Sequence[Line]:
        return [self._item_line(self.items[row])]

    def head(self) -> Sequence[Line]:
        labels = [fit(p.column.label, p.width, p.column.right) + GAP for p in self._placed]
        return [cells((fit(" " * GUTTER + "".join(labels), self.line_width), "head"))]

    def _show_cursor(self) -> None:
        super()._show_cursor()
        if not self.cursor:
            self.scroll_to_line(0)  # with its heading

    def _item_line(self, item: Item) -> Line:
        line: list[Cell] = []
        for placed in self._placed:
            cell = placed.column.cell(item)
            text, meaning = (cell.text, cell.meaning) if isinstance(cell, Cell) else (cell, "")
            line += cells((fit(text, placed.width, placed.column.right), meaning), GAP)
        return line

    def _columns(self) -> list[Column[Item]]:
        sentence = self.lettering.sentence
        return [
            Column("picked for the card", "", _picked, width=1, rank=1),
            Column("which", "which", partial(_lead, sentence), width=16, rank=0, most=38),
            Column("title", "title", partial(_title, sentence), width=16, rank=2, most=18),
            Column("verdict", "verdict", _verdict, width=12, rank=3),
            Column(
                f"first program, {self.rig}",
                f"start {self.rig_word}",
                lambda item: seconds_text(item.row.start_s.get(self.rig)),
                width=max(len(self.rig_word) + 6, 8),
                rank=4,
                right=True,
            ),
            Column("file name", "file name", lambda item: item.row.file_name, 11, rank=5, most=40),
        ]


def _picked(item: Item) -> Cell:
    return Cell(PICKED if item.row.picked else " ", "mark")


def _lead(sentence: Callable[[str], str], item: Item) -> str:
    return sentence(item.lead)


def _title(sentence: Callable[[str], str], item: Item) -> str:
    return sentence(item.row.shown_title)


def _verdict(item: Item) -> Cell:
    return verdict_cell(item.row.verdict)
