"""What the picks cost in waiting, before and after: stock, and with the loader set against it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np
from numpy.typing import NDArray

from tui.amounts import duration_text
from tui.widgets.bars import bar
from tui.widgets.line_view import Line, LineView, cells

if TYPE_CHECKING:
    from tui.app import LoadglassApp

NAME_CELLS = 28
"""Of `123,456 picked · ` and a rig's name."""
TIME_CELLS = 36


@dataclass(frozen=True)
class Waiting:
    """All programs of all picks, loaded in a row on two rigs."""

    picks: int
    stock: str
    stock_s: float
    rig: str
    rig_s: float


def waiting_for(
    stock: str, stock_s: NDArray[np.float64], rig: str, rig_s: NDArray[np.float64]
) -> Waiting:
    """The sums over picks that both rigs can load; NaN is a time that is not known."""
    known = ~(np.isnan(stock_s) | np.isnan(rig_s))
    return Waiting(len(stock_s), stock, float(stock_s[known].sum()), rig, float(rig_s[known].sum()))


class PicksBars(LineView, can_focus=False):
    """Two lines, there while something is picked."""

    app: LoadglassApp
    COMPONENT_CLASSES: ClassVar[set[str]] = {"lines--stock", "lines--fast"}

    def __init__(self) -> None:
        super().__init__()
        self.waiting: Waiting | None = None
        self.display = False

    def show(self, waiting: Waiting) -> None:
        self.waiting = waiting
        self.display = waiting.picks > 0
        self.lay()

    def line_count(self) -> int:
        return 2 if self.waiting is not None else 0

    def line(self, index: int) -> Line:
        waiting = self.waiting
        assert waiting is not None
        before = index == 0
        begins = f"{waiting.picks:,} picked · " if before else ""
        name = waiting.stock if before else waiting.rig
        seconds = waiting.stock_s if before else waiting.rig_s
        most = max(waiting.stock_s, waiting.rig_s) or 1.0
        room = max(self.line_width - NAME_CELLS - TIME_CELLS, 3)
        drawn = bar(seconds / most, room, self.app.plain_glyphs)
        says = f" {duration_text(seconds)}" if before else f" {_after_text(waiting)}"
        room_for_name = NAME_CELLS - 1 - len(begins)
        padded = f"{begins}{name[:room_for_name].rjust(room_for_name)} "
        return cells((padded, "strong"), (drawn, "stock" if before else "fast"), says)


def _after_text(waiting: Waiting) -> str:
    after = duration_text(waiting.rig_s)
    saved_s = waiting.stock_s - waiting.rig_s
    if abs(saved_s) < 0.5:
        return f"{after}: as long"
    if saved_s < 0:
        return f"{after}: {duration_text(-saved_s)} longer"
    return (
        f"{after}: {duration_text(saved_s)} saved, {waiting.stock_s / waiting.rig_s:.1f} × as fast"
    )
