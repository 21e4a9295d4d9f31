"""Small questions in front of a view: choose one of a list, type a text."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.events import Key
from textual.screen import ModalScreen
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option

LEAVE = Binding("escape", "leave", "Leave", tooltip="Leave things as they are")


class ChooseOne(ModalScreen[str | None]):
    """Give the key of the line that was chosen, or None."""

    BINDINGS: ClassVar[list[BindingType]] = [LEAVE]

    def __init__(self, title: str, lines: Sequence[tuple[str, str]], current: str | None = None):
        """lines: a key and what is shown for it, drawn as it is."""
        super().__init__()
        self._title = title
        self._lines = lines
        self._current = current

    def compose(self) -> ComposeResult:
        with Vertical(classes="box"):
            yield Static(Text(self._title), classes="title")
            yield OptionList(*(Option(Text(shown), key) for key, shown in self._lines))
            yield Static(Text("enter chooses, escape leaves"), classes="hint")

    def on_mount(self) -> None:
        keys = [key for key, _ in self._lines]
        if self._current in keys:
            self.query_one(OptionList).highlighted = keys.index(self._current)

    def on_key(self, event: Key) -> None:
        """A line whose key is one character is chosen by typing it."""
        if event.character in [key for key, _ in self._lines]:
            event.stop()
            self.dismiss(event.character)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        self.dismiss(event.option_id)

    def action_leave(self) -> None:
        self.dismiss(None)


class AskText(ModalScreen[str | None]):
    """Give the text that was typed, or None."""

    BINDINGS: ClassVar[list[BindingType]] = [LEAVE]

    def __init__(self, title: str, hint: str, text: str = ""):
        super().__init__()
        self._title = title
        self._hint = hint
        self._text = text

    def compose(self) -> ComposeResult:
        with Vertical(classes="box"):
            yield Static(Text(self._title), classes="title")
            yield Input(self._text, select_on_focus=False)
            yield Static(Text(self._hint), classes="hint")

    def on_input_submitted(self, event: Input.Submitted) -> None:
        self.dismiss(event.value.strip())

    def action_leave(self) -> None:
        self.dismiss(None)
