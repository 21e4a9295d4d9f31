"""What a file would take at other interleaves: a bar for each, today's layout marked."""

from __future__ import annotations

from collections.abc import Sequence

from loadglass.timing.whatif import WhatIf
from tui.tables import range_text
from tui.whatifs import BARS_SAY, TODAY, Bar, bars, longest_s, makes_no_difference
from tui.widgets.columns import fit
from tui.widgets.line_view import Line, LineView, cells, wrapped
from tui.wording import seconds_text

LABEL_CELLS, SECONDS_CELLS, RANGE_CELLS, NOTE_CELLS = 6, 9, 15, 9
BEFORE_BAR = LABEL_CELLS + SECONDS_CELLS + RANGE_CELLS + 3
MARGIN = " "
TODAY_MARK = "›"


class WhatIfBars(LineView, can_focus=True):
    def __init__(self, *, id: str | None = None):
        super().__init__(id=id)
        self.whatif: WhatIf | None = None
        self.rig = ""
        self.says = ""
        """In place of bars, where there are none."""
        self._lines: list[Line] = []

    def show(self, rig: str, whatif: WhatIf | None, says: str = "") -> None:
        self.rig, self.whatif, self.says = rig, whatif, says
        self.lay()

    def head(self) -> Sequence[Line]:
        gap = self.whatif.gap if self.whatif else None
        today = "" if gap is None else f"  today usually {gap}"
        title = f"On {self.rig}, blocks laid so far apart"
        return [cells(MARGIN, (title, "strong"), (today, "muted"))]

    def line_count(self) -> int:
        return len(self._lines)

    def line(self, index: int) -> Line:
        return self._lines[index]

    def prepare(self) -> None:
        whatif = self.whatif
        if whatif is None:
            self._lines = self._sentences(self.says)
            return
        found = bars(whatif, self.rig)
        if not found or makes_no_difference(found):
            self._lines = self._sentences(whatif.says[self.rig])
            return
        longest = longest_s(found)
        heading = f"{MARGIN}{'apart':>{LABEL_CELLS}}{'time':>{SECONDS_CELLS}}"
        self._lines = [
            cells((fit(f"{heading}{'90 % range':>{RANGE_CELLS}}", self.line_width), "head")),
            *(self._bar(bar, longest) for bar in found),
            *self._sentences(whatif.says[self.rig], BARS_SAY),
        ]

    def _bar(self, bar: Bar, longest: float) -> Line:
        is_today = bar.label == TODAY
        note = "" if is_today else bar.note
        meaning = "mark" if is_today else "good" if note else ""
        label = f"{TODAY_MARK if is_today else MARGIN}{bar.label:>{LABEL_CELLS}}"
        figures = f"{seconds_text(bar.estimate.seconds):>{SECONDS_CELLS}}"
        room = self.line_width - BEFORE_BAR - NOTE_CELLS
        return cells(
            (label + figures, meaning),
            (f"{range_text(bar.estimate):>{RANGE_CELLS}}", "muted"),
            MARGIN,
            (bar.drawn(max(room, 1), longest), meaning),
            (f" {note}", meaning),
        )

    def _sentences(self, *sentences: str) -> list[Line]:
        return [
            cells(MARGIN, (line, "muted"))
            for sentence in sentences
            for line in wrapped(sentence, self.line_width - 2)
        ]
