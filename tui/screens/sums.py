"""Sums: is what a load put into the machine's memory what is on the disk?"""

from __future__ import annotations

from typing import ClassVar

from rich.text import Text
from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.screen import ModalScreen
from textual.widgets import Input, Static

from loadglass.bench.memory_check import MemoryCheck
from tui.memory_sums import compared, sums_lines
from tui.screens.ask import LEAVE

HINT = "what the machine printed; enter compares, up and down scroll, escape leaves"
NO_NUMBER = "write the number as the machine printed it, like 123456"
WITHOUT_LINE_NUMBER = "Type without a line number what is to be typed, after the load has ended."


class Sums(ModalScreen[None]):
    BINDINGS: ClassVar[list[BindingType]] = [
        LEAVE,
        Binding("up", "scroll(-1)", "Up", show=False, tooltip="Scroll up"),
        Binding("down", "scroll(1)", "Down", show=False, tooltip="Scroll down"),
        Binding("pageup", "scroll(-10)", "Page up", show=False, tooltip="Scroll up a page"),
        Binding("pagedown", "scroll(10)", "Page down", show=False, tooltip="Scroll down a page"),
    ]

    def __init__(self, name: str, check: MemoryCheck):
        super().__init__()
        self._name, self._check = name, check

    def compose(self) -> ComposeResult:
        lines = [WITHOUT_LINE_NUMBER, "", *sums_lines(self._check)]
        with Vertical(classes="box"):
            yield Static(Text(f'"{self._name}" in memory, added up'), classes="title")
            with VerticalScroll(can_focus=False):
                yield Static(Text("\n".join(lines)), id="sums-text", markup=False)
            yield Input(select_on_focus=False)
            yield Static(Text(HINT), classes="hint")
            yield Static(id="compared", markup=False)

    def on_mount(self) -> None:
        self.query_one(Input).focus()

    @on(Input.Submitted)
    def _entered(self, event: Input.Submitted) -> None:
        typed = event.value.strip()
        is_number = typed.isascii() and typed.isdecimal()
        says = compared(self._check, int(typed)) if is_number and len(typed) < 12 else NO_NUMBER
        self.query_one("#compared", Static).update(Text(says))

    def action_scroll(self, lines: int) -> None:
        self.query_one(VerticalScroll).scroll_relative(y=lines, animate=False)

    def action_leave(self) -> None:
        self.dismiss(None)
