"""The keys of the moment on the last line; what has no room there stands in the help."""

from __future__ import annotations

from typing import ClassVar

from rich.text import Text
from textual import events
from textual.binding import Binding
from textual.screen import Screen
from textual.widget import Widget

ALWAYS = ("stop_work", "help", "command_palette")
"""Actions whose keys are shown however narrow the screen is: two lead to all the others."""
GAP_CELLS = 2


class KeyBar(Widget):
    """Key and word of each binding that asks to be shown; a click is the same as the key."""

    ALLOW_SELECT = False
    COMPONENT_CLASSES: ClassVar[set[str]] = {"key-bar--key"}

    def __init__(self) -> None:
        super().__init__()
        self._shown: list[Binding] = []
        self._spans: list[tuple[int, int, Binding]] = []

    def on_mount(self) -> None:
        self.screen.bindings_updated_signal.subscribe(self, self._bindings_changed)

    def _bindings_changed(self, screen: Screen[object]) -> None:
        if not screen.is_current:  # a question stands in front of it
            return
        actions: dict[str, Binding] = {}
        for active in screen.active_bindings.values():
            if active.binding.show and active.enabled:
                actions.setdefault(active.binding.action, active.binding)
        shown = list(actions.values())
        if shown != self._shown:
            self._shown = shown
            self.refresh()

    def _cells(self, binding: Binding) -> int:
        return len(self.app.get_key_display(binding)) + 1 + len(binding.description) + GAP_CELLS

    def render(self) -> Text:
        always = [binding for binding in self._shown if binding.action in ALWAYS]
        room = self.size.width - 1 - sum(map(self._cells, always))
        key_style = self.get_component_rich_style("key-bar--key")
        line = Text(" ", no_wrap=True, end="")
        self._spans = []
        for binding in self._shown:
            if binding.action not in ALWAYS:
                room -= self._cells(binding)
                if room < 0:
                    continue
            start = line.cell_len
            line.append(self.app.get_key_display(binding), key_style)
            line.append(f" {binding.description}")
            self._spans.append((start, line.cell_len, binding))
            line.append(" " * GAP_CELLS)
        return line

    def on_click(self, event: events.Click) -> None:
        for start, end, binding in self._spans:
            if start <= event.x < end:
                self.app.simulate_key(binding.key)
                return
