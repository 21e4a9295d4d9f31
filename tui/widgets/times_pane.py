"""How long a load takes: bars and stages on every rig, or one load drawn as it goes along."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from textual import work
from textual.app import ComposeResult
from textual.containers import Vertical
from textual.widget import Widget

from formats.audit import FileAudit
from loadglass.opened import Opened
from loadglass.timing.estimate import Clocking, Times
from loadglass.timing.rig import Rig
from tui.load_words import NO_FILE, NO_PROGRAM, why_not
from tui.widgets.lettering import Lettering
from tui.widgets.stage_bars import StageBars
from tui.widgets.timeline_view import TimelineView
from tui.wording import count_text

CLOCKING = "computing the times …"
CHOOSE_A_FILE = "choose a file to see its load go along"


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

    def take_rigs(self, rigs: Sequence[Rig]) -> None:
        drawn = self.rigs[self._rig]
        self._rig = rigs.index(drawn) if drawn in rigs else 0
        self.rigs = self.stages.rigs = rigs

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
        if file is None:
            self.timeline.show(self._title, CHOOSE_A_FILE, [])
        else:
            await self.timeline.draw(self._title, self.opened, file, rig)
