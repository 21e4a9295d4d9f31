"""Sums: is what a load put into the machine's memory what is on the disk?"""

from __future__ import annotations

from rich.text import Text
from textual.app import ComposeResult
from textual.containers import Vertical, VerticalScroll
from textual.widgets import Static

from loadglass.bench.memory_check import MemoryCheck
from tui.calls import WrongCall
from tui.memory_sums import compared, sums_lines
from tui.screens.ask import Entry

HINT = "what the machine printed; enter compares, up and down scroll, escape leaves"
NO_NUMBER = "write the number as the machine printed it, like 123456"
WITHOUT_LINE_NUMBER = "Type without a line number what is to be typed, after the load has ended."


class Sums(Entry[None]):
    def __init__(self, name: str, check: MemoryCheck):
        super().__init__()
        self._name, self._check = name, check

    def compose(self) -> ComposeResult:
        lines = [WITHOUT_LINE_NUMBER, "", *sums_lines(self._check)]
        with Vertical(classes="box"):
            yield Static(Text(f'"{self._name}" in memory, added up'), classes="title")
            with VerticalScroll(can_focus=False):
                yield Static(Text("\n".join(lines)), id="sums-text", markup=False)
            yield from self.field(hint=HINT)
            yield Static(id="compared", markup=False)

    def edited(self) -> None:
        super().edited()
        self.query_one("#compared", Static).update("")

    async def use(self, text: str) -> None:
        if not (text.isascii() and text.isdecimal() and len(text) < 12):
            raise WrongCall(NO_NUMBER)
        self.query_one("#compared", Static).update(Text(compared(self._check, int(text))))
