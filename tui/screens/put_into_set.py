"""Into which set a disk is to be put: a name of one's own, or one of those near."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from typing import TYPE_CHECKING, ClassVar

from rich.text import Text
from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option

from formats.errors import LoadglassError
from formats.visible import visible
from loadglass.shelf.corrections import Title, titles_near, words_near
from loadglass.shelf.rows import ShelfRow
from tui.screens.ask import LEAVE
from tui.session import Session
from tui.wording import count_text

if TYPE_CHECKING:
    from tui.app import LoadglassApp

SHOWN = 8


class PutIntoSet(ModalScreen["Title | str | None"]):
    """Give the title that was chosen, the name that was typed, or None."""

    app: LoadglassApp
    BINDINGS: ClassVar[list[BindingType]] = [
        LEAVE,
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
            yield Input(placeholder="its name, or words of its title")
            yield OptionList()
            yield Static(
                Text("enter takes the name as it stands, arrow down goes to those near it"),
                classes="hint",
            )

    def on_mount(self) -> None:
        self._look(words_near(self._row))

    def on_input_changed(self, event: Input.Changed) -> None:
        self._look(event.value.strip() or words_near(self._row))

    @work(exclusive=True)
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
        options.clear_options()
        options.add_options(
            Option(Text(_shown(title)), str(place)) for place, title in enumerate(self._near)
        )

    def action_to_list(self) -> None:
        options = self.query_one(OptionList)
        if self._near and not options.has_focus:
            options.highlighted = 0
            options.focus()

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        self.dismiss(self._near[int(event.option_id or 0)])

    def on_input_submitted(self, event: Input.Submitted) -> None:
        name = event.value.strip()
        alike = [title for title in self._near if title.name.casefold() == name.casefold()]
        if name:
            self.dismiss(alike[0] if len(alike) == 1 else name)

    def action_leave(self) -> None:
        self.dismiss(None)


def _shown(title: Title) -> str:
    what = f"set of {count_text(len(title.contents), 'disk')}" if title.is_set else "in no set yet"
    return f"{visible(title.name)}  ·  {what}  ·  {title.shown}"
