"""Rows of one line or more with a cursor: the directory's table and the findings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

from rich.style import Style
from textual import events
from textual.binding import Binding, BindingType
from textual.message import Message
from textual.reactive import reactive

from tui.widgets.columns import Cell
from tui.widgets.line_view import Line, LineView
from tui.widgets.table_lines import POINTER

GUTTER = 2
"""Cells in front of every row."""
NO_ROW = -1


class RowList(LineView, can_focus=True, inherit_bindings=False):
    """A view says what it shows through `row_count` and `row_lines`."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {"lines--cursor"}
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up", "move(-1)", "Up", show=False, tooltip="One row up"),
        Binding("down", "move(1)", "Down", show=False, tooltip="One row down"),
        Binding("pageup", "move_page(-1)", "Page up", show=False, tooltip="One page up"),
        Binding("pagedown", "move_page(1)", "Page down", show=False, tooltip="One page down"),
        Binding("home", "move_end(False)", "First", show=False, tooltip="To the first row"),
        Binding("end", "move_end(True)", "Last", show=False, tooltip="To the last row"),
        Binding("enter", "choose", "Open", tooltip="Open what the cursor is on"),
    ]

    cursor: reactive[int] = reactive(0, repaint=False)
    """The row that the keys act on."""

    @dataclass
    class Highlighted(Message):
        """The user has moved the cursor to a row."""

        rows: RowList
        row: int

        @property
        def control(self) -> RowList:
            return self.rows

    @dataclass
    class Chosen(Message):
        """Enter, or a double click, on a row."""

        rows: RowList
        row: int

        @property
        def control(self) -> RowList:
            return self.rows

    def __init__(self, *, id: str | None = None):
        super().__init__(id=id)
        self._lines: list[tuple[int, Line]] = []
        self._first_line: list[int] = []

    def row_count(self) -> int:
        raise NotImplementedError

    def row_lines(self, row: int) -> Sequence[Line]:
        """The lines of a row, at least one."""
        raise NotImplementedError

    def tail(self) -> Sequence[Line]:
        """Lines behind the last row that no cursor reaches."""
        return ()

    @property
    def row_width(self) -> int:
        """Cells that a row may take."""
        return self.line_width - GUTTER

    def prepare(self) -> None:
        self._lines, self._first_line = [], []
        for row in range(self.row_count()):
            self._first_line.append(len(self._lines))
            self._lines += ((row, line) for line in self.row_lines(row))
        self._lines += ((NO_ROW, line) for line in self.tail())

    def line_count(self) -> int:
        return len(self._lines)

    def line(self, index: int) -> Line:
        row, line = self._lines[index]
        pointed = row == self.cursor and index == self._first_line[row]
        return [Cell(f"{POINTER if pointed else ' '} "), *line]

    def line_style(self, index: int) -> Style | None:
        if self._lines[index][0] != self.cursor:
            return None
        return self.get_component_rich_style("lines--cursor")

    def lay(self) -> None:
        super().lay()
        self._show_cursor()

    def watch_cursor(self) -> None:
        self.refresh()
        self._show_cursor()

    def action_move(self, rows: int) -> None:
        self._go(self.cursor + rows)

    def action_move_page(self, pages: int) -> None:
        self._go(self.cursor + pages * max(self.body_height - 1, 1))

    def action_move_end(self, last: bool) -> None:
        self._go(self.row_count() if last else 0)

    def action_choose(self) -> None:
        if self.row_count():
            self.post_message(self.Chosen(self, self.cursor))

    def on_click(self, event: events.Click) -> None:
        index = self.line_at(event.y)
        if index is not None and self._lines[index][0] != NO_ROW:
            self._go(self._lines[index][0])
            if event.chain == 2:
                self.action_choose()

    def _go(self, row: int) -> None:
        row = max(min(row, self.row_count() - 1), 0)
        if row != self.cursor:
            self.cursor = row
            self.post_message(self.Highlighted(self, row))

    def _show_cursor(self) -> None:
        if self.cursor >= len(self._first_line):
            return
        first = self._first_line[self.cursor]
        last = first
        while last + 1 < len(self._lines) and self._lines[last + 1][0] == self.cursor:
            last += 1
        self.scroll_to_line(last)
        self.scroll_to_line(first)
