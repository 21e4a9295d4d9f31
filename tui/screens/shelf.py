"""Shelf: every image one row, filtered and sorted, with the one under the cursor at the side."""

from __future__ import annotations

import asyncio
import os
from collections.abc import Sequence
from typing import ClassVar

from textual import on, work
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal
from textual.timer import Timer

from formats.errors import LoadglassError
from formats.visible import visible
from loadglass.card.totals import Totals, totals_of
from loadglass.shelf.rows import ShelfRow
from loadglass.shelf.sets import set_of
from loadglass.timing.rig import Rig
from tui import keys
from tui.beside_words import set_text
from tui.messages import ImageChosen, ShelfChanged, SurveyAsked
from tui.screens.ask import AskText, ChooseOne
from tui.screens.choosing import Choosing
from tui.session import Session
from tui.settings import EVEN_DAMAGED, MENDED, Settings
from tui.widgets.filter_line import FilterLine
from tui.widgets.histogram import Histogram, Spread, spread_of
from tui.widgets.page_table import PageTable
from tui.widgets.pages import Query
from tui.widgets.picks_bars import PicksBars, uncounted_text
from tui.widgets.preview import Preview
from tui.widgets.shelf_columns import shelf_columns
from tui.wording import count_text

PREVIEW_FROM_CELLS = 110
"""The preview stands at the side where the screen has at least this width."""
REST_S = 0.06
"""The preview follows once the cursor has rested this long, so that it holds up no key."""

NOTHING_LEFT = "no image is left by this filter; escape takes it away"
INVITATION = """\
The shelf is empty.

u   survey a folder of disk images
w   look at the samples first"""


class ShelfScreen(Choosing):
    view = "shelf"
    BINDINGS: ClassVar[list[BindingType]] = [*keys.SHELF]

    def __init__(self, session: Session, settings: Settings):
        super().__init__()
        self.session = session
        self.settings = settings
        self._total = 0
        self._preview_timer: Timer | None = None
        self._preview_where_narrow = False
        self._sets: dict[int, str] = {}
        """By image the set it is in, as the line below the table says it; empty: in none."""

    def compose_view(self) -> ComposeResult:
        yield FilterLine(self.settings.filter, self.app.check_filter)
        with Horizontal(id="body"):
            yield PageTable(
                self.session.shelf, [], self.app.index_thread, foot=self._foot_of, id="table"
            )
            yield Preview()
        yield PicksBars()
        yield Histogram()

    @property
    def table(self) -> PageTable[ShelfRow]:
        return self.query_one("#table", PageTable)

    @property
    def filter_line(self) -> FilterLine:
        return self.query_one(FilterLine)

    @property
    def preview(self) -> Preview:
        return self.query_one(Preview)

    def on_mount(self) -> None:
        self.query_one(Histogram).display = False
        self._set_columns()
        if self._column_sorted_by(self.settings.sort) is None:
            self.settings.sort, self.settings.descending = "title", False
        self.table.focus()
        self._ask()
        self._count_all()
        self._sum_picks()

    def on_resize(self) -> None:
        self._show_preview()

    # Which rows

    def _ask(self, keep_row: bool = False) -> None:
        settings = self.settings
        query = Query(settings.filter, settings.sort, settings.descending)
        self.table.show(query, keep_row=keep_row)

    @work(exclusive=True, group="count")
    async def _count_all(self) -> None:
        self._total = await self._in_index_thread(self.session.shelf.count, "")
        self.table.nothing_here = NOTHING_LEFT if self._total else INVITATION
        self.table.refresh()
        self._say_counts()

    def _say_counts(self) -> None:
        shown = self.table.row_count
        self.where.about = f"{self.session.name}: {count_text(self._total, 'image')}"
        filtered = bool(self.table.query_shown.filter_text)
        self.filter_line.say_counts(f"{shown:,} of {self._total:,}" if filtered else "")

    @on(PageTable.Shown)
    def _rows_came(self) -> None:
        self._say_counts()
        self._draw_histogram()

    @on(PageTable.Refused)
    def _refused(self, message: PageTable.Refused) -> None:
        self.filter_line.say_trouble(str(message.error))

    @on(FilterLine.Changed)
    def _filter_changed(self, message: FilterLine.Changed) -> None:
        was_filtered = bool(self.settings.filter)
        self.settings.filter = message.text
        self._ask(keep_row=not message.text)
        if was_filtered != bool(message.text):
            self.refresh_bindings()  # there is something to go back from, or no longer

    @on(FilterLine.Left)
    def _filter_left(self) -> None:
        self.table.focus()

    @on(ShelfChanged)
    def _shelf_changed(self) -> None:
        self._sets.clear()
        self._highlighted()
        self.table.reload()
        self._count_all()
        self._sum_picks()

    def action_filter(self) -> None:
        self.filter_line.input.focus()

    def action_close(self) -> None:
        """Close the chart, then the preview that hides columns, then take the filter away."""
        if self.query_one(Histogram).display:
            self.action_histogram()
        elif self._preview_hides_columns:
            self.action_preview()
        else:
            self.filter_line.clear()

    @property
    def _preview_hides_columns(self) -> bool:
        return self._preview_where_narrow and not self._is_wide

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action != "close" or not self.is_mounted:
            return True
        is_open = self.query_one(Histogram).display or self._preview_hides_columns
        return is_open or bool(self.filter_line.text)

    # In which order, on which drive

    def _set_columns(self) -> None:
        if self.settings.rig not in self.session.rivals:
            self.settings.rig = self.session.rivals[0]
        self._rig = self.session.rigs[self.settings.rig]
        self.table.columns = shelf_columns(self._rig, self.app.plain_glyphs)

    def _column_sorted_by(self, sort: str) -> str | None:
        columns = self.table.columns
        return next((column.name for column in columns if column.sort == sort), None)

    @on(PageTable.SortAsked)
    def _sort_asked(self, message: PageTable.SortAsked) -> None:
        self.sort_by(message.sort)

    def sort_by(self, sort: str) -> None:
        """Sort by a column; asked for again, the other way round."""
        self.settings.descending = sort == self.settings.sort and not self.settings.descending
        self.settings.sort = sort
        self._ask()

    def action_sort(self) -> None:
        columns = [(c.sort, c.name) for c in self.table.columns if c.sort is not None]
        self.app.push_screen(
            ChooseOne("Sort by", columns, self.settings.sort),
            lambda sort: self.sort_by(sort) if sort is not None else None,
        )

    def action_turn(self) -> None:
        self.sort_by(self.settings.sort)

    def action_drive(self) -> None:
        rivals = self.session.rivals
        self.settings.rig = rivals[(rivals.index(self._rig.name) + 1) % len(rivals)]
        self.go_by_settings()

    def go_by_settings(self) -> None:
        before = self._rig
        self._set_columns()
        load, _, sorted_by = self.settings.sort.partition(":")
        stocks = f"stock-{before.drive}", f"stock-{self._rig.drive}"
        replacement = dict([(before.name, self._rig.name), stocks]).get(sorted_by)
        if replacement is not None:
            self.settings.sort = f"{load}:{replacement}"
            self._ask()
        self._draw_histogram()
        self._sum_picks()
        self._fill_preview()

    def take_rigs(self, rigs: Sequence[Rig]) -> None:
        super().take_rigs(rigs)
        self.preview.forget()
        self._fill_preview()

    # How the times are spread

    def action_histogram(self) -> None:
        histogram = self.query_one(Histogram)
        histogram.display = not histogram.display
        self.refresh_bindings()
        self._draw_histogram()

    @work(exclusive=True, group="histogram")
    async def _draw_histogram(self) -> None:
        histogram = self.query_one(Histogram)
        if histogram.display:
            filter_text = self.table.query_shown.filter_text
            histogram.show(await self._in_index_thread(self._spreads, filter_text))

    def _spreads(self, filter_text: str) -> list[Spread]:
        rig, shelf = self.settings.rig, self.session.shelf
        return [
            spread_of(name, shelf.numbers(filter_text, f"all:{name}"))
            for name in (self.session.stock_of(rig), rig)
        ]

    # What the picks cost in waiting

    @work(exclusive=True, group="picks")
    async def _sum_picks(self) -> None:
        try:
            totals = await self._in_index_thread(self._totals)
        except LoadglassError:  # whoever asks for rows says it
            return
        rig = self.settings.rig
        uncounted = uncounted_text(totals, self.settings.card_damaged == MENDED)
        self.query_one(PicksBars).show(totals, self.session.stock_of(rig), rig, uncounted)

    def _totals(self) -> Totals:
        session, settings = self.session, self.settings
        stock, rig = session.stock_of(settings.rig), session.rigs[settings.rig]
        even_damaged = settings.card_damaged in EVEN_DAMAGED
        return totals_of(session.shelf, stock, rig, even_damaged, settings.card_every_copy)

    # What is not to be seen

    def action_take_off(self) -> None:
        row, places, query = self.table.cursor_row, self.table.marked, self.table.query_shown
        if row is None:
            return
        if row.off:
            self._take_off(places, query, off=False)
            return

        def take(answer: str | None) -> None:
            if answer == "t":
                self._take_off(places, query)

        lines = [
            ("l", "l  leave it on the shelf"),
            ("t", "t  take it off, also after the next survey; no file is touched"),
        ]
        question = ChooseOne(f"Take {self._these(places)} off the shelf?", lines)
        self.app.push_screen(question, take)

    @work(group="choices")
    async def _take_off(self, places: range, query: Query, off: bool = True) -> None:
        shelf = self.session.shelf

        def change() -> int:
            order = (query.filter_text, query.sort, query.descending)
            rows = shelf.page(*order, places.start, len(places))
            shelf.take_off([row.id for row in rows], off)
            return len(rows)

        try:
            images = count_text(await self._in_index_thread(change), "image")
        except LoadglassError as error:
            self.app.warn(str(error))
            return
        self.table.action_unmark()
        self.app.shelf_changed()
        if off:
            says = f"{images} off the shelf: off:yes in the filter shows it, del puts it back"
        else:
            says = f"{images} back on the shelf"
        self.app.notify(says)

    # The image under the cursor

    @on(PageTable.Highlighted)
    def _highlighted(self) -> None:
        if self._preview_timer is not None:
            self._preview_timer.stop()
        self._preview_timer = self.set_timer(REST_S, self._rested)

    def _rested(self) -> None:
        self._fill_preview()
        row = self.table.cursor_row
        if row is not None and row.id not in self._sets:
            self._look_up_set(row.id)

    @work(exclusive=True, group="set")
    async def _look_up_set(self, image: int) -> None:
        opened, loop = self.session.opened, asyncio.get_running_loop()
        try:
            disks = await loop.run_in_executor(
                self.app.image_threads, set_of, opened.index, opened.choices, image
            )
        except LoadglassError:  # whoever asks for rows says it
            return
        self._sets[image] = f"set {set_text(disks)}  ·  " if disks is not None else ""
        self.table.refresh()

    def _foot_of(self, row: ShelfRow) -> str:
        return f"{self._sets.get(row.id, '')}{visible(row.path)}"

    def action_beside(self) -> None:
        if self.table.cursor_row is not None:
            self.app.show_beside(self.table.cursor_row.id)

    @on(PageTable.Chosen)
    def _chosen(self, message: PageTable.Chosen) -> None:
        self.post_message(ImageChosen(message.row))

    @property
    def _is_wide(self) -> bool:
        return self.size.width >= PREVIEW_FROM_CELLS

    def _show_preview(self) -> None:
        wanted = self.settings.preview if self._is_wide else self._preview_where_narrow
        self.preview.display = wanted
        self._fill_preview()

    def action_preview(self) -> None:
        if self._is_wide:
            self.settings.preview = not self.settings.preview
        else:
            self._preview_where_narrow = not self._preview_where_narrow
            self.refresh_bindings()
        self._show_preview()

    def _fill_preview(self) -> None:
        if self.preview.display:
            self.preview.follow(self.table.cursor_row)

    # Survey

    def action_survey(self) -> None:
        roots = self.session.opened.index.roots()
        before = f"; empty: again {', '.join(map(visible, roots))}" if roots else ""
        hint = f"images, gzip and zip below it are read, never written{before}"

        async def check(folder: str) -> None:
            if folder or not roots:
                await self.look_for(folder)

        def survey(folder: str | None) -> None:
            if folder is not None:
                paths = [os.path.expanduser(folder)] if folder else roots
                self.post_message(SurveyAsked(paths))

        self.app.push_screen(AskText("Survey which folder?", hint, check=check), survey)

    def refresh_appearance(self) -> None:
        super().refresh_appearance()
        self._set_columns()
        self.query_one(PicksBars).lay()
        self.preview.lay()
