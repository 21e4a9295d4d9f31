"""Into which set a disk is to be put: a name of one's own, or one of those near."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from typing import TYPE_CHECKING, ClassVar

from rich.text import Text
from textual import on, work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.events import DescendantFocus
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option

from formats.errors import LoadglassError
from formats.visible import visible
from loadglass.shelf.choices import set_name_of
from loadglass.shelf.corrections import Title, titles_near, words_near
from loadglass.shelf.rows import ShelfRow
from tui.calls import WrongCall
from tui.screens.ask import Entry
from tui.session import Session
from tui.wording import count_text

if TYPE_CHECKING:
    from tui.app import LoadglassApp

SHOWN = 8
HINT = "enter takes the name as it stands, arrow down goes to those near it"
NO_NAME = "type a name for the set, or choose one of those near it"


class PutIntoSet(Entry["Title | str"]):
    """Give the title that was chosen, the name that was typed, or None."""

    app: LoadglassApp
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("down", "to_list", "Names", show=False, tooltip="To the names near"),
    ]

    def __init__(self, session: Session, row: ShelfRow):
        super().__init__()
        self._session = session
        self._row = row
        self._near: Sequence[Title] = ()

    def compose(self) -> ComposeResult:
        with Vertical(classes="box"):
            yield Static(
                Text(f"Put {self._row.shown_title} into which set?"),
                classes="title",
            )
            yield from self.field(hint=HINT, placeholder="its name, or words of its title")
            yield OptionList()

    def on_mount(self) -> None:
        self._look(words_near(self._row))

    def edited(self) -> None:
        super().edited()
        self._look(self.query_one(Input).value.strip() or words_near(self._row))

    @work(exclusive=True, group="look")
    async def _look(self, text: str) -> None:
        """List the titles in which these words are."""
        opened, loop = self._session.opened, asyncio.get_running_loop()
        try:
            near = await loop.run_in_executor(
                self.app.index_thread, titles_near, opened.index, opened.choices, opened.shelf, text
            )
        except LoadglassError:
            near = []
        self._near = [title for title in near if self._row.sha256 not in title.contents][:SHOWN]
        options = self.query_one(OptionList)
        options.display = bool(self._near)
        options.clear_options()
        options.add_options(
            Option(Text(_shown(title)), str(place)) for place, title in enumerate(self._near)
        )

    def action_to_list(self) -> None:
        self.query_one(OptionList).focus()

    @on(DescendantFocus, "OptionList")
    def _list_entered(self) -> None:
        options = self.query_one(OptionList)
        if options.highlighted is None:
            options.action_first()

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        self.dismiss(self._near[int(event.option_id or 0)])

    async def use(self, text: str) -> None:
        if not text:
            raise WrongCall(NO_NAME)
        name = set_name_of(text)
        alike = [title for title in self._near if title.name.casefold() == name.casefold()]
        self.dismiss(alike[0] if len(alike) == 1 else name)


def _shown(title: Title) -> str:
    what = f"set of {count_text(len(title.contents), 'disk')}" if title.is_set else "in no set yet"
    return f"{visible(title.name)}  ·  {what}  ·  {title.shown}"
