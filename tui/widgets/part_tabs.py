"""The parts of a view in a row, as the Card and Clock views have them; a click goes there."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from rich.text import Text
from textual import events
from textual.message import Message
from textual.reactive import reactive
from textual.widget import Widget


class PartTabs(Widget):
    ALLOW_SELECT = False
    COMPONENT_CLASSES: ClassVar[set[str]] = {"part-tabs--here"}

    active: reactive[str] = reactive("")
    labels: reactive[Mapping[str, str]] = reactive({}, layout=True)

    class Asked(Message):
        def __init__(self, pane: str):
            super().__init__()
            self.pane = pane

    def render(self) -> Text:
        here = self.get_component_rich_style("part-tabs--here")
        line = Text(no_wrap=True, end="")
        for name, label in self.labels.items():
            line.append(f" {label} ", here if name == self.active else "")
        return line

    def get_content_width(self, *_: object) -> int:
        return sum(len(label) + 2 for label in self.labels.values())

    def on_click(self, event: events.Click) -> None:
        at = 0
        for name, label in self.labels.items():
            at += len(label) + 2
            if event.x < at:
                self.post_message(self.Asked(name))
                return
