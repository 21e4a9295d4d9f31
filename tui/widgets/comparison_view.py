"""One load on two rigs, stage by stage: what is saved, and what the second rig cannot speed up."""

from __future__ import annotations

from collections.abc import Sequence

from loadglass.timing.estimate import Estimate
from loadglass.timing.whatif import Comparison, compare
from tui.whatifs import comparison_rows, comparison_text
from tui.widgets.bars import FULL
from tui.widgets.columns import fit
from tui.widgets.line_view import Line, LineView, cells, wrapped

NAME_CELLS, FIGURE_CELLS = 10, 10
HEADS = ("from", "to", "saved", "remains")
MARGIN = " "
SAVED = "░"
BARS_SAY = "bars: solid what remains, light what is saved"


class ComparisonView(LineView, can_focus=True):
    def __init__(self, *, id: str | None = None):
        super().__init__(id=id)
        self.rigs = ("", "")
        self.pair: tuple[Estimate, Estimate] | None = None
        self.says = ""
        """In place of the stages, where there are none."""
        self._lines: list[Line] = []

    def show(
        self, rigs: tuple[str, str], pair: tuple[Estimate, Estimate] | None, says: str = ""
    ) -> None:
        self.rigs, self.pair, self.says = rigs, pair, says
        self.lay()

    def head(self) -> Sequence[Line]:
        before, after = self.rigs
        return [cells(MARGIN, (f"From {before} to {after}", "strong"))] if after else []

    def line_count(self) -> int:
        return len(self._lines)

    def line(self, index: int) -> Line:
        return self._lines[index]

    def prepare(self) -> None:
        if self.pair is None:
            self._lines = self._sentences(self.says)
            return
        compared = compare(*self.pair)
        head = "".join(f"{head:>{FIGURE_CELLS}}" for head in HEADS)
        self._lines = [
            cells((fit(f"{MARGIN}{'':{NAME_CELLS}}{head}", self.line_width), "head")),
            *self._rows(compared, self.pair),
            [],
            *self._sentences(comparison_text(*self.rigs, compared), BARS_SAY),
        ]

    def _rows(self, compared: Comparison, pair: tuple[Estimate, Estimate]) -> list[Line]:
        rows = comparison_rows(*pair, compared)
        changes = [c for c in compared.stages.values() if c.before_s or c.after_s]
        longest = max(max(change.before_s, change.after_s) for change in changes)
        room = self.line_width - len(MARGIN) - NAME_CELLS - 4 * FIGURE_CELLS - 2
        lines: list[Line] = []
        for row, change in zip(rows, changes, strict=False):
            remaining = round(change.after_s / longest * room) if room > 0 else 0
            before = round(change.before_s / longest * room) if room > 0 else 0
            drawn = FULL * remaining, SAVED * max(before - remaining, 0)
            lines.append(
                [*self._figures(row), *cells("  ", (drawn[0], "mark"), (drawn[1], "muted"))]
            )
        lines.append(self._figures(rows[-1], "strong"))
        return lines

    def _figures(self, row: Sequence[str], meaning: str = "") -> Line:
        name, *figures = row
        text = f"{MARGIN}{name:{NAME_CELLS}}" + "".join(f"{f:>{FIGURE_CELLS}}" for f in figures)
        return cells((text, meaning))

    def _sentences(self, *sentences: str) -> list[Line]:
        return [
            cells(MARGIN, (line, "muted"))
            for sentence in sentences
            for line in wrapped(sentence, self.line_width - 2)
        ]
