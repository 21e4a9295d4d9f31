"""How long a load takes on each rig, and why: a bar of its stages, and the stages in seconds."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import ClassVar

from loadglass.timing.estimate import Estimate, Times
from loadglass.timing.prices import STAGES
from loadglass.timing.rig import Rig
from tui.tables import range_text
from tui.widgets.columns import Cell, fit, shortened
from tui.widgets.line_view import Line, LineView, cells, wrapped
from tui.wording import NOTHING, seconds_text

LETTERS = {
    "command": "c",
    "setup": "s",
    "spin_up": "p",
    "find": "f",
    "seek": "k",
    "rotate": "o",
    "read": "r",
    "transfer": "t",
}
"""Of which each stage's part of a bar is made, so that it shows without colours."""
SAYS = {
    "command": "until the drive starts",
    "setup": "the loader's own start",
    "spin_up": "motor comes to speed",
    "find": "looking up the file",
    "seek": "head to another track",
    "rotate": "waiting for a sector",
    "read": "reading and decoding",
    "transfer": "bytes over the bus",
}
NAME_CELLS, RIG_CELLS_MOST = 15, 20
FIGURE_CELLS = 10
MARGIN = " "
TO_HIGH, HIGH = "╌", "┤"
"""From the end of a bar to the end of its 90 % range."""


def stage_name(stage: str) -> str:
    return stage.replace("_", "-")


def comparison_text(estimate: Estimate, stock: Estimate) -> str:
    """What a rig saves against the stock loader on its drive, in words."""
    saved = stock.seconds - estimate.seconds
    if abs(saved) < 0.05:
        return "as fast as the stock loader"
    if saved < 0:
        return f"takes {seconds_text(-saved)} longer than the stock loader"
    return f"saves {seconds_text(saved)}, {stock.seconds / estimate.seconds:.1f} × as fast"


def longest_text(estimate: Estimate) -> str:
    """Which stage takes the most of a load."""
    stage = max(estimate.stages, key=lambda name: estimate.stages[name])
    return f"most is {stage_name(stage)}, {estimate.stages[stage] / estimate.seconds:.0%}"


def shares(estimate: Estimate, cells_per_second: float) -> dict[str, int]:
    """Cells of each stage in a bar; rounded so that they come to the whole bar's length."""
    ends = [0.0]
    for stage in STAGES:
        ends.append(ends[-1] + estimate.stages[stage] * cells_per_second)
    return {
        stage: round(end) - round(start)
        for stage, (start, end) in zip(STAGES, pairwise(ends), strict=True)
    }


class StageBars(LineView, can_focus=True):
    """One bar a rig, all to one scale, with ranges; below them a table of the stages."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {f"lines--{stage}" for stage in STAGES}

    def __init__(self, rigs: Sequence[Rig], *, id: str | None = None):
        super().__init__(id=id)
        self.rigs = rigs
        self.title = ""
        self.times: Times | None = None
        self.says = ""
        """Why there are no times, or what they are of."""
        self._lines: list[Line] = []

    def show(self, title: str, says: str, times: Times | None) -> None:
        """times: None where nothing can be clocked, or not yet; `says` tells which."""
        self.title, self.says, self.times = title, says, times
        self.lay()

    def head(self) -> Sequence[Line]:
        return [cells(MARGIN, (self.title, "strong"), (f"  {self.says}", "muted"))]

    def line_count(self) -> int:
        return len(self._lines)

    def line(self, index: int) -> Line:
        return self._lines[index]

    def prepare(self) -> None:
        times = self.times
        if not times:
            self._lines = []
            return
        self._lines = [line for rig in self.rigs for line in self._rig_lines(rig, times)]
        if any(times.values()):
            table = self._table(times)
            spare = self.size.height - len(self._lines) - len(table) - 1
            self._lines += [*([[]] if spare > 0 else []), *table]

    # The bars

    @property
    def _rig_cells(self) -> int:
        """In front of the bars, for the rigs' names."""
        longest = max(len(rig.name) for rig in self.rigs)
        return min(max(longest, NAME_CELLS), RIG_CELLS_MOST)

    def _rig_lines(self, rig: Rig, times: Times) -> list[Line]:
        estimate = times.get(rig.name)
        name = fit(shortened(rig.name, self._rig_cells), self._rig_cells) + " "
        if estimate is None:
            return [cells(MARGIN, name, ("it does not mount this layout", "muted"))]
        indent = MARGIN + " " * len(name)
        return [
            cells(MARGIN, name, *self._bar(estimate, times)),
            cells(indent, *self._words(rig, estimate, times, self.line_width - len(indent))),
        ]

    def _bar(self, estimate: Estimate, times: Times) -> Line:
        longest = max(each.high for each in times.values() if each is not None)
        room = self.line_width - self._rig_cells - 3
        scale = max(room, 1) / longest
        bar = [
            Cell(LETTERS[stage] * width, stage)
            for stage, width in shares(estimate, scale).items()
            if width
        ]
        beyond = round(estimate.high * scale) - round(estimate.seconds * scale)
        return [*bar, Cell(TO_HIGH * (beyond - 1) + HIGH if beyond > 0 else "", "muted")]

    def _words(self, rig: Rig, estimate: Estimate, times: Times, room: int) -> Line:
        stock = times.get(f"stock-{rig.drive}")
        parts = [range_text(estimate)]
        if stock is not None and rig.name != f"stock-{rig.drive}":
            parts.append(comparison_text(estimate, stock))
        parts.append(longest_text(estimate))
        while len(parts) > 1 and 10 + len(" · ".join(parts)) > room:
            parts.pop()
        return cells((f"{seconds_text(estimate.seconds):>8}", "strong"), "  ", " · ".join(parts))

    # The table

    def _table(self, times: Times) -> list[Line]:
        shown = [rig for rig in self.rigs if times.get(rig.name) is not None]
        room = self.line_width - len(MARGIN) - 3 - NAME_CELLS + 4
        shown = shown[: max(room // FIGURE_CELLS, 1)]
        longest = max(map(len, SAYS.values()))
        said = longest if room - FIGURE_CELLS * len(shown) >= longest else 0
        before = len(MARGIN) + 3 + NAME_CELLS - 4 + said
        heads = [_folded(rig.name) for rig in shown]
        lines: list[Line] = [
            cells((_padded(" " * before, heads, i, self.line_width), "head")) for i in range(2)
        ]
        for stage in STAGES:
            figures = [times[rig.name].stages[stage] for rig in shown]  # type: ignore[union-attr]
            lines.append(
                cells(
                    MARGIN,
                    (LETTERS[stage], stage),
                    fit(f" {stage_name(stage)}", NAME_CELLS - 2),
                    (fit(SAYS[stage], said), "muted"),
                    *(_figure(seconds) for seconds in figures),
                )
            )
        return lines


def _padded(before: str, heads: Sequence[tuple[str, str]], line: int, width: int) -> str:
    return (before + "".join(f"{head[line]:>{FIGURE_CELLS}}" for head in heads)).ljust(width)


def _figure(seconds: float) -> Cell:
    if not seconds:
        return Cell(f"{NOTHING:>{FIGURE_CELLS}}", "muted")
    return Cell(f"{seconds:,.2f} s".rjust(FIGURE_CELLS))


def _folded(name: str) -> tuple[str, str]:
    """A rig's name over two lines of a column."""
    parts = wrapped(name, FIGURE_CELLS - 1)
    upper, lower = ("", parts[0]) if len(parts) == 1 else (parts[0], parts[1])
    return fit(upper, min(len(upper), FIGURE_CELLS - 1)), fit(lower, min(len(lower), 9))
