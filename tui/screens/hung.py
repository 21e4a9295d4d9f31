"""Hung: a load that did not end; which block was on its way, and to it on the map."""

from __future__ import annotations

import asyncio
from typing import ClassVar, NamedTuple

from rich.text import Text
from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.widgets import Button, Static

from formats.geometry import Place
from loadglass.bench.diagnose import CAUTION
from loadglass.bench.hung_at import hung_at
from loadglass.bench.in_flight import block_in_flight, parse_address
from loadglass.bench.reading import parse_seconds
from loadglass.opened import Opened
from loadglass.timing.rig import Rig
from tui.screens.ask import Entry

HINT = (
    "seconds from RETURN until it stood still, like 42.5; or, more exact, the last address that "
    "was filled, like $1F40, if your machine can be reset without losing its memory:\n"
    "PRINT PEEK(174)+256*PEEK(175)-1 prints it (five digits: 08000)"
)
ADDRESS_SIGNS = ("$", "0x", "0X")
ADDRESS_DIGITS = 5


class Found(NamedTuple):
    says: tuple[str, ...]
    place: Place | None


class Hung(Entry[Place]):
    """Give the place that is to be shown on the map, or None."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("m", "map", "Map", tooltip="Show the block on the map"),
    ]

    def __init__(self, opened: Opened, slot: int, rig: Rig, text: str = ""):
        """text: what the field begins with."""
        super().__init__()
        self._opened, self._slot, self._rig = opened, slot, rig
        self._text = text
        self._place: Place | None = None

    def compose(self) -> ComposeResult:
        name = self._opened.audit.by_slot[self._slot].entry.text
        with Vertical(classes="box"):
            yield Static(Text(f'"{name}" hung on {self._rig.name} after'), classes="title")
            yield from self.field(self._text, HINT)
            with VerticalScroll(can_focus=False):
                yield Static(id="found", markup=False)
            with Horizontal(classes="buttons"):
                yield Button("Show on the map (m)", id="map", compact=True)
                yield Button("Leave (esc)", id="leave", compact=True)

    def on_mount(self) -> None:
        self.query_one("#map").display = False

    def edited(self) -> None:
        super().edited()
        self._show(Found((), None))

    async def use(self, text: str) -> None:
        found = await asyncio.to_thread(self._found, text)
        self._show(Found((*found.says, CAUTION), found.place))
        if found.place is not None:
            self.query_one("#map").focus()

    def _found(self, text: str) -> Found:
        if text.startswith(ADDRESS_SIGNS) or (text.isdecimal() and len(text) == ADDRESS_DIGITS):
            address = parse_address(text)
            exact = block_in_flight(self._opened, self._slot, address=address)
            return Found(exact.says, exact.place)
        by_time = hung_at(self._opened, self._slot, self._rig, parse_seconds(text))
        shown = by_time.likely or by_time.first
        return Found(by_time.says, shown.place if shown else None)

    def _show(self, found: Found) -> None:
        self._place = found.place
        self.query_one("#found", Static).update(Text("\n".join(found.says)))
        self.query_one("#map").display = found.place is not None

    @on(Button.Pressed, "#map")
    def action_map(self) -> None:
        self.dismiss(self._place)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        return self._place is not None if action == "map" else True

    @on(Button.Pressed, "#leave")
    def _leave_pressed(self) -> None:
        self.action_leave()
