"""The rows of a plan, a fill or a check: what becomes of each image, and where it is."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from tui.card_outcomes import CardRow, Outcome
from tui.widgets.columns import GAP_CELLS, fit
from tui.widgets.line_view import Line, cells, wrapped
from tui.widgets.row_list import GUTTER, RowList
from tui.wording import seconds_text

GAP = " " * GAP_CELLS
WORD_CELLS, TIME_CELLS = 11, 9
TIMES_FROM_CELLS = 60
TITLE_FROM_CELLS = 90
NOTHING_YET = """\
p  plans: what goes onto the card, where, and what does not and why
F  fills it: the plan is shown, and you are asked before anything is written
a  checks a card that was filled"""


class CardList(RowList):
    """One line a row, made when it shows: a card may hold ten thousand."""

    def __init__(self, *, id: str | None = None):
        super().__init__(id=id)
        self.outcome: Outcome | None = None
        self._copying: int | None = None
        """The row that a fill writes now."""
        self._row_of: dict[str, int] = {}

    @property
    def rows(self) -> Sequence[CardRow]:
        return self.outcome.rows if self.outcome else ()

    @property
    def row(self) -> CardRow | None:
        """The one under the cursor."""
        return self.rows[self.cursor] if self.rows else None

    def show(self, outcome: Outcome | None) -> None:
        """Another answer; the cursor goes to its first row."""
        if outcome is self.outcome:
            return
        self.outcome = outcome
        self._copying = None
        self._row_of = {row.name: number for number, row in enumerate(self.rows)}
        self.set_reactive(CardList.cursor, 0)
        self.scroll_to(y=0, animate=False)
        self.lay()
        self.post_message(self.Highlighted(self, 0))

    def follow(self, name: str | None) -> None:
        """A fill writes this file now; None: it has ended."""
        self._copying = None if name is None else self._row_of.get(name)
        if self._copying is not None:
            self.cursor = self._copying
        self.refresh()

    def go_to_next_part(self) -> None:
        """To the first row of the next word; from the last one to the first."""
        starts = [next(part)[0] for _, part in groupby(enumerate(self.rows), lambda p: p[1].word)]
        if starts:
            self._go(next((start for start in starts if start > self.cursor), 0))

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        return action != "choose"  # all that is to be known of a row is shown already

    # One line a row

    def row_count(self) -> int:
        return len(self.rows)

    def row_lines(self, row: int) -> Sequence[Line]:
        return [self._row_line(self.rows[row], row)]

    def prepare(self) -> None:
        count = len(self.rows)
        self._lines = [(row, ()) for row in range(count)]
        self._first_line = list(range(count))
        self._lines += ((-1, line) for line in self.tail())

    def line(self, index: int) -> Line:
        row, line = self._lines[index]
        if row >= 0:
            self._lines[index] = (row, self._row_line(self.rows[row], row))
        return super().line(index) if row >= 0 else line

    def tail(self) -> Sequence[Line]:
        if self.outcome is not None:
            return () if self.rows else [cells(("  There is nothing to list.", "muted"))]
        indent = " " * 5
        return [
            cells(("  " + part, "muted"))
            for text in NOTHING_YET.splitlines()
            for part in wrapped(text, self.row_width, indent[2:])
        ]

    def head(self) -> Sequence[Line]:
        if not self.rows or self.outcome is None:
            return ()
        name, title, has_times = self._widths()
        line = " " * GUTTER + fit("", WORD_CELLS) + fit("file", name)
        line += GAP + fit("title", title) if title else ""
        if has_times and self.outcome.stock:
            for rig in (self.outcome.stock, self.outcome.fast):
                line += " " + fit(rig, TIME_CELLS + 1, right=True)
        return [cells((line.ljust(self.line_width), "head"))]

    def _widths(self) -> tuple[int, int, bool]:
        """Cells of name and title, and whether there is room for times."""
        room = self.row_width - WORD_CELLS
        has_times = self.row_width >= TIMES_FROM_CELLS
        if has_times:
            room -= 2 * (TIME_CELLS + 2)
        if self.row_width < TITLE_FROM_CELLS:
            return max(room, 1), 0, has_times
        title = max((room - GAP_CELLS) * 2 // 5, 1)
        return room - GAP_CELLS - title, title, has_times

    def _row_line(self, row: CardRow, number: int) -> Line:
        word, meaning = row.word, row.meaning
        if self._copying is not None and row.is_copied and number <= self._copying:
            word, meaning = ("copying", "chosen") if number == self._copying else ("copied", "good")
        line = [*cells((fit(word, WORD_CELLS), meaning))]
        if row.says:
            room = max(self.row_width - WORD_CELLS - GAP_CELLS, 2)
            name = min(len(row.name), max(room - len(row.says), room // 2))
            return [*line, *cells(fit(row.name, name), GAP, (fit(row.says, room - name), "muted"))]
        name, title, has_times = self._widths()
        line += cells(fit(row.name, name))
        if title:
            line += cells(GAP, fit(row.title, title))
        if has_times:
            for seconds in (row.stock_s, row.fast_s):
                line += cells("  ", fit(seconds_text(seconds), TIME_CELLS, right=True))
        return line
