"""Save a file of the image to the computer: where, under what name, and whether to overwrite."""

from __future__ import annotations

import asyncio
from functools import partial
from pathlib import Path
from typing import ClassVar

from rich.text import Text
from textual import on, work
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal, Vertical
from textual.screen import ModalScreen
from textual.widgets import Button, Input, Static

from formats.errors import LoadglassError
from formats.visible import visible
from loadglass.opened import Opened
from loadglass.saving import AlreadyThere, safe_name, save_file, target_of
from tui.screens.ask import LEAVE
from tui.wording import count_text


class SaveFile(ModalScreen[str | None]):
    """Give the sentence that says what was saved, or None."""

    BINDINGS: ClassVar[list[BindingType]] = [LEAVE]

    def __init__(self, opened: Opened, slot: int, title: str):
        """title: the file's name as it is shown on the view."""
        super().__init__()
        self._opened = opened
        self._slot = slot
        self._title = title
        self._suggested = safe_name(opened.audit.by_slot[slot].entry)
        self._overwrite = False

    def compose(self) -> ComposeResult:
        with Vertical(classes="box"):
            yield Static(Text(f"Save {self._title} to the computer"), classes="title")
            yield Input(self._suggested, select_on_focus=False)
            yield Static(
                Text(f"A file name, or a path. Without one it goes to {visible(str(Path.cwd()))}."),
                classes="hint",
            )
            yield Static(id="trouble", markup=False)
            with Horizontal(classes="buttons"):
                yield Button("Save (enter)", id="save", compact=True)
                yield Button("Cancel (esc)", id="cancel", compact=True)

    def on_mount(self) -> None:
        self.query_one("#trouble").display = False

    @on(Input.Changed)
    def _typed(self) -> None:
        self._ask_to_overwrite(False)

    @on(Input.Submitted)
    def _entered(self) -> None:
        if not self._overwrite:  # overwriting needs the button
            self._save()

    @on(Button.Pressed, "#save")
    def _pressed(self) -> None:
        self._save()

    @on(Button.Pressed, "#cancel")
    def action_leave(self) -> None:
        self.dismiss(None)

    def _save(self) -> None:
        self._save_in_thread(self.query_one(Input).value)

    @work(exclusive=True)
    async def _save_in_thread(self, text: str) -> None:
        try:
            target = target_of(text, self._suggested)
            save = partial(save_file, self._opened, self._slot, target, overwrite=self._overwrite)
            count = await asyncio.to_thread(save)
        except AlreadyThere as error:
            self._ask_to_overwrite(True, f"{error}. Overwrite it?")
        except LoadglassError as error:
            self._ask_to_overwrite(False, f"{error}.")
        else:
            self.dismiss(f"saved {count_text(count, 'byte')} to {visible(str(target))}")

    def _ask_to_overwrite(self, asked: bool, says: str = "") -> None:
        self._overwrite = asked
        save, cancel = self.query_one("#save", Button), self.query_one("#cancel", Button)
        save.label = "Overwrite" if asked else "Save (enter)"
        trouble = self.query_one("#trouble", Static)
        trouble.update(Text(says))
        trouble.display = bool(says)
        if asked:
            cancel.focus()
