"""A question whose answer is written under the name that is typed."""

from __future__ import annotations

from typing import ClassVar

from textual import on
from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.widgets import Button

from formats.errors import LoadglassError
from loadglass.saving import AlreadyThere
from tui.screens.ask import AnswerT, Entry


class Writing(Entry[AnswerT]):
    """What is there already is written over only if the person says so, with the button."""

    word: ClassVar[str]
    """What it does, on its button."""
    overwrite = False
    """Whether the person has been asked to overwrite: then the button does."""

    def buttons(self, *more: Button) -> ComposeResult:
        with Horizontal(classes="buttons"):
            yield Button(f"{self.word} (enter)", id="write", compact=True)
            yield from more
            yield Button("Cancel (esc)", id="cancel", compact=True)

    def edited(self) -> None:
        super().edited()
        self._ask_to_overwrite(False)

    def entered(self) -> None:
        if not self.overwrite:
            self.submit()

    def refused(self, error: LoadglassError) -> None:
        if isinstance(error, AlreadyThere):
            self.say_trouble(f"{error}. Overwrite it?")
            self._ask_to_overwrite(True)
            self.query_one("#cancel").focus()
        else:
            super().refused(error)
            self._ask_to_overwrite(False)

    def _ask_to_overwrite(self, asked: bool) -> None:
        self.overwrite = asked
        label = "Overwrite" if asked else f"{self.word} (enter)"
        self.query_one("#write", Button).label = label

    @on(Button.Pressed, "#write")
    def _write_pressed(self) -> None:
        self.submit()

    @on(Button.Pressed, "#cancel")
    def _cancel_pressed(self) -> None:
        self.action_leave()
