"""A table of any length that holds only what it shows.

Rows come a page at a time from a PageSource, in a thread that is not the screen's. While a
page is on its way its rows are dots; while a whole new query is, the old rows stay. Texts are
drawn as they are and never read as markup; the rows' makers see to it that they are harmless
for a terminal.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import partial
from typing import Any, ClassVar, Generic, TypeVar

from rich.segment import Segment
from rich.style import Style
from textual import events, work
from textual.binding import Binding, BindingType
from textual.geometry import Region, Size
from textual.message import Message
from textual.reactive import reactive
from textual.scroll_view import ScrollView
from textual.strip import Strip

from formats.errors import LoadglassError
from tui.widgets.columns import GAP_CELLS, Column, Placed, fit, place_columns
from tui.widgets.pages import Pages, PageSource, Query, Row, read_page
from tui.widgets.table_lines import GUTTER, group_line, label_line, row_line

RowT = TypeVar("RowT", bound=Row)
AnswerT = TypeVar("AnswerT")

STRIPS_KEPT = 500
"""Drawn lines; those on screen are many times fewer."""
StripKey = tuple[int, str]
"""The id() of a line's row, and how the row stands."""
LOW_CELLS = 10
"""Below this height the table spares the line of column groups."""


class PageTable(ScrollView, Generic[RowT], can_focus=True, inherit_bindings=False):
    """Rows with a cursor, sorted and filtered by their source."""

    ALLOW_SELECT = False
    COMPONENT_CLASSES: ClassVar[set[str]] = {
        "page-table--header",
        "page-table--sorted",
        "page-table--group",
        "page-table--foot",
        "page-table--row",
        "page-table--cursor",
        "page-table--marked",
        "page-table--muted",
        "page-table--good",
        "page-table--odd",
        "page-table--bad",
        "page-table--mark",
    }
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up", "move(-1)", "Up", show=False, tooltip="One row up"),
        Binding("down", "move(1)", "Down", show=False, tooltip="One row down"),
        Binding("pageup", "move_page(-1)", "Page up", show=False, tooltip="One page up"),
        Binding("pagedown", "move_page(1)", "Page down", show=False, tooltip="One page down"),
        Binding("home", "move_end(False)", "First", show=False, tooltip="To the first row"),
        Binding("end", "move_end(True)", "Last", show=False, tooltip="To the last row"),
        Binding("shift+up", "move(-1, True)", "Mark up", show=False, tooltip="Mark a range upward"),
        Binding(
            "shift+down", "move(1, True)", "Mark down", show=False, tooltip="Mark a range downward"
        ),
        Binding("b", "mark", "Begin", show=False, tooltip="Begin to mark a range here, or end"),
        Binding("escape", "unmark", "Unmark", show=False, tooltip="Mark nothing any more"),
        Binding("enter", "choose", "Open", tooltip="Open what the cursor is on"),
    ]

    cursor: reactive[int] = reactive(0, repaint=False)
    """Place of the row that the keys act on."""
    mark_from: reactive[int | None] = reactive(None, repaint=False)
    """Where a marked range begins; it ends at the cursor. None: nothing is marked."""

    @dataclass
    class Highlighted(Message):
        """The cursor stands on another row, or that row has changed; None: there is none."""

        table: PageTable[Any]
        row: Any

        @property
        def control(self) -> PageTable[Any]:
            return self.table

    @dataclass
    class Chosen(Message):
        """Enter or a double click on a row."""

        table: PageTable[Any]
        row: Any

        @property
        def control(self) -> PageTable[Any]:
            return self.table

    @dataclass
    class SortAsked(Message):
        """A click on the head of a column that rows can be sorted by."""

        sort: str

    @dataclass
    class Shown(Message):
        """A query's rows have come."""

        query: Query
        count: int

    @dataclass
    class Refused(Message):
        """The source could not answer; the rows before stay."""

        query: Query
        error: LoadglassError

    def __init__(
        self,
        source: PageSource[RowT],
        columns: Sequence[Column[RowT]],
        thread: Executor,
        *,
        foot: Callable[[RowT], str] | None = None,
        id: str | None = None,
    ):
        """thread: runs one call at a time; every question to the source is asked in it.

        foot: what the last line says of the row under the cursor; drawn as it is.
        """
        super().__init__(id=id)
        self.source = source
        self.nothing_here = "nothing to show"
        """Said in place of rows where there are none, line by line."""
        self._columns = tuple(columns)
        self._thread = thread
        self._foot = foot
        self._pages: Pages[RowT] = Pages(Query(), 0)
        self._asked: set[int] = set()
        self._line_width = 0
        """Cells of a line, without the scrollbar; asking the toolkit for it is slow."""
        self._placed_for: object = None
        self._last_placed: list[Placed[RowT]] = []
        self._strips: dict[StripKey, tuple[RowT | None, Strip]] = {}
        self._strips_for: object = None
        self._head_end = self._foot_start = self._top = 0
        self._marked = range(0)
        self._told: RowT | None = None
        self._asking = False
        self._reload_wanted = False

    # What it shows

    @property
    def query_shown(self) -> Query:
        """The query whose rows are on screen."""
        return self._pages.query

    @property
    def row_count(self) -> int:
        return self._pages.count

    @property
    def cursor_row(self) -> RowT | None:
        """The row under the cursor; None where there is none, or it is still on its way."""
        return self._pages.row(self.cursor)

    @property
    def marked(self) -> range:
        """Places of the marked rows; without a mark that of the cursor's row."""
        ends = (self.cursor, self.cursor if self.mark_from is None else self.mark_from)
        return range(min(ends), min(max(ends) + 1, self.row_count))

    @property
    def _placed(self) -> list[Placed[RowT]]:
        """The columns that there is room for; a scrollbar may come or go at any time."""
        width, sort = self._line_width - GUTTER, self._pages.query.sort
        if self._placed_for != (width, sort, self._columns):
            self._last_placed = place_columns(self._columns, width, sort or None)
            self._placed_for = (width, sort, self._columns)
        return self._last_placed

    @property
    def head_lines(self) -> int:
        groups = any(placed.column.group for placed in self._placed)
        return 2 if groups and self.size.height >= LOW_CELLS else 1

    @property
    def foot_lines(self) -> int:
        return 1 if self._foot is not None and self.size.height > self.head_lines + 1 else 0

    @property
    def columns(self) -> Sequence[Column[RowT]]:
        return self._columns

    @columns.setter
    def columns(self, columns: Sequence[Column[RowT]]) -> None:
        self._columns = tuple(columns)
        self._resize_virtual()
        self.refresh()

    def show(self, query: Query, *, keep_row: bool = False) -> None:
        """Ask for a query's rows; the cursor goes to the first of them, or keeps its row."""
        self._ask(query, 0, self.cursor_row if keep_row else None)

    def reload(self) -> None:
        """Ask for the same rows again, because the source has changed.

        The cursor stays on its row, or where it is if that row has gone. Asked for while an
        answer is still on its way, it waits for that one.
        """
        if self._asking:
            self._reload_wanted = True
        else:
            self._ask(self._pages.query, self.cursor, self.cursor_row)

    def change_rows(self, change: Callable[[RowT], RowT]) -> None:
        """Change the rows on screen at once, ahead of what the source will say."""
        self._pages.change(change)
        self.refresh()
        self._tell()

    # Asking the source

    @work(exclusive=True, group="query")
    async def _ask(self, query: Query, at: int, row: RowT | None) -> None:
        """Show a query's rows with the cursor on a row, if it is among them, or at a place."""
        self._asking = True
        self._reload_wanted = False
        try:
            pages, at = await self._in_thread(self._answer, query, at, row)
        except LoadglassError as error:
            self._asking = False
            self.post_message(self.Refused(query, error))
            return
        self._asking = False
        self._take(pages, at)
        if self._reload_wanted:
            self.reload()

    def _take(self, pages: Pages[RowT], at: int) -> None:
        """Show these pages with the cursor at a place."""
        above_cursor = self.cursor - self.scroll_offset.y
        if pages.query != self._pages.query:
            self.mark_from = None
        self._pages = pages
        self._asked.clear()
        self._resize_virtual()
        self.scroll_to(y=at - above_cursor, animate=False)
        self.cursor = at
        self._show_cursor()
        self.refresh()
        self.post_message(self.Shown(pages.query, pages.count))
        self._tell()
        self._want_near()

    def _answer(self, query: Query, at: int, row: RowT | None) -> tuple[Pages[RowT], int]:
        pages: Pages[RowT] = Pages(query, self.source.count(query.filter_text))
        if row is not None:
            place = self.source.place_of(row.id, query.filter_text, query.sort, query.descending)
            at = at if place is None else place
        height = max(self.size.height, 1)
        at = min(at, max(pages.count - 1, 0))
        for number in pages.missing(at - height, at + height):
            pages.put(number, read_page(self.source, query, number))
        return pages, at

    def _near(self) -> tuple[int, int]:
        """First and last place on screen, and a screenful around them."""
        height = max(self.size.height, 1)
        return self.scroll_offset.y - height, self.scroll_offset.y + 2 * height

    def _want_near(self) -> None:
        for number in self._pages.missing(*self._near()):
            if number not in self._asked:
                self._asked.add(number)
                self._fetch(self._pages, number)

    @work(group="pages")
    async def _fetch(self, pages: Pages[RowT], number: int) -> None:
        try:
            rows = await self._in_thread(self._read_if_near, pages, number)
        except LoadglassError as error:
            self.post_message(self.Refused(pages.query, error))
            return
        if pages is not self._pages:
            return
        self._asked.discard(number)
        if rows is not None:
            pages.put(number, rows)
            self.refresh()
            self._tell()

    def _read_if_near(self, pages: Pages[RowT], number: int) -> Sequence[RowT] | None:
        """The page, unless the screen has moved on since it was asked for."""
        near = pages is self._pages and number in pages.numbers(*self._near())
        return read_page(self.source, pages.query, number) if near else None

    async def _in_thread(self, function: Callable[..., AnswerT], *arguments: object) -> AnswerT:
        loop = asyncio.get_running_loop()
        return await loop.run_in_executor(self._thread, function, *arguments)

    def _tell(self) -> None:
        """Say which row the cursor is on, if that has changed."""
        row = self.cursor_row
        if row != self._told:
            self._told = row
            self._refresh_line(self.size.height - 1)
            self.post_message(self.Highlighted(self, row))

    # Moving

    def watch_cursor(self, before: int, now: int) -> None:
        if self.mark_from is None:
            self._refresh_row(before)
            self._refresh_row(now)
            self._refresh_line(self.size.height - 1)
        else:
            self.refresh()
        self._show_cursor()
        self._tell()

    def watch_mark_from(self) -> None:
        self.refresh()
        self.refresh_bindings()

    def watch_scroll_y(self, old_value: float, new_value: float) -> None:
        super().watch_scroll_y(old_value, new_value)
        self._want_near()

    def action_move(self, rows: int, marking: bool = False) -> None:
        if marking and self.mark_from is None:
            self.mark_from = self.cursor
        self.cursor = self._within(self.cursor + rows)

    def action_move_page(self, pages: int) -> None:
        self.cursor = self._within(self.cursor + pages * max(self._body_lines - 1, 1))

    def action_move_end(self, last: bool) -> None:
        self.cursor = self._within(self.row_count if last else 0)

    def action_mark(self) -> None:
        self.mark_from = self.cursor if self.mark_from is None else None

    def action_unmark(self) -> None:
        self.mark_from = None

    def action_choose(self) -> None:
        row = self.cursor_row
        if row is not None:
            self.post_message(self.Chosen(self, row))

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        return self.mark_from is not None if action == "unmark" else True

    def on_click(self, event: events.Click) -> None:
        if event.y < self.head_lines:
            placed = self._column_at(event.x)
            if placed is not None and placed.column.sort is not None:
                self.post_message(self.SortAsked(placed.column.sort))
            return
        index = event.y - self.head_lines + self.scroll_offset.y
        if index >= self.row_count or event.y >= self.size.height - self.foot_lines:
            return
        if event.shift and self.mark_from is None:
            self.mark_from = self.cursor
        self.cursor = index
        if event.chain == 2:
            self.action_choose()

    def _within(self, index: int) -> int:
        return max(min(index, self.row_count - 1), 0)

    def _column_at(self, x: int) -> Placed[RowT] | None:
        x -= GUTTER
        return next((p for p in self._placed if p.at <= x < p.at + p.width + GAP_CELLS), None)

    @property
    def _body_lines(self) -> int:
        return max(self.size.height - self.head_lines - self.foot_lines, 1)

    def _show_cursor(self) -> None:
        top = self.scroll_offset.y
        if self.cursor < top:
            self.scroll_to(y=self.cursor, animate=False)
        elif self.cursor >= top + self._body_lines:
            self.scroll_to(y=self.cursor - self._body_lines + 1, animate=False)

    # Drawing

    def on_resize(self) -> None:
        self._resize_virtual()
        self._show_cursor()
        self._want_near()

    def _resize_virtual(self) -> None:
        self._line_width = self.scrollable_size.width
        lines = self.row_count + self.head_lines + self.foot_lines
        size = Size(self._line_width, lines)
        if size == self.virtual_size:
            return
        # Set plainly it would lay out the whole screen, when only the scrollbar has to know.
        self.set_reactive(PageTable.virtual_size, size)
        self._scroll_update(size)

    def _refresh_row(self, index: int) -> None:
        self._refresh_line(index - self.scroll_offset.y + self.head_lines)

    def _refresh_line(self, y: int) -> None:
        self.refresh(Region(0, y, self._line_width, 1))

    def render_lines(self, crop: Region) -> list[Strip]:
        """Lines as they are drawn; the toolkit's own way only where it has to add a border.

        Lines that look the same are the same Strip, which keeps what the compositor makes of it.
        """
        self._line_width = self.scrollable_size.width
        self._forget_old_strips()
        self._lay_lines()
        if self.styles.gutter or self.opacity != 1:
            return super().render_lines(crop)
        strips = [self.render_line(y) for y in crop.line_range]
        _, background = self.background_colors
        for line_filter in self.get_line_filters():
            strips = [strip.apply_filter(line_filter, background) for strip in strips]
        return [strip.crop(*crop.column_span) for strip in strips]

    def _lay_lines(self) -> None:
        """Where the lines stand: asked of the toolkit once a paint, for it is slow to say."""
        self._head_end = self.head_lines
        self._foot_start = self.size.height - self.foot_lines
        self._top = self.scroll_offset.y
        self._marked = self.marked if self.mark_from is not None else range(0)

    def render_line(self, y: int) -> Strip:
        line = y - self._head_end
        index = line + self._top
        if y >= self._foot_start:
            return self._foot_strip()
        if line < 0:
            return self._head_strip(is_groups=y < self._head_end - 1)
        return self._row_strip(index) if index < self.row_count else self._nothing_strip(line)

    def _strip(self, segments: Iterable[Segment], style: Style) -> Strip:
        """A line as wide as the table; what is behind the scrollbar too."""
        return Strip(segments).adjust_cell_length(self.size.width, style)

    def _forget_old_strips(self) -> None:
        looks = (self._placed, self._line_width, self.size.width, self.has_focus)
        if self._strips_for != looks:
            self._strips.clear()
            self._strips_for = looks

    def _kept(self, key: StripKey, row: RowT | None, draw: Callable[[], Strip]) -> Strip:
        """A line that is drawn once for as long as it looks the same.

        row: that which the key has the id() of; another may come to have the same.
        """
        known = self._strips.get(key)
        if known is None or known[0] is not row:
            if len(self._strips) > STRIPS_KEPT:
                self._strips.clear()
            known = self._strips[key] = (row, draw())
        return known[1]

    def _head_strip(self, is_groups: bool) -> Strip:
        if is_groups:
            return self._kept((0, "group"), None, self._draw_groups)
        query = self._pages.query
        turned = f"{query.sort} {'down' if query.descending else 'up'}"
        return self._kept((0, turned), None, self._draw_labels)

    def _draw_groups(self) -> Strip:
        style = self._style("group")
        return self._strip(group_line(self._placed, self._line_width, style), style)

    def _draw_labels(self) -> Strip:
        query, plain, sorted_by = self._pages.query, self._style("header"), self._style("sorted")
        labels = label_line(self._placed, query.sort, query.descending, plain, sorted_by)
        return self._strip(labels, plain)

    def _foot_strip(self) -> Strip:
        row, style = self.cursor_row, self._style("foot")
        text = self._foot(row) if row is not None and self._foot is not None else ""
        return self._strip([Segment(fit(" " * GUTTER + text, self._line_width), style)], style)

    def _nothing_strip(self, line: int) -> Strip:
        says = [] if self.row_count else self.nothing_here.splitlines()
        text = says[line - 1] if 1 <= line <= len(says) else ""
        return self._strip([Segment(" " * GUTTER + text, self._style("muted"))], self._style("row"))

    def _row_strip(self, index: int) -> Strip:
        row = self._pages.row(index)
        state = "cursor" if index == self.cursor else "marked" if index in self._marked else "row"
        return self._kept((id(row), state), row, partial(self._draw_row, row, state))

    def _draw_row(self, row: RowT | None, state: str) -> Strip:
        base = self._style(state)
        colour = self._colour if state == "row" else None
        line = row_line(row, self._placed, base, colour, is_cursor=state == "cursor")
        return self._strip(line, base)

    def _style(self, name: str) -> Style:
        return self.get_component_rich_style(f"page-table--{name}")

    def _colour(self, meaning: str) -> Style:
        """What a meaning adds to the style of its row."""
        return self.get_component_rich_style(f"page-table--{meaning}", partial=True)

    def notify_style_update(self) -> None:
        super().notify_style_update()
        self._strips.clear()
