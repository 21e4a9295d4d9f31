"""The panes of the Disk view: which there are, which of them a screen has room for."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar, NamedTuple

from rich.text import Text
from textual import events
from textual.message import Message
from textual.reactive import reactive
from textual.widget import Widget


class Pane(NamedTuple):
    label: str
    """Its first letter is its key."""
    left: bool
    """On which side of a wide screen it stands."""


PANES = {
    "files": Pane("Files", left=True),
    "map": Pane("Map", left=False),
    "times": Pane("Times", left=False),
    "audit": Pane("Audit", left=True),
    "contents": Pane("Contents", left=True),
}
WIDE_FROM_CELLS = 120
"""Two panes stand side by side on a screen of this width."""
TALL_FROM_CELLS = 44
"""And two above each other, if it has this height as well."""


LEFT_CELLS = 68
"""What the directory's table needs to show its columns."""
LEAST_LEFT_CELLS = 48
TIMES_LINES = 20
"""What bars and stages of four rigs need on a tall screen, their frame included."""
LEAST_MAP_LINES = 23


class Arrangement(NamedTuple):
    """Which panes show."""

    panes: frozenset[str]
    wide: bool
    tall: bool


def left_cells(width: int, map_cells: Sequence[int]) -> int:
    """How much of a wide screen the left side gets.

    map_cells: widths at which the right side shows the map better and better.
    """
    better = [cells for cells in map_cells if width - cells >= LEFT_CELLS]
    right = max(better, default=min(*map_cells, width - LEAST_LEFT_CELLS))
    return width - right


def map_lines(height: int, sectors: int) -> int:
    """How many lines of the right side the map gets on a tall screen, its frame included."""
    return min(sectors + 2, max(LEAST_MAP_LINES, height - TIMES_LINES))


def arrange(
    width: int, height: int, active: str, latest: dict[bool, str], lower: str
) -> Arrangement:
    """The panes that a screen of that size shows.

    latest: of the left side and the right (True, False) the pane used last; lower: which of audit
    and contents stands below the files on a tall screen.
    """
    wide = width >= WIDE_FROM_CELLS
    tall = wide and height >= TALL_FROM_CELLS
    if tall:
        panes = {"files", lower, "map", "times"}
    elif wide:
        panes = {*latest.values()}
    else:
        panes = {active}
    return Arrangement(frozenset(panes), wide, tall)


class PaneTabs(Widget):
    """Their names in a row, the first letter being the key; a click goes there."""

    ALLOW_SELECT = False
    COMPONENT_CLASSES: ClassVar[set[str]] = {"pane-tabs--here", "pane-tabs--key"}

    active: reactive[str] = reactive("files")

    class Asked(Message):
        def __init__(self, pane: str):
            super().__init__()
            self.pane = pane

    def render(self) -> Text:
        here = self.get_component_rich_style("pane-tabs--here")
        key_style = self.get_component_rich_style("pane-tabs--key")
        line = Text(no_wrap=True, end="")
        for name, pane in PANES.items():
            if name == self.active:
                line.append(f" {pane.label} ", here)
            else:
                line.append(" ").append(pane.label[0], key_style)
                line.append(f"{pane.label[1:]} ")
        return line

    def get_content_width(self, *_: object) -> int:
        return sum(len(pane.label) + 2 for pane in PANES.values())

    def on_click(self, event: events.Click) -> None:
        at = 0
        for name, pane in PANES.items():
            at += len(pane.label) + 2
            if event.x < at:
                self.post_message(self.Asked(name))
                return
