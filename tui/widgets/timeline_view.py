"""One load on one rig as it goes along: a row for each part of it, drawn against the whole."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from typing import TYPE_CHECKING, ClassVar

from formats.audit import FileAudit
from loadglass.opened import Opened
from loadglass.timing.prices import STAGES
from loadglass.timing.rig import Rig
from loadglass.timing.timeline import Leg, timeline
from tui.load_words import NOT_MOUNTED, why_not
from tui.widgets.columns import Cell
from tui.widgets.head_strip import head_text, move_text, strip
from tui.widgets.line_view import Line, cells
from tui.widgets.row_list import RowList
from tui.widgets.stage_bars import LETTERS, MARGIN, SAYS, stage_name
from tui.wording import seconds_text

if TYPE_CHECKING:
    from tui.app import LoadglassApp

START_CELLS, NAME_CELLS, SECONDS_CELLS, BLOCKS_CELLS = 8, 10, 9, 6
MOVE_CELLS = 11
BEFORE_BAR = START_CELLS + 1 + NAME_CELLS + SECONDS_CELLS + BLOCKS_CELLS + 2
LEAST_ROWS = 6
"""Lines that are left to the table where the way of the head is drawn."""
UNTIL = "╌"


class TimelineView(RowList):
    """The head's way above, the load's parts below; stepping through it walks the map along."""

    app: LoadglassApp
    COMPONENT_CLASSES: ClassVar[set[str]] = {f"lines--{stage}" for stage in STAGES}
    kept_meanings: ClassVar[frozenset[str]] = frozenset(STAGES)

    def __init__(self, *, id: str | None = None):
        super().__init__(id=id)
        self.title = ""
        self.says = ""
        self.legs: list[Leg] = []

    def show(self, title: str, says: str, legs: list[Leg]) -> None:
        self.title, self.says, self.legs = title, says, legs
        self.set_reactive(TimelineView.cursor, 0)
        self.lay()

    async def draw(self, title: str, opened: Opened, file: FileAudit, rig: Rig) -> None:
        """Show a file's load on a rig, once it is worked out; or why it has none."""
        if not file.whole or not file.chain.blocks:
            self.show(title, why_not(file), [])
            return
        legs = await asyncio.to_thread(
            timeline,
            opened.image.geometry,
            opened.audit.directory.search_blocks(file.entry.slot),
            file.chain.blocks,
            file.chain.last_bytes,
            rig,
        )
        says = NOT_MOUNTED.format(rig=rig.name)
        if legs:
            says = f"on {rig.name}, {seconds_text(legs[-1].start_s + legs[-1].seconds)}"
        self.show(title, says, legs)

    def row_count(self) -> int:
        return len(self.legs)

    def head(self) -> Sequence[Line]:
        title = cells(MARGIN, (self.title, "strong"), (f"  {self.says}", "muted"))
        if not self.legs:
            return [title]
        labels = (
            f"  {'at':>{START_CELLS}} {'':<{NAME_CELLS}}{'takes':>{SECONDS_CELLS}}"
            f"{'blocks':>{BLOCKS_CELLS + 1}}{'head' if self._head_moves else '':>8}"
        )
        lines = self.container_size.height - LEAST_ROWS - 3
        return [
            title,
            cells(MARGIN, head_text(self.legs, self.cursor)),
            *strip(self.legs, self.cursor, self.line_width, lines, self.app.plain_glyphs),
            cells((labels.ljust(self.line_width), "head")),
        ]

    @property
    def _head_moves(self) -> bool:
        return any(leg.moved for leg in self.legs)

    def watch_cursor(self) -> None:
        self._head = self.head()
        super().watch_cursor()

    def row_lines(self, row: int) -> Sequence[Line]:
        leg = self.legs[row]
        name = leg.name if leg.track is not None else stage_name(leg.name)
        blocks = f"{leg.blocks:,}" if leg.blocks else ""
        return [
            cells(
                (f"{seconds_text(leg.start_s):>{START_CELLS}} ", "muted"),
                f"{name:<{NAME_CELLS}}{leg.seconds:>{SECONDS_CELLS - 2},.2f} s",
                f"{blocks:>{BLOCKS_CELLS}}  ",
                f"{move_text(leg):<{MOVE_CELLS}}" if self._head_moves else "",
                *self._bar(leg),
            )
        ]

    def _bar(self, leg: Leg) -> Line:
        """Its stages, as far from the left as the load has come."""
        last = self.legs[-1]
        room = self.row_width - BEFORE_BAR - (MOVE_CELLS if self._head_moves else 0)
        scale = max(room, 1) / (last.start_s + last.seconds)
        at = round(leg.start_s * scale)
        bar: list[Cell] = [Cell(UNTIL * at, "muted")]
        now_s = leg.start_s
        for stage in STAGES:
            now_s += leg.stages[stage]
            end = round(now_s * scale)
            if end > at:
                bar.append(Cell(LETTERS[stage] * (end - at), stage))
            at = max(at, end)
        if len(bar) == 1 and room > 0:
            longest = max(STAGES, key=lambda stage: leg.stages[stage])
            before = min(at, room - 1)
            bar = [Cell(UNTIL * before, "muted"), Cell(LETTERS[longest], longest)]
        return bar

    def tail(self) -> Sequence[Line]:
        if not self.legs:
            return []
        totals = {stage: sum(leg.stages[stage] for leg in self.legs) for stage in STAGES}
        return [
            [],
            *(
                cells(
                    (LETTERS[stage], stage), f" {stage_name(stage):<{NAME_CELLS}}", (says, "muted")
                )
                for stage, says in SAYS.items()
                if totals[stage]
            ),
        ]
