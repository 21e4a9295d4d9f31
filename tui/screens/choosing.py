"""What the user makes of the images on the shelf: picks, ratings, tags."""

from __future__ import annotations

import asyncio
import os
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import TypeVar

from textual import work

from formats.errors import LoadglassError
from formats.visible import visible
from loadglass.progress import Job, Stopped
from loadglass.shelf.choices import RATINGS, tag_name
from loadglass.shelf.rows import ShelfRow
from loadglass.shelf.twins import image_twins
from loadglass.timing.rig import Rig
from tui.screens.ask import AskText, ChooseOne
from tui.screens.view import View
from tui.session import Session
from tui.widgets.page_table import PageTable
from tui.widgets.pages import Query
from tui.wording import count_text, counted_text

CONTENTS_AT_ONCE = 500
"""So many are written in one transaction; between them the work can be stopped."""

AnswerT = TypeVar("AnswerT")

Contents = Sequence[str]
"""SHA-256 of images."""


class Choosing(View):
    """Adds to a view with a table of images the keys that act on the marked ones."""

    session: Session

    @property
    def table(self) -> PageTable[ShelfRow]:
        raise NotImplementedError

    @property
    def row_at_hand(self) -> ShelfRow | None:
        return self.table.cursor_row

    def take_rigs(self, rigs: Sequence[Rig]) -> None:
        self.session = self.app.session

    # Picks

    def action_pick(self) -> None:
        places = self.table.marked
        self._pick(places, self.table.query_shown)
        if self.table.mark_from is None:
            self.table.action_move(1)
        self.table.action_unmark()

    @work(group="choices")
    async def action_pick_all(self) -> None:
        """Picking all is one key; taking all of them back is asked."""
        rows = await self._rows(range(self.table.row_count), self.table.query_shown)
        if not rows or not all(row.picked for row in rows):
            await self._set_picked(rows, True)
            return

        def take_back(answer: str | None) -> None:
            if answer == "t":
                self._take_back(rows)

        lines = [
            ("l", "l  leave them picked"),
            ("t", "t  take them back; what the filter does not show stays picked"),
        ]
        images = len({row.sha256 for row in rows})
        count = counted_text(images, "image", len(rows) - images)
        question = f"Take back all that is shown: {count}?"
        self.app.push_screen(ChooseOne(question, lines), take_back)

    @work(group="choices")
    async def _take_back(self, rows: Sequence[ShelfRow]) -> None:
        await self._set_picked(rows, False)

    @work(group="choices")
    async def _pick(self, places: range, query: Query) -> None:
        rows = await self._rows(places, query)
        picked = not all(row.picked for row in rows)
        await self._set_picked(rows, picked)
        if len(rows) == 1:
            await self._say_copies(rows[0], picked)

    async def _say_copies(self, row: ShelfRow, picked: bool) -> None:
        """Picks go by content: what has become of others with this one, maybe out of sight."""
        try:
            index = self.session.opened.index
            copies = await self._in_index_thread(image_twins, index, row.id)
        except LoadglassError as error:
            self.app.warn(str(error))
            return
        if copies:
            which = f"copy {visible(os.path.basename(copies[0].path))}"
            which = which if len(copies) == 1 else f"{len(copies):,} copies"
            done = "picked" if picked else "taken back"
            self.app.notify(f"{row.shown_title} {done}, with its {which}")

    async def _set_picked(self, rows: Sequence[ShelfRow], picked: bool) -> None:
        if not rows:
            return
        await self._change(
            rows,
            "picking" if picked else "taking back",
            partial(self.session.opened.choices.pick, picked=picked),
            lambda row: replace(row, picked=picked),
        )

    # Ratings

    def action_rate(self) -> None:
        row = self.table.cursor_row
        if row is None:
            return
        lines = [("0", "0  no rating"), *((str(n), f"{n}  {'*' * n}") for n in RATINGS)]
        places, query = self.table.marked, self.table.query_shown

        def rate(rating: str | None) -> None:
            if rating is not None:
                self._rate(places, query, int(rating) or None)

        question = ChooseOne(f"Rate {self._these(places)}", lines, str(row.rating or 0))
        self.app.push_screen(question, rate)

    @work(group="choices")
    async def _rate(self, places: range, query: Query, rating: int | None) -> None:
        await self._change(
            await self._rows(places, query),
            "rating",
            lambda contents: self.session.opened.choices.rate(contents, rating),
            lambda row: replace(row, rating=rating),
        )

    # Tags

    def action_tag(self) -> None:
        if self.table.cursor_row is None:
            return
        places, query = self.table.marked, self.table.query_shown
        known = " ".join(self.session.opened.choices.tags()) or "none yet"
        hint = f"words to tag with, -word to take one away\nyour tags: {known}"

        def tag(text: str | None) -> None:
            if text:
                self._tag(places, query, text)

        question = AskText(f"Tag {self._these(places)}", hint, check=_wanted_tags)
        self.app.push_screen(question, tag)

    @work(group="choices")
    async def _tag(self, places: range, query: Query, text: str) -> None:
        choices, wanted = self.session.opened.choices, _wanted_tags(text)
        added = {tag for tag, is_wanted in wanted.items() if is_wanted}
        removed = wanted.keys() - added

        def change(contents: Contents) -> None:
            for tag, is_wanted in wanted.items():
                choices.tag(contents, tag, is_wanted)

        def shown(row: ShelfRow) -> ShelfRow:
            return replace(row, tags=tuple(sorted({*row.tags, *added} - removed)))

        await self._change(await self._rows(places, query), "tagging", change, shown)

    # What they have in common

    def _these(self, places: range) -> str:
        row = self.table.cursor_row
        if len(places) == 1 and row is not None:
            return row.shown_title
        return count_text(len(places), "image")

    async def _rows(self, places: range, query: Query) -> list[ShelfRow]:
        order = (query.filter_text, query.sort, query.descending)
        try:
            rows = await self._in_index_thread(
                self.session.shelf.page, *order, places.start, len(places)
            )
        except LoadglassError as error:
            self.app.warn(str(error))
            return []
        known = [row for row in rows if row.sha256]
        if len(known) < len(rows):
            unread = count_text(len(rows) - len(known), "image")
            self.app.warn(f"{unread} that cannot be read: nothing to pick, rate or tag there")
        return known

    async def _change(
        self,
        rows: Sequence[ShelfRow],
        what: str,
        change: Callable[[Contents], None],
        shown: Callable[[ShelfRow], ShelfRow],
    ) -> None:
        """Keep a change of the user's choices; it shows at once."""
        contents = {row.sha256 for row in rows}
        self.table.change_rows(lambda row: shown(row) if row.sha256 in contents else row)
        with self.app.works.going_on(f"{what} {count_text(len(contents), 'image')}") as work:
            try:
                await self._in_index_thread(_in_parts, sorted(contents), change, work.job)
            except LoadglassError as error:
                self.app.warn(str(error))
            except Stopped:
                pass
        self.app.shelf_changed()

    async def _in_index_thread(
        self, function: Callable[..., AnswerT], *arguments: object
    ) -> AnswerT:
        loop = asyncio.get_running_loop()
        return await loop.run_in_executor(self.app.index_thread, function, *arguments)


def _wanted_tags(text: str) -> dict[str, bool]:
    """Tags that are to be added, and those to be taken away. Raises BadChoice."""
    return {tag_name(word.lstrip("-")): word[0] != "-" for word in text.split()}


def _in_parts(contents: Contents, change: Callable[[Contents], None], job: Job) -> None:
    for first in range(0, len(contents), CONTENTS_AT_ONCE):
        job.step(first, len(contents))
        change(contents[first : first + CONTENTS_AT_ONCE])
