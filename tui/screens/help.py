"""Help: every key of the view it was called from, and how to filter. Made from the bindings."""

from __future__ import annotations

from typing import ClassVar

from rich.text import Text
from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.dom import DOMNode
from textual.screen import ModalScreen, Screen
from textual.widgets import Static

from tui.screens.ask import LEAVE

KEY_CELLS = 13
WORDS = {
    "sound": "the image and all its files can be read whole",
    "quirky": "reads fine, something about it is unusual",
    "damaged": "a file or the directory cannot be read whole",
    "unreadable": "not an image that we can place",
    "rig": "a drive with a loader, whose timing is known",
    "start": "loading the first program",
    "all": "loading every program, one after the other",
    "saved": "seconds that the fast loader spares, all programs",
    "pick": "an image chosen for the card",
    "survey": "reading folders into the shelf",
}
"""What a newcomer to the shelf may ask."""


Described = tuple[DOMNode, Binding]
"""A binding in force, and whose it is."""


class Help(ModalScreen[None]):
    BINDINGS: ClassVar[list[BindingType]] = [LEAVE]

    def __init__(self, screen: Screen[object], filter_help: str):
        super().__init__()
        self._described = described_bindings(screen)
        self._filter_help = filter_help

    def compose(self) -> ComposeResult:
        with Vertical(classes="box"):
            yield Static(Text("Help"), classes="title")
            with VerticalScroll():
                yield Static(self._text(), markup=False)
            yield Static(Text("arrows scroll, escape leaves"), classes="hint")

    def _text(self) -> Text:
        text = Text()
        for heading, owner in OWNERS.items():
            text.append(f"{heading}\n", "bold")
            for sentence, keys in self._keys_of(owner).items():
                text.append(f"  {'  '.join(keys):<{KEY_CELLS}} {sentence}\n")
            text.append("\n")
        text.append("Filter\n", "bold")
        text.append(self._filter_help.rstrip() + "\n")
        text.append("\nWords\n", "bold")
        for word, meaning in WORDS.items():
            text.append(f"  {word:<{KEY_CELLS}} {meaning}\n")
        return text

    def _keys_of(self, owner: type[DOMNode]) -> dict[str, list[str]]:
        """By sentence the keys of an action, all bindings of one owner."""
        sentences: dict[str, str] = {}
        keys: dict[str, list[str]] = {}
        for node, binding in self._described:
            if next(kind for kind in OWNERS.values() if isinstance(node, kind)) is owner:
                sentence = sentences.setdefault(binding.action, binding.tooltip)
                keys.setdefault(sentence, []).append(self.app.get_key_display(binding))
        return keys

    def action_leave(self) -> None:
        self.dismiss(None)


OWNERS: dict[str, type[DOMNode]] = {"This view": Screen, "Everywhere": App, "Here": DOMNode}
"""Heading of the keys that belong to the view, to the application, to what has the focus."""


def described_bindings(screen: Screen[object]) -> list[Described]:
    """The bindings in force on a screen that say in a sentence what they do."""
    described = [
        (active.node, active.binding)
        for active in screen.active_bindings.values()
        if active.enabled and active.binding.tooltip and not active.binding.system
    ]
    return sorted(described, key=lambda pair: pair[1].priority)
