"""Help: every key of the view it was called from, and how to filter. Made from the bindings."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text
from textual.app import App, ComposeResult
from textual.binding import Binding
from textual.containers import Vertical, VerticalScroll
from textual.dom import DOMNode
from textual.screen import Screen
from textual.widgets import Static

from tui.screens.ask import Question

KEY_CELLS = 13
WORDS = {
    "sound": "the image and all its files can be read whole",
    "quirky": "reads fine, something about it is unusual",
    "damaged": "a file or the directory cannot be read whole",
    "unreadable": "not an image that we can place",
    "rig": "a drive with a loader, whose timing is known",
    "90 % range": "where nine loads of ten end, if the rig's figures are right",
    "stage": "a part of a load, like the motor's start; a letter in the bars",
    "near": "of a reading: outside the range, by no more than a thumb is off",
    "start": "loading the first program",
    "all": "loading every program, one after the other",
    "≥": "at least: a damaged file is not counted, or the title loads by code of its own",
    "≈": "what is saved where both times are such",
    "saved": "seconds that the fast loader spares, all programs",
    "pick": "an image chosen for the card",
    "survey": "reading folders into the shelf",
    "set": "the disks of one title",
    "twin": "the same content elsewhere; a sound twin has a damaged file whole",
}
"""What a newcomer to the shelf may ask."""


Described = tuple[DOMNode, Binding]
"""A binding in force, and whose it is."""


class Help(Question[None]):
    def __init__(self, screen: Screen[object], filter_help: str):
        super().__init__()
        self._described = described_bindings(screen)
        self._filter_help = filter_help

    def compose(self) -> ComposeResult:
        with Vertical(classes="box"):
            yield Static(Text("Help"), classes="title")
            with VerticalScroll():
                yield Static(Group(*self._sections()))
            yield Static(Text("arrows scroll, escape leaves"), classes="hint")

    def _sections(self) -> Iterator[RenderableType]:
        for heading, owner in OWNERS.items():
            keys = self._keys_of(owner)
            yield Text(f"{heading}\n", "bold")
            yield two_columns(("  ".join(k), sentence) for sentence, k in keys.items())
        yield Text("Filter\n", "bold")
        yield two_columns(map(parts_of, self._filter_help.strip().splitlines()))
        yield Text("Words\n", "bold")
        yield two_columns(WORDS.items())

    def _keys_of(self, owner: type[DOMNode]) -> dict[str, list[str]]:
        """By sentence the keys of an action, all bindings of one owner."""
        sentences: dict[str, str] = {}
        keys: dict[str, list[str]] = {}
        for node, binding in self._described:
            if next(kind for kind in OWNERS.values() if isinstance(node, kind)) is owner:
                sentence = sentences.setdefault(binding.action, binding.tooltip)
                keys.setdefault(sentence, []).append(self.app.get_key_display(binding))
        return keys


COLUMNS = re.compile(r"\s*(?P<term>\S.*?)(?:\s{2,}(?P<meaning>.*))?")
"""A line of the filter's help: what is written, and behind some spaces what it means."""


def parts_of(line: str) -> tuple[str, str | None]:
    """Term and meaning; no meaning where the line is a sentence, both empty on an empty line."""
    match = COLUMNS.fullmatch(line)
    return ("", "") if match is None else (match["term"], match["meaning"])


def two_columns(pairs: Iterable[tuple[str, str | None]]) -> RenderableType:
    """Terms and what they mean; a line without a meaning runs across. An empty line at the end."""
    grid = Table.grid(padding=(0, 2, 0, 0), pad_edge=True)
    grid.add_column(no_wrap=True)
    grid.add_column()
    across = []
    for term, meaning in pairs:
        if meaning is None:
            across.append(Text(term))
        else:
            grid.add_row(Text(f"  {term}".ljust(KEY_CELLS)), Text(meaning))
    return Group(*across, grid, Text())


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
