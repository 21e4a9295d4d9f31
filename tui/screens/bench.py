"""Bench: a stopwatch for the chosen file, the readings of its rig, and what they make of it."""

from __future__ import annotations

import asyncio
from functools import partial
from typing import ClassVar

from rich.text import Text
from textual import work
from textual.app import ComposeResult, CSSPathType
from textual.binding import BindingType
from textual.containers import Horizontal, Vertical
from textual.widgets import Static

from formats.errors import LoadglassError
from formats.geometry import Place
from loadglass.bench.memory_check import memory_check
from loadglass.bench.reading import (
    Timed,
    parse_seconds,
    take_reading,
    timed_all,
    timed_file,
    timed_start,
)
from loadglass.opened import Opened
from loadglass.timing.rig import Rig
from tui import keys
from tui.readings import Prediction, of_rig, timed_text
from tui.screens.ask import AskText, ChooseOne
from tui.screens.disk import DiskScreen
from tui.screens.hung import Hung
from tui.screens.loads import choose_load, slot_of
from tui.screens.logbook import Logbook, say
from tui.screens.sums import Sums
from tui.screens.timing import Timing
from tui.screens.view import Subject
from tui.watch import State
from tui.widgets.reading_list import ReadingList
from tui.widgets.stopwatch import Stopwatch
from tui.wording import count_text

WIDE_FROM_CELLS = 120
LOW_BELOW_LINES, TALL_FROM_LINES = 24, 42
NO_IMAGE = "choose an image on the shelf to time it"
NOT_MOUNTED = "{rig} does not mount {layout} images: choose another rig"


class BenchScreen(Timing, Logbook):
    view = "bench"
    CSS_PATH: ClassVar[CSSPathType | None] = ["../styles/disk.tcss", "../styles/bench.tcss"]
    BINDINGS: ClassVar[list[BindingType]] = [*keys.BENCH]

    def __init__(self, subject: Subject | None):
        """subject: what is to be timed; None where no image is chosen."""
        super().__init__()
        self.opened = subject.opened if subject else None
        self.slot = subject.slot if subject else None
        """Of the file that is timed; None: all programs in a row."""
        self.timed: Timed | None = None

    def compose_view(self) -> ComposeResult:
        yield Static(id="timed", markup=False)
        yield Static(id="on", markup=False)
        with Horizontal(id="bench"):
            with Vertical(id="clock"):
                yield Stopwatch()
                yield Static(id="says", markup=False)
                yield Static(id="plot", markup=False)
            with Vertical(id="log"):
                yield ReadingList()
        yield Static(id="diagnosis", markup=False)

    def on_mount(self) -> None:
        self.table.focus()
        self.go_by_settings()
        self.refresh_appearance()
        self.read_log()

    def on_resize(self) -> None:
        width, height = self.app.size
        self.set_class(width >= WIDE_FROM_CELLS, "wide")
        self.set_class(height < LOW_BELOW_LINES and width < WIDE_FROM_CELLS, "low")
        self.set_class(height >= TALL_FROM_LINES, "tall")

    def refresh_appearance(self) -> None:
        self.stopwatch.plain_glyphs = self.app.plain_glyphs
        self.stopwatch.lay()
        super().refresh_appearance()

    @property
    def subject(self) -> Subject | None:
        if self.opened is None:
            return None
        return Subject(self.opened, self.slot)

    def take_subject(self, subject: Subject) -> None:
        if self.stopwatch.state is State.READY:
            self.opened = subject.opened
            self._time(subject.slot)

    # What is timed, on which rig

    def _time(self, slot: int | None) -> None:
        """Make that the load which is timed, and predict it."""
        self.slot = slot
        self.timed = None
        says = NO_IMAGE
        if self.opened is not None:
            try:
                self.timed = self._timed(self.opened)
            except LoadglassError as error:
                says = f"{error}"
        self._predict(says)

    def _timed(self, opened: Opened) -> Timed:
        first = opened.audit.first_program
        if self.slot is None:
            return timed_all(opened)
        if first is not None and first.entry.slot == self.slot:
            return timed_start(opened)
        return timed_file(opened, self.slot)

    def _predict(self, says: str) -> None:
        rig, timed = self.rig, self.timed
        estimate = timed.estimate(rig) if timed else None
        if timed is not None and estimate is None:
            says = NOT_MOUNTED.format(rig=rig.name, layout=timed.places.geometry.name)
        self.stopwatch.predict(Prediction.of(estimate) if estimate else None, says)
        line = "nothing to time"
        if timed is not None:
            line = f"{timed_text(timed)} · {count_text(timed.blocks, 'block')}"
        self.query_one("#timed", Static).update(_line(line))
        self.query_one("#on", Static).update(Text(f"on {rig.name}: {rig.description}"))
        self.where.about = self.opened.file_name if self.opened else ""
        self.show_remark()
        self.refresh_bindings()

    def action_file(self) -> None:
        """Choose what is timed."""
        if self.opened is None:
            return

        def take(answer: str | None) -> None:
            if answer is not None:
                self._time(slot_of(answer))

        self.app.push_screen(choose_load(self.opened.audit, self.slot, "What is timed?"), take)

    def action_drive(self) -> None:
        rigs = self.app.session.rigs.values()
        lines = [(rig.name, f"{rig.name:<18} {self._of(rig)}") for rig in rigs]
        self.app.push_screen(
            ChooseOne("Which rig is timed?", lines, self.rig.name),
            lambda name: self.choose_rig(name) if name is not None else None,
        )

    def _of(self, rig: Rig) -> str:
        estimate = self.timed.estimate(rig) if self.timed else None
        readings = count_text(len(of_rig(self.readings, rig.name)), "reading")
        return f"{Prediction.of(estimate).text}, {readings}" if estimate else readings

    def choose_rig(self, name: str) -> None:
        self.app.settings.bench_rig = name
        self.go_by_settings()

    def go_by_settings(self) -> None:
        self._time(self.slot)
        self.show_readings()

    # Taking a reading

    def show_remark(self) -> None:
        """What to know of the reading that is being taken."""
        lines: list[str] = []
        if self.stopwatch.state is State.STOPPED and self.timed is not None:
            reading = take_reading(self.timed, self.rig, self.stopwatch.seconds)
            lines += self.diagnosis_of(reading)
        if self.remark:
            lines.append(f"remark: {self.remark}")
        say(self.query_one("#says", Static), "\n".join(lines))
        self.diagnose()

    @property
    def is_busy(self) -> bool:
        return self.stopwatch.state is not State.READY

    def kept(self) -> None:
        if self.stopwatch.state is State.STOPPED:
            self.action_throw_away()

    def keep(self, seconds: float, remark: str) -> None:
        if self.timed is not None:
            self.keep_reading(partial(take_reading, self.timed, self.rig, seconds, remark))

    def action_add(self) -> None:
        """Add a reading that another stopwatch took."""
        if self.timed is None:
            return

        def add(text: str | None) -> None:
            if text is not None:
                self.keep(parse_seconds(text), self.remark)

        title = f"{timed_text(self.timed)} on {self.rig.name} took"
        hint = "seconds like 92.4, or 1:32.4"
        self.app.push_screen(AskText(title, hint, check=parse_seconds), add)

    # What went wrong

    def action_hung(self) -> None:
        """Which block was on its way when the load hung."""
        if self.opened is None or self.slot is None:
            return
        stopped = self.stopwatch.state is State.STOPPED
        text = f"{self.stopwatch.seconds:.1f}" if stopped else ""
        self.app.push_screen(Hung(self.opened, self.slot, self.rig, text), self._show_place)

    def _show_place(self, place: Place | None) -> None:
        if place is None or self.opened is None:
            return
        self.app.show_view("disk")
        shown = self.app.screen
        if isinstance(shown, DiskScreen):  # an unkept reading may hold one here
            shown.call_after_refresh(shown.show_block, self.opened.image.geometry.index(*place))

    @work(exclusive=True, group="sums")
    async def action_sums(self) -> None:
        """What the machine should print when it adds up what was loaded."""
        if self.opened is None or self.slot is None:
            return
        try:
            check = await asyncio.to_thread(memory_check, self.opened, self.slot)
        except LoadglassError as error:
            self.app.warn(str(error))
        else:
            self.app.push_screen(Sums(self.opened.audit.by_slot[self.slot].entry.text, check))

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action in ("drive", "file", "remove_rig") and self.is_busy:
            return False
        if action == "add":
            return not self.is_busy and self.stopwatch.prediction is not None
        if action in ("hung", "sums"):
            return self.slot is not None and self.stopwatch.state is not State.RUNNING
        if action == "remove":
            return self.table.row is not None
        return super().check_action(action, parameters)


def _line(text: str) -> Text:
    return Text(text, no_wrap=True, overflow="ellipsis")
