"""Lines that are made when they show: the ground on which the disk screen's views stand."""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import wrap
from typing import ClassVar

from rich.cells import cell_len
from rich.segment import Segment
from rich.style import Style
from textual.binding import Binding, BindingType
from textual.geometry import Size
from textual.scroll_view import ScrollView
from textual.strip import Strip

from tui.widgets.columns import Cell

Line = Sequence[Cell]
"""Pieces of text from left to right, each with a meaning; never read as markup."""

PLAIN = "plain"


class LineView(ScrollView, inherit_bindings=False):
    """Any number of lines, some of which may stay at the top as its head.

    A view says what it shows through `head`, `line_count` and `line`, and calls `lay` when that
    has changed. Meanings of cells are the component classes `lines--MEANING`.
    """

    ALLOW_SELECT = False
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up", "scroll_up", "Up", show=False, tooltip="One line up"),
        Binding("down", "scroll_down", "Down", show=False, tooltip="One line down"),
        Binding("pageup", "page_up", "Page up", show=False, tooltip="One page up"),
        Binding("pagedown", "page_down", "Page down", show=False, tooltip="One page down"),
        Binding("home", "scroll_home", "First", show=False, tooltip="To the first line"),
        Binding("end", "scroll_end", "Last", show=False, tooltip="To the last line"),
    ]
    COMPONENT_CLASSES: ClassVar[set[str]] = {
        "lines--plain",
        "lines--head",
        "lines--strong",
        "lines--muted",
        "lines--good",
        "lines--odd",
        "lines--bad",
        "lines--note",
        "lines--mark",
        "lines--chosen",
    }

    kept_meanings: ClassVar[frozenset[str]] = frozenset()
    """Those that look the same on a line that has one style as a whole."""

    def head(self) -> Sequence[Line]:
        """Lines that do not scroll."""
        return ()

    def line_count(self) -> int:
        raise NotImplementedError

    def line(self, index: int) -> Line:
        raise NotImplementedError

    def line_style(self, index: int) -> Style | None:
        """The one style of a whole line; None where each cell has its own."""
        return None

    def prepare(self) -> None:
        """Work that depends on the width, before lines are asked for."""

    @property
    def line_width(self) -> int:
        return self.scrollable_content_region.width

    @property
    def body_height(self) -> int:
        return max(self.scrollable_content_region.height - len(self._head), 1)

    @property
    def first_shown(self) -> int:
        return self.scroll_offset.y

    _head: Sequence[Line] = ()

    def lay(self) -> None:
        """Take over what has changed."""
        if not self.is_attached:
            return
        self.prepare()
        self._head = self.head()
        # No smaller than the view: a change that fits costs no new layout of the screen.
        lines = self.line_count() + len(self._head)
        height = self.container_size.height
        self.virtual_size = Size(self.line_width, max(lines, height))
        # By itself the toolkit looks only when the view is resized; lines come and go without.
        self._refresh_scrollbars()
        self.refresh()

    def on_mount(self) -> None:
        super().on_mount()
        self.lay()

    def on_resize(self) -> None:
        self.lay()

    def watch_show_vertical_scrollbar(self) -> None:
        self.lay()  # it takes a cell of every line, or gives it back

    def scroll_to_line(self, index: int) -> None:
        """Scroll as little as shows the line."""
        top = self.first_shown
        if index < top:
            self.scroll_to(y=index, animate=False)
        elif index >= top + self.body_height:
            self.scroll_to(y=index - self.body_height + 1, animate=False)

    def line_at(self, y: int) -> int | None:
        """The line at a row of the widget; None in the head and behind the last line."""
        index = y - len(self._head) + self.first_shown
        return index if y >= len(self._head) and index < self.line_count() else None

    def meaning_style(self, meaning: str) -> Style:
        return self.get_component_rich_style(f"lines--{meaning or PLAIN}")

    def render_line(self, y: int) -> Strip:
        plain = self.meaning_style("")
        whole: Style | None = None
        if y < len(self._head):
            line = self._head[y]
        else:
            index = self.line_at(y)
            if index is None:
                return Strip.blank(self.size.width, plain)
            line, whole = self.line(index), self.line_style(index)
        segments = [Segment(cell.text, self._cell_style(cell, whole)) for cell in line]
        return Strip(segments).adjust_cell_length(self.size.width, whole or plain)

    def _cell_style(self, cell: Cell, whole: Style | None) -> Style:
        if whole is None or cell.meaning in self.kept_meanings:
            return self.meaning_style(cell.meaning)
        return whole


def cells(*pieces: str | Cell | tuple[str, str]) -> Line:
    """A line from texts, and from texts with a meaning."""
    return [
        piece if isinstance(piece, Cell) else Cell(*((piece,) if isinstance(piece, str) else piece))
        for piece in pieces
    ]


def width_of(line: Line) -> int:
    return sum(cell_len(cell.text) for cell in line)


def wrapped(text: str, width: int, indent: str = "") -> list[str]:
    """A sentence on lines of that width, the later ones indented; at least one line."""
    return wrap(text, max(width, 8), subsequent_indent=indent) or [""]


def sides(left: Line, right: Line, width: int) -> Line:
    """Two ends of a line; the right one stands at the edge, or leaves where there is no room."""
    room = width - width_of(left) - width_of(right)
    return [*left, Cell(" " * room), *right] if room > 0 else left
