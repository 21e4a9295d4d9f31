"""Help: every key of the view it was called from, and how to filter. Made from the bindings."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.screen import ModalScreen, Screen
from textual.widgets import Static

from tui.screens.ask import LEAVE

KEY_CELLS = 16
WORDS = {
    "sound": "the image and all its files can be read whole",
    "quirky": "reads fine, something about it is unusual",
    "damaged": "a file or the directory cannot be read whole",
    "unreadable": "not an image that we can place",
    "rig": "a drive with a loader, whose timing is known",
    "start": "loading the first program",
    "all": "loading every program, one after the other",
    "saved": "seconds that the fast loader spares, all programs",
}
"""What a newcomer to the shelf may ask."""


class Help(ModalScreen[None]):
    BINDINGS: ClassVar[list[BindingType]] = [LEAVE]

    def __init__(self, screen: Screen[object], filter_help: str):
        super().__init__()
        self._bindings_of = list(described_bindings(screen))
        self._filter_help = filter_help

    def compose(self) -> ComposeResult:
        with Vertical(classes="box"):
            yield Static(Text("Help"), classes="title")
            with VerticalScroll():
                yield Static(self._text(), markup=False)
            yield Static(Text("arrows scroll, escape leaves"), classes="hint")

    def _text(self) -> Text:
        text = Text()
        text.append("Keys\n", "bold")
        shown: dict[str, list[str]] = {}
        for binding in self._bindings_of:
            shown.setdefault(says(binding), []).append(self.app.get_key_display(binding))
        for sentence, keys in shown.items():
            text.append(f"  {' '.join(keys):<{KEY_CELLS}} {sentence}\n")
        text.append("\nFilter\n", "bold")
        text.append(self._filter_help.rstrip() + "\n")
        text.append("\nWords\n", "bold")
        for word, meaning in WORDS.items():
            text.append(f"  {word:<{KEY_CELLS}} {meaning}\n")
        return text

    def action_leave(self) -> None:
        self.dismiss(None)


def described_bindings(screen: Screen[object]) -> Iterable[Binding]:
    """The bindings in force on a screen that say in a sentence what they do."""
    for active in screen.active_bindings.values():
        if active.enabled and says(active.binding) and not active.binding.system:
            yield active.binding


def says(binding: Binding) -> str:
    """What a key does, in a sentence where there is one."""
    return binding.tooltip or binding.description
