"""How long a load takes: bars and stages on every rig, or one load drawn as it goes along."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from typing import NamedTuple

from textual import work
from textual.app import ComposeResult
from textual.containers import Vertical
from textual.widget import Widget

from formats.audit import FileAudit
from formats.files import Role
from loadglass.opened import Opened
from loadglass.timing.estimate import Clocking, Times
from loadglass.timing.rig import Rig
from loadglass.timing.timeline import Leg, timeline
from tui.widgets.lettering import Lettering
from tui.widgets.stage_bars import StageBars
from tui.widgets.timeline_view import TimelineView
from tui.wording import count_text, seconds_text

CLOCKING = "computing the times …"
NOT_WHOLE = "it cannot be read whole, so it has no load time"
NOTHING_TO_LOAD = {
    Role.DECORATION: "it decorates the directory: there is nothing to load",
    Role.PARTITION: "a partition is entered, not loaded",
}
NOT_MOUNTED = "{rig} does not mount this layout"
NO_PROGRAM = "nothing on this disk loads as a program"
NO_FILE = "there is no file to load"
CHOOSE_A_FILE = "choose a file to see its load go along"


def why_not(file: FileAudit) -> str:
    """Why a file has no load time."""
    return NOTHING_TO_LOAD.get(file.role, NOT_WHOLE)


class Clocked(NamedTuple):
    """What the times are of."""

    title: str
    says: str
    times: Times | None


class TimesPane(Vertical):
    def __init__(self, opened: Opened, rigs: Sequence[Rig], *, id: str | None = None):
        super().__init__(id=id)
        self.opened = opened
        self.rigs = rigs
        self.file: FileAudit | None = None
        """None: the disk as a whole, all its programs in a row."""
        self.clocking: Clocking | None = None
        """None until it is there."""
        self.lettering = Lettering()
        self._rig = 0

    def compose(self) -> ComposeResult:
        yield StageBars(self.rigs, id="stages")
        yield TimelineView(id="timeline")

    def on_mount(self) -> None:
        self.timeline.display = False

    @property
    def stages(self) -> StageBars:
        return self.query_one(StageBars)

    @property
    def timeline(self) -> TimelineView:
        return self.query_one(TimelineView)

    @property
    def part_shown(self) -> Widget:
        """The one of the two that has the keys."""
        return self.timeline if self.timeline.display else self.stages

    def lay(self) -> None:
        """Take over another file, other times or another lettering."""
        self.stages.show(*self._clocked())
        if self.timeline.display and self.rigs:
            self._draw_timeline(self.file, self.rigs[self._rig])

    def next_form(self) -> None:
        self.stages.display, self.timeline.display = self.timeline.display, self.stages.display
        self.lay()

    def next_rig(self) -> bool:
        """Draw the load on the next rig; False where none is drawn."""
        if self.timeline.display and self.rigs:
            self._rig = (self._rig + 1) % len(self.rigs)
            self.lay()
        return self.timeline.display

    @property
    def _title(self) -> str:
        return f'"{self.lettering.text(self.file.entry.name)}"' if self.file else "The disk"

    def _clocked(self) -> Clocked:
        audit, file = self.opened.audit, self.file
        if self.clocking is None:
            return Clocked(self._title, CLOCKING, None)
        if file is not None:
            times = self.clocking.files[file.entry.slot]
            size = f"{count_text(len(file.chain.blocks), 'block')}, {file.size_bytes:,} bytes"
            return Clocked(self._title, size if times else why_not(file), times)
        programs = sum(each.loadable for each in audit.files)
        if not programs:
            return Clocked(self._title, NO_PROGRAM if audit.files else NO_FILE, None)
        says = f"{count_text(programs, 'program')} in a row"
        return Clocked(self._title, says, self.clocking.all)

    @work(exclusive=True)
    async def _draw_timeline(self, file: FileAudit | None, rig: Rig) -> None:
        if file is None or not file.whole:
            self.timeline.show(self._title, why_not(file) if file else CHOOSE_A_FILE, [])
            return
        legs: list[Leg] = await asyncio.to_thread(
            timeline,
            self.opened.image.geometry,
            self.opened.audit.directory.search_blocks(file.entry.slot),
            file.chain.blocks,
            file.chain.last_bytes,
            rig,
        )
        says = NOT_MOUNTED.format(rig=rig.name)
        if legs:
            says = f"on {rig.name}, {seconds_text(legs[-1].start_s + legs[-1].seconds)}"
        self.timeline.show(self._title, says, legs)
