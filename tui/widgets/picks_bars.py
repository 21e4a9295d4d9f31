"""What the picks cost in waiting, before and after: stock, and with the loader set against it."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from loadglass.card.totals import Totals, Waiting
from tui.amounts import duration_text
from tui.widgets.bars import bar
from tui.widgets.columns import shortened
from tui.widgets.line_view import Line, LineView, cells
from tui.wording import count_text

if TYPE_CHECKING:
    from tui.app import LoadglassApp

NAME_CELLS = 28
"""Of `123,456 picked · ` and a rig's name."""
TIME_CELLS = 36


class PicksBars(LineView, can_focus=False):
    """Two lines, there while something is picked."""

    app: LoadglassApp
    COMPONENT_CLASSES: ClassVar[set[str]] = {"lines--stock", "lines--fast"}

    def __init__(self) -> None:
        super().__init__()
        self.totals: Totals | None = None
        self._stock = self._rig = self._uncounted = ""
        self.display = False

    def show(self, totals: Totals, stock: str, rig: str, uncounted: str) -> None:
        """stock, rig: the names of the rigs that the waiting is on; uncounted: see below."""
        self.totals, self._stock, self._rig, self._uncounted = totals, stock, rig, uncounted
        self.display = totals.picks > 0
        self.lay()

    def line_count(self) -> int:
        return 2 if self.totals is not None else 0

    def line(self, index: int) -> Line:
        totals = self.totals
        assert totals is not None
        waiting = totals.waiting
        before = index == 0
        begins = f"{totals.images:,} picked · " if before else ""
        name = self._stock if before else self._rig
        seconds = waiting.stock_s if before else waiting.fast_s
        most = max(waiting.stock_s, waiting.fast_s) or 1.0
        room = max(self.line_width - NAME_CELLS - TIME_CELLS, 3)
        drawn = bar(seconds / most, room, self.app.plain_glyphs)
        says = f" {duration_text(seconds)}" if before else f" {_after_text(waiting)}"
        if before and self._uncounted:
            says += f" · {self._uncounted}"
        room_for_name = NAME_CELLS - 1 - len(begins)
        padded = f"{begins}{shortened(name, room_for_name).rjust(room_for_name)} "
        return cells((padded, "strong"), (drawn, "stock" if before else "fast"), says)


def uncounted_text(totals: Totals, mended: bool = False) -> str:
    """`2 damaged, 1 not for this drive, 3 copies: not counted`; empty: all are.

    mended: damaged ones are to be mended, which only a plan tries.
    """
    damaged = f"{totals.damaged:,} damaged"
    counts = [
        (0 if mended else totals.damaged, damaged),
        (totals.unmounted, f"{totals.unmounted:,} not for this drive"),
        (totals.copies, count_text(totals.copies, "copy", "copies")),
    ]
    named = ", ".join(words for count, words in counts if count)
    parts = [f"{named}: not counted"] if named else []
    if mended and totals.damaged:
        parts.append(f"{damaged}: in the plan, if mending helps")
    return "; ".join(parts)


def _after_text(waiting: Waiting) -> str:
    after = duration_text(waiting.fast_s)
    saved_s = waiting.saved_s
    if abs(saved_s) < 0.5:
        return f"{after}: as long"
    if saved_s < 0:
        return f"{after}: {duration_text(-saved_s)} longer"
    return (
        f"{after}: {duration_text(saved_s)} saved, {waiting.stock_s / waiting.fast_s:.1f} × as fast"
    )
