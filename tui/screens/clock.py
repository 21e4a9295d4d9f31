"""Clock: where the time of one load goes, on every rig, and what would change it."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from typing import ClassVar

from rich.text import Text
from textual import events, on, work
from textual.app import ComposeResult, CSSPathType
from textual.binding import BindingType
from textual.containers import Horizontal, Vertical
from textual.widget import Widget
from textual.widgets import Static

from formats.errors import LoadglassError
from loadglass.timing.estimate import Clocking, Times, clock_image
from loadglass.timing.rig import Rig
from loadglass.timing.timeline import Leg
from loadglass.timing.whatif import interleave_whatif
from tui import keys
from tui.load_words import NO_PROGRAM, NOT_MOUNTED, why_not
from tui.screens.ask import ChooseOne
from tui.screens.loads import choose_load, slot_of
from tui.screens.view import ImageView, Subject
from tui.widgets.comparison_view import ComparisonView
from tui.widgets.part_tabs import PartTabs
from tui.widgets.row_list import RowList
from tui.widgets.stage_bars import HIGH, SAYS, StageBars, stage_name
from tui.widgets.timeline_view import TimelineView
from tui.widgets.times_pane import CLOCKING
from tui.widgets.whatif_bars import WhatIfBars
from tui.widgets.where_bar import WhereBar
from tui.wording import count_text, seconds_text

PANES = {
    "stages": "Stages",
    "timeline": "Timeline",
    "compare": "Compare",
    "interleave": "Interleave",
}
ROWS = (("stages", "timeline"), ("compare", "interleave"))
"""Panes that stand side by side on a wide screen; a tall one has room for both rows."""
WIDE_FROM_CELLS, TALL_FROM_LINES = 120, 40
ON_EVERY_RIG = "On every rig"
BARS_SAY = f"letters are the stages below, {HIGH} ends the 90 % range"
OF_ONE_FILE = "this is drawn of one file: f chooses one"
LAYING = "laying its blocks otherwise …"
SAME_RIG = "{rig} against itself saves nothing: D chooses another rig to compare with"


class ClockScreen(ImageView):
    view = "clock"
    CSS_PATH: ClassVar[CSSPathType | None] = ["../styles/disk.tcss", "../styles/clock.tcss"]
    BINDINGS: ClassVar[list[BindingType]] = [*keys.CLOCK]

    def __init__(self, subject: Subject):
        super().__init__()
        self.opened, self.slot = subject
        self.clocking: Clocking | None = None
        """None until it is there."""
        self.active = "stages"
        self.rig_name = ""
        """Of the rig that timeline, comparison and interleaves are of."""
        self.against: str | None = None
        """The rig to compare with; None: the stock loader on the same drive."""

    def compose(self) -> ComposeResult:
        with Horizontal(id="top"):
            yield WhereBar(self.view)
            yield PartTabs()
        yield Static(id="load", markup=False)
        with Vertical(id="panes"):
            with Horizontal(id="upper"):
                yield StageBars(list(self.app.session.rigs.values()), id="stages")
                yield TimelineView(id="timeline")
            with Horizontal(id="lower"):
                yield ComparisonView(id="compare")
                yield WhatIfBars(id="interleave")
        yield Static(id="leg", markup=False)
        yield from self.compose_foot()

    @property
    def tabs(self) -> PartTabs:
        return self.query_one(PartTabs)

    @property
    def timeline(self) -> TimelineView:
        return self.query_one(TimelineView)

    @property
    def rig(self) -> Rig:
        return self.app.session.rigs[self.rig_name]

    def refresh_appearance(self) -> None:
        self.timeline.lay()
        super().refresh_appearance()

    def take_rigs(self, rigs: Sequence[Rig]) -> None:
        names = [rig.name for rig in rigs]
        if self.rig_name not in names:
            self.rig_name = self.app.settings.rig
        if self.against not in names:
            self.against = None
        self.query_one(StageBars).rigs = rigs
        self._clock()
        self._draw_timeline()
        self._lay_otherwise()

    def go_by_settings(self) -> None:
        self.rig_name = self.app.settings.rig
        self.choose(self.slot)

    def on_mount(self) -> None:
        for name, label in PANES.items():
            self._pane(name).border_title = label
        self.tabs.labels = PANES
        self.where.about = self.opened.file_name
        rigs = self.app.session.rigs
        wanted = self.app.settings.rig
        self.rig_name = wanted if wanted in rigs else next(iter(rigs))
        self.show_pane("stages")
        self.choose(self.slot)
        self._clock()

    # Panes

    def _pane(self, name: str) -> Widget:
        return self.query_one(f"#{name}")

    def on_resize(self) -> None:
        self._arrange()

    def _arrange(self) -> None:
        width, height = self.app.size
        wide = width >= WIDE_FROM_CELLS
        tall = wide and height >= TALL_FROM_LINES
        self.set_class(wide, "wide")
        for row, holder in zip(ROWS, ("#upper", "#lower"), strict=True):
            here = self.active in row
            self.query_one(holder).display = tall or here
            for name in row:
                self._pane(name).display = tall or (wide and here) or name == self.active
        self.tabs.active = self.active

    def show_pane(self, name: str) -> None:
        """Show a pane and give it the keys."""
        self.active = name
        self._arrange()
        self._pane(name).focus()
        self._say_leg()

    def action_pane_on(self, panes: int) -> None:
        names = list(PANES)
        self.show_pane(names[(names.index(self.active) + panes) % len(names)])

    @on(PartTabs.Asked)
    def _pane_asked(self, message: PartTabs.Asked) -> None:
        self.show_pane(message.pane)

    def on_descendant_focus(self, event: events.DescendantFocus) -> None:
        if event.widget.id in PANES and event.widget.id != self.active:
            self.show_pane(event.widget.id)

    # What is clocked

    def choose(self, slot: int | None) -> None:
        self.slot = slot
        self._lay()
        self._draw_timeline()
        self._lay_otherwise()

    @work(group="clock")
    async def _clock(self) -> None:
        rigs = list(self.app.session.rigs.values())
        self.clocking = await asyncio.to_thread(clock_image, self.opened.audit, rigs)
        if self in self.app.screen_stack:  # otherwise it was left meanwhile, and its parts are gone
            self._lay()

    def action_file(self) -> None:
        def take(answer: str | None) -> None:
            if answer is not None:
                self.choose(slot_of(answer))

        self.app.push_screen(choose_load(self.opened.audit, self.slot, "Clock what?"), take)

    def action_drive(self) -> None:
        names = list(self.app.session.rigs)
        self.rig_name = names[(names.index(self.rig_name) + 1) % len(names)]
        self.choose(self.slot)

    def action_against(self) -> None:
        """Choose the rig to compare with."""
        rigs = self.app.session.rigs.values()
        lines = [(rig.name, f"{rig.name:<18} {seconds_text(self._seconds(rig))}") for rig in rigs]

        def take(name: str | None) -> None:
            if name is not None:
                self.against = name
                self._compare()
                self.show_pane("compare")

        question = ChooseOne(f"Compare {self.rig.name} with", lines, self._against)
        self.app.push_screen(question, take)

    def _seconds(self, rig: Rig) -> float | None:
        estimate = self._times.get(rig.name) if self._times else None
        return estimate.seconds if estimate else None

    # What is shown of it

    @property
    def _title(self) -> str:
        return f'"{self.file.entry.text}"' if self.file else "all programs in a row"

    @property
    def _times(self) -> Times | None:
        if self.clocking is None:
            return None
        return self.clocking.all if self.file is None else self.clocking.files[self.file.entry.slot]

    @property
    def _why_no_times(self) -> str:
        """Why there are none; empty where there are."""
        if self.clocking is None:
            return CLOCKING
        if self.file is not None:
            return "" if self._times else why_not(self.file)
        return "" if any((self._times or {}).values()) else NO_PROGRAM

    def _lay(self) -> None:
        """Show the times, once they are there."""
        file, why_no = self.file, self._why_no_times
        size = ""
        if file is not None:
            size = f"{count_text(file.walked_blocks, 'block')}, {file.size_bytes:,} bytes"
        load = " · ".join(filter(None, (self._title, size, why_no)))
        self.query_one("#load", Static).update(Text(load, no_wrap=True, overflow="ellipsis"))
        self.query_one(StageBars).show(
            ON_EVERY_RIG, why_no or BARS_SAY, None if why_no else self._times
        )
        self._compare()

    # One rig beside another

    @property
    def _against(self) -> str:
        return self.against or self.app.session.stock_of(self.rig.name)

    def _compare(self) -> None:
        pair = self._against, self.rig.name
        estimates = [self._times.get(rig) if self._times else None for rig in pair]
        before, after = estimates
        says = self._why_no_times
        if pair[0] == pair[1]:
            before, says = None, SAME_RIG.format(rig=pair[0])
        elif not says and (before is None or after is None):
            says = NOT_MOUNTED.format(rig=pair[0] if before is None else pair[1])
        both = (before, after) if before is not None and after is not None else None
        self.query_one(ComparisonView).show(pair, both, says)

    # One load drawn in time

    @work(exclusive=True, group="timeline")
    async def _draw_timeline(self) -> None:
        if self.file is None:
            self.timeline.show(self._title, OF_ONE_FILE, [])
        else:
            await self.timeline.draw(self._title, self.opened, self.file, self.rig)
        self._say_leg()

    @on(RowList.Highlighted, "#timeline")
    def _leg_highlighted(self) -> None:
        self._say_leg()

    @on(RowList.Chosen, "#timeline")
    def _leg_chosen(self) -> None:
        self.app.show_view("disk")

    def _say_leg(self) -> None:
        """The part of the load under the timeline's cursor, in words."""
        legs = self.timeline.legs
        part = self.query_one("#leg", Static)
        part.display = bool(legs) and self.timeline.display
        if legs:
            part.update(Text(leg_text(legs, self.timeline.cursor)))

    # Other interleaves

    @work(exclusive=True, group="interleave")
    async def _lay_otherwise(self) -> None:
        shown, file, rig = self.query_one(WhatIfBars), self.file, self.rig
        if file is None or not file.whole or not file.chain.blocks:
            shown.show(rig.name, None, why_not(file) if file else OF_ONE_FILE)
            return
        shown.show(rig.name, None, LAYING)
        try:
            whatif = await asyncio.to_thread(
                interleave_whatif, self.opened.audit, file.entry.slot, [rig]
            )
        except LoadglassError as error:
            shown.show(rig.name, None, str(error))
        else:
            shown.show(rig.name, whatif)


def leg_text(legs: list[Leg], at: int) -> str:
    """`track 17: 20 blocks from 1.1 s on, 2.30 s, most of it transfer; then 20 of 202 ...`."""
    leg = legs[at]
    most = stage_name(max(leg.stages, key=lambda stage: leg.stages[stage]))
    takes = f"from {seconds_text(leg.start_s)} on, {leg.seconds:.2f} s"
    if leg.track is None:
        return f"{stage_name(leg.name)}: {takes}; {SAYS[leg.name]}"
    blocks = sum(each.blocks for each in legs)
    done = sum(each.blocks for each in legs[: at + 1])
    way = f"the head goes {count_text(abs(leg.moved), 'track')}" if leg.moved else ""
    if way:
        way += f" {'up' if leg.moved > 0 else 'down'}, {leg.move_s * 1000:,.0f} ms; "
    return (
        f"{leg.name}: {count_text(leg.blocks, 'block')} {takes}, most of it {most}; {way}"
        f"then {done:,} of {count_text(blocks, 'block')} have been read"
    )
