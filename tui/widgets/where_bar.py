"""The line at the top of every view: which views there are, which one this is, and of what."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from rich.cells import cell_len
from rich.text import Text
from textual import events
from textual.reactive import reactive
from textual.widget import Widget

from tui.widgets.columns import fit

if TYPE_CHECKING:
    from tui.app import LoadglassApp

VIEWS = {
    "shelf": ("1", "Shelf"),
    "disk": ("2", "Disk"),
    "clock": ("3", "Clock"),
    "bench": ("4", "Bench"),
    "card": ("5", "Card"),
}
"""Key and label of each view, as the bar shows them."""


class WhereBar(Widget):
    """Say where one is; a click on another view goes there."""

    app: LoadglassApp
    ALLOW_SELECT = False
    COMPONENT_CLASSES: ClassVar[set[str]] = {
        "where-bar--here",
        "where-bar--key",
        "where-bar--about",
    }

    about: reactive[str] = reactive("")
    """What the view is of, at the right: `4,120 images`, a disk's title. Drawn as it is."""

    def __init__(self, view: str, about: str = ""):
        super().__init__()
        self.view = view
        self.set_reactive(WhereBar.about, about)

    def render(self) -> Text:
        here = self.get_component_rich_style("where-bar--here")
        key_style = self.get_component_rich_style("where-bar--key")
        line = Text(no_wrap=True, end="")
        for view, key, label in self._views():
            if view == self.view:
                line.append(f" {key}{label} ", here)
            else:
                line.append(f" {key}", key_style)
                line.append(f"{label} ")
        room = self.size.width - line.cell_len - 1
        if room > 0:
            line.append(
                fit(self.about, room, right=True), self.get_component_rich_style("where-bar--about")
            )
        return line

    def _views(self) -> list[tuple[str, str, str]]:
        """Each view, its key and its label; the other views go without where room is short."""
        views = [(view, key, f" {label}") for view, (key, label) in VIEWS.items()]
        taken = sum(len(key) + len(label) + 2 for _, key, label in views)
        if taken + cell_len(self.about) + 1 <= self.size.width:
            return views
        return [(view, key, label if view == self.view else "") for view, key, label in views]

    def on_click(self, event: events.Click) -> None:
        if not self.screen.is_current:  # the second click of two: the first has led away already
            return
        at = 0
        for view, key, label in self._views():
            at += len(key) + len(label) + 2
            if event.x < at:
                self.app.show_view(view)
                return
