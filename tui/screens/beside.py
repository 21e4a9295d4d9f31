"""Twins and set of an image: what stands beside it on the shelf, and correcting its set."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from functools import partial
from typing import ClassVar, TypeVar

from rich.text import Text
from textual import on, work
from textual.app import ComposeResult, CSSPathType
from textual.binding import BindingType
from textual.widgets import Static

from formats.errors import LoadglassError
from formats.visible import visible
from loadglass.shelf.beside import Beside, beside
from loadglass.shelf.corrections import (
    Correction,
    Title,
    go_by_names,
    put_into,
    take_out,
    title_called,
    undo,
)
from loadglass.shelf.rows import ShelfRow
from tui import keys
from tui.beside_words import undone_text
from tui.messages import ShelfChanged
from tui.screens.put_into_set import PutIntoSet
from tui.screens.view import View
from tui.session import Session
from tui.widgets.beside_list import BesideList
from tui.widgets.columns import shortened
from tui.widgets.lettering import Lettering
from tui.widgets.row_list import RowList

WORD_CELLS = 16
GONE = "This image is not on the shelf any more."
ChangedT = TypeVar("ChangedT")
ON_SET = frozenset({"take_out", "put_into", "go_by_names"})
"""Actions on a disk of the set, or on the image where it is in none."""


class BesideScreen(View):
    view = "beside"
    CSS_PATH: ClassVar[CSSPathType | None] = "../styles/beside.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [*keys.TWINS]

    def __init__(self, session: Session, image: int):
        """image: its id on the session's shelf."""
        super().__init__()
        self.session = session
        self.image = image
        self.found: Beside | None = None
        self._looking = False
        self._stale = False

    def compose_view(self) -> ComposeResult:
        wanted = self.app.settings.rig
        rig = wanted if wanted in self.session.rigs else self.session.rivals[0]
        shown = self.session.rigs[rig]
        word = shown.loader if rig == shown.like else shortened(rig, WORD_CELLS)
        yield BesideList(rig, word, id="beside")
        yield Static(id="about-item", markup=False)

    @property
    def list(self) -> BesideList:
        return self.query_one(BesideList)

    @property
    def row_at_hand(self) -> ShelfRow | None:
        item = self.list.item
        return item.row if item is not None else None

    def on_mount(self) -> None:
        self.where.about = "twins and set"
        self.list.focus()
        self.look()

    def refresh_appearance(self) -> None:
        self._show()
        super().refresh_appearance()

    # What stands beside the image

    def show_image(self, image: int) -> None:
        """Show another image's twins and set in place of these."""
        self.image = image
        self.found = None
        self.list.items = []
        self.look()

    @on(ShelfChanged)
    def look(self) -> None:
        """Look for it, once more if something has changed meanwhile."""
        self._stale = True
        if not self._looking:
            self._looking = True
            self._look()

    @work(group="beside")
    async def _look(self) -> None:
        """Look in a thread of its own: images may have to be opened."""
        opened = self.session.opened
        stop = partial(self.workers.cancel_group, self, "beside")
        try:
            while self._stale:
                self._stale = False
                with self.app.works.going_on("looking for twins", stop):
                    self.found = await self.in_image_thread(
                        beside, opened.index, opened.choices, opened.shelf, self.image
                    )
                self._show()
        except LoadglassError as error:
            self.app.warn(str(error))
        finally:
            self._looking = False

    def _show(self) -> None:
        if self.found is None:
            self.query_one("#about-item", Static).update(GONE if not self._looking else "")
            return
        image = self.found.image
        plain = self.app.plain_glyphs
        self.list.lettering = Lettering(plain=plain)
        title = self.list.lettering.sentence(image.shown_title)
        self.where.about = f"twins and set of {title}"
        item = self.list.item
        self.list.show(self.found, item.place if item is not None else None)
        self._tell()

    @on(RowList.Highlighted)
    def _tell(self) -> None:
        """The path of what is under the cursor, and what there is to say of it."""
        item = self.list.item
        says = "" if item is None else f"{visible(item.row.path)}\n{item.says}"
        says = self.list.lettering.sentence(says)
        self.query_one("#about-item", Static).update(Text(says))
        self.refresh_bindings()

    @on(RowList.Chosen)
    def _chosen(self) -> None:
        item = self.list.item
        if item is not None:
            self.app.open_image(item.row, "disk", item.slot)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        item = self.list.item if self.is_mounted else None
        if action == "undo":
            return bool(self.session.opened.corrections)
        if action == "pick":
            return item is not None and bool(item.row.sha256)
        if action not in ON_SET:
            return True
        if item is None or self.found is None or not item.of_set or not item.row.sha256:
            return False
        said = self.found.said.get(item.row.id)
        if action == "take_out":
            return self.found.disk_set is not None or bool(said)
        return said is not None or action != "go_by_names"

    # Picks

    def action_pick(self) -> None:
        item = self.list.item
        if item is not None:
            self._pick(item.row)
            self.list.action_move(1)

    @work(group="choices")
    async def _pick(self, row: ShelfRow) -> None:
        choices = self.session.opened.choices
        await self._change(partial(choices.pick, [row.sha256], picked=not row.picked))

    # Corrections

    def action_take_out(self) -> None:
        item = self.list.item
        if item is not None:
            self._correct(partial(take_out, self.session.opened.choices, [item.row.sha256]))

    def action_go_by_names(self) -> None:
        item = self.list.item
        if item is not None:
            self._correct(partial(go_by_names, self.session.opened.choices, [item.row.sha256]))

    def action_put_into(self) -> None:
        item = self.list.item
        if item is None:
            return
        row, opened = item.row, self.session.opened

        def put(answer: Title | str | None) -> None:
            if answer is None:
                return

            def correct() -> Correction:
                title = answer
                if isinstance(title, str):
                    title = title_called(opened.index, opened.choices, title, [row])
                return put_into(opened.choices, [row.sha256], title)

            self._correct(correct)

        self.app.push_screen(PutIntoSet(self.session, row), put)

    def action_undo(self) -> None:
        opened = self.session.opened
        if opened.corrections:
            self._undo(opened.corrections.pop())

    @work(group="choices")
    async def _correct(self, correct: Callable[[], Correction]) -> None:
        correction = await self._change(correct)
        if correction is not None:
            self.session.opened.corrections.append(correction)
            self.refresh_bindings()

    @work(group="choices")
    async def _undo(self, correction: Correction) -> None:
        choices = self.session.opened.choices

        def back() -> str:
            undo(choices, correction)
            return undone_text(correction)

        says = await self._change(back)
        if says is not None:
            self.notify(says)

    async def _change(self, change: Callable[[], ChangedT]) -> ChangedT | None:
        """Keep a change of the user's choices; every view asks again."""
        loop = asyncio.get_running_loop()
        try:
            return await loop.run_in_executor(self.app.index_thread, change)
        except LoadglassError as error:
            self.app.warn(str(error))
            return None
        finally:
            self.app.shelf_changed()
