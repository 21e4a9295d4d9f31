"""Bench: a stopwatch for the chosen file, the readings of its rig, and what they make of it."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import ClassVar

from rich.text import Text
from textual import on, work
from textual.app import ComposeResult, CSSPathType
from textual.binding import BindingType
from textual.containers import Horizontal, Vertical
from textual.widgets import Static

from formats.audit import FileAudit
from formats.errors import LoadglassError
from loadglass.bench.log import BenchLog
from loadglass.bench.reading import (
    Reading,
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
from tui.diagnoses import diagnosis
from tui.readings import Prediction, of_rig, timed_text, when_text
from tui.scatter import Mark, scatter
from tui.screens.ask import AskText, ChooseOne
from tui.screens.calibrate import Calibrate
from tui.screens.timing import Timing
from tui.screens.view import Subject, View
from tui.watch import State
from tui.widgets.reading_list import ReadingList, Row
from tui.widgets.row_list import RowList
from tui.widgets.stopwatch import Stopwatch
from tui.wording import count_text, seconds_text

WIDE_FROM_CELLS = 120
LOW_BELOW_LINES, TALL_FROM_LINES = 24, 42
PLOT_CELLS, PLOT_LINES = 48, 16
PLOT_SAYS = "readings upwards, predictions to the right: on the dotted\nline both are the same"
NO_IMAGE = "choose an image on the shelf to time it"
NOT_MOUNTED = "{rig} does not mount {layout} images: choose another rig"
NO_READINGS = "no reading of {rig} yet: two of different lengths fit the rig"
ALL = "all"


class BenchScreen(Timing, View):
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
        self.readings: list[Reading] = []
        """The whole log."""
        self._keeping = False

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

    @property
    def table(self) -> ReadingList:
        return self.query_one(ReadingList)

    @property
    def rig(self) -> Rig:
        rigs = self.app.session.rigs
        return rigs.get(self.app.settings.bench_rig) or next(iter(rigs.values()))

    @property
    def bench_log(self) -> BenchLog:
        return BenchLog(self.app.session.home.bench_log)

    def on_mount(self) -> None:
        self.table.focus()
        self._choose_rig(self.rig.name)
        self.refresh_appearance()
        self._read_log()

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
        self.query_one("#on", Static).update(_line(f"on {rig.name}: {rig.description}"))
        self.where.about = self.opened.file_name if self.opened else ""
        self.show_remark()
        self.refresh_bindings()

    def action_file(self) -> None:
        """Choose what is timed."""
        if self.opened is None:
            return
        choices = [(ALL, "all programs in a row")]
        choices += [
            (
                str(file.entry.slot),
                f'"{file.entry.text}"  {count_text(file.walked_blocks, "block")}',
            )
            for file in self.opened.audit.files
            if file.whole and file.chain.blocks
        ]

        def take(chosen: str | None) -> None:
            if chosen is not None:
                self._time(None if chosen == ALL else int(chosen))

        current = ALL if self.slot is None else str(self.slot)
        self.app.push_screen(ChooseOne("What is timed?", choices, current), take)

    def action_drive(self) -> None:
        rigs = self.app.session.rigs.values()
        lines = [(rig.name, f"{rig.name:<18} {self._of(rig)}") for rig in rigs]
        self.app.push_screen(
            ChooseOne("Which rig is timed?", lines, self.rig.name),
            lambda name: self._choose_rig(name) if name is not None else None,
        )

    def _of(self, rig: Rig) -> str:
        estimate = self.timed.estimate(rig) if self.timed else None
        readings = count_text(len(of_rig(self.readings, rig.name)), "reading")
        return f"{Prediction.of(estimate).text}, {readings}" if estimate else readings

    def _choose_rig(self, name: str) -> None:
        self.app.settings.bench_rig = name
        self._time(self.slot)
        self._show_readings()

    # Taking a reading

    def show_remark(self) -> None:
        """What to know of the reading that is being taken."""
        lines: list[str] = []
        if self.stopwatch.state is State.STOPPED and self.timed is not None:
            reading = take_reading(self.timed, self.rig, self.stopwatch.seconds)
            lines += self._diagnosis(reading)
        if self.remark:
            lines.append(f"remark: {self.remark}")
        _say(self.query_one("#says", Static), "\n".join(lines))
        self._diagnose()

    def keep(self, seconds: float, remark: str) -> None:
        if self.timed is not None and not self._keeping:
            self._keep(partial(take_reading, self.timed, self.rig, seconds, remark))

    @work(group="log")
    async def _keep(self, take: Callable[[], Reading]) -> None:
        """Until it is on the disk, the stopwatch goes on showing it."""
        self._keeping = True
        try:
            reading = take()
            (kept,) = await asyncio.to_thread(self.bench_log.add, [reading])
        except LoadglassError as error:
            self.app.warn(str(error), "Not kept")
            return
        finally:
            self._keeping = False
        if self.stopwatch.state is State.STOPPED:
            self.action_throw_away()
        self.notify(f"reading {kept.id}, {seconds_text(kept.seconds)}, is in the log", timeout=4)
        self.readings.append(kept)
        self.table.cursor = 0
        self._show_readings()

    def action_add(self) -> None:
        """Add a reading that another stopwatch took."""
        if self.timed is None:
            return

        def add(text: str | None) -> None:
            if not text or self.timed is None:
                return
            try:
                seconds = parse_seconds(text)
            except LoadglassError as error:
                self.app.warn(str(error))
                return
            self._keep(partial(take_reading, self.timed, self.rig, seconds, self.remark))

        title = f"{timed_text(self.timed)} on {self.rig.name} took"
        self.app.push_screen(AskText(title, "seconds like 92.4, or 1:32.4"), add)

    # The log

    @work(exclusive=True, group="read")
    async def _read_log(self) -> None:
        try:
            contents = await asyncio.to_thread(self.bench_log.read)
        except LoadglassError as error:
            self.app.warn(str(error))
            return
        for problem in contents.problems:
            self.app.warn(problem)
        self.readings = list(contents.readings.values())
        self._show_readings()

    @work(exclusive=True, group="rows")
    async def _show_readings(self) -> None:
        rig = self.rig
        rows = await asyncio.to_thread(_rows, self.readings, rig, self.app.session.rigs)
        own = sum(row.reading.rig == rig.name for row in rows)
        title = f"{count_text(own, 'reading')} of {rig.name}"
        if own < len(rows):
            title += f", {len(rows) - own:,} of rigs like it"
        self.table.border_title = title
        self.table.show(rows, NO_READINGS.format(rig=rig.name))
        self._plot(rows)
        self._diagnose()
        self.refresh_bindings()

    def _plot(self, rows: Sequence[Row]) -> None:
        """Shown where there is room for it."""
        marks = [
            Mark(row.prediction.seconds, row.reading.seconds, "x")
            for row in rows
            if row.prediction is not None
        ]
        lines = [*scatter(marks, PLOT_CELLS, PLOT_LINES), PLOT_SAYS] if len(marks) > 1 else []
        self.query_one("#plot", Static).update(Text("\n".join(lines)))

    @on(RowList.Highlighted)
    def _reading_highlighted(self) -> None:
        self._diagnose()

    def action_remove(self) -> None:
        row = self.table.row
        if row is None:
            return
        reading = row.reading
        what = f"{timed_text(reading.timed)}, {seconds_text(reading.seconds)}"

        def take(answer: str | None) -> None:
            if answer == "remove":
                self._remove(reading)

        self.app.push_screen(
            ChooseOne(
                f"Remove reading {reading.id}, {what}?",
                [("keep", "leave it in the log"), ("remove", "remove it: it counts no more")],
            ),
            take,
        )

    @work(group="log")
    async def _remove(self, reading: Reading) -> None:
        try:
            await asyncio.to_thread(self.bench_log.remove, reading.id)
        except LoadglassError as error:
            self.app.warn(str(error))
        self._read_log()

    # What readings say

    def _diagnose(self) -> None:
        """What the reading under the cursor may mean."""
        row = self.table.row
        busy = self.stopwatch.state is not State.READY
        says = "" if row is None or busy else self._says_of(row)
        _say(self.query_one("#diagnosis", Static), says)

    def _says_of(self, row: Row) -> str:
        reading = row.reading
        parts = [f"reading {reading.id} on {reading.rig}, {when_text(reading)}"]
        if row.prediction is not None:
            parts.append(row.prediction.compared_text(reading.seconds))
        if reading.remark:
            parts.append(reading.remark)
        return "\n".join([" · ".join(parts), *self._diagnosis(reading)])

    def _diagnosis(self, reading: Reading) -> list[str]:
        opened = self.opened
        at_hand = opened is not None and opened.sha256 == reading.timed.sha256
        audit = opened.audit if opened is not None and at_hand else None
        return diagnosis(reading, self.app.session.rigs.values(), audit)

    def action_calibrate(self) -> None:
        rig = self.rig

        def take(written: Rig | None) -> None:
            if written is not None:
                self.app.add_rig(written)
                self._choose_rig(written.name)
                self.notify(f"{written.name} is written: it is the rig that is timed now")

        readings = of_rig(self.readings, rig.name)
        self.app.push_screen(Calibrate(rig, readings, self.app.session.home.rigs), take)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action in ("drive", "file"):
            return self.stopwatch.state is State.READY
        if action == "add":
            return self.stopwatch.prediction is not None
        if action == "calibrate":
            return bool(of_rig(self.readings, self.rig.name))
        if action == "remove":
            return self.table.row is not None
        return super().check_action(action, parameters)


def _file_line(file: FileAudit) -> str:
    return f'"{file.entry.text}"  {count_text(file.walked_blocks, "block")}'


def _say(part: Static, says: str) -> None:
    """Show a text; where there is none, take no room."""
    part.update(Text(says))
    part.display = bool(says)


def _line(text: str) -> Text:
    return Text(text, no_wrap=True, overflow="ellipsis")


def _rows(readings: Sequence[Reading], rig: Rig, rigs: Mapping[str, Rig]) -> list[Row]:
    """Readings of the rig and of its kin, the latest first, and what the rig says to them."""
    rows = []
    for reading in reversed(readings):
        if reading.rig == rig.name or _are_kin(rigs.get(reading.rig), rig):
            estimate = reading.timed.estimate(rig)
            rows.append(Row(reading, Prediction.of(estimate) if estimate else None))
    return rows


def _are_kin(one: Rig | None, other: Rig) -> bool:
    """A rig that was fitted, and what it was fitted from, have the same drive and loader."""
    return one is not None and (one.drive, one.loader) == (other.drive, other.loader)
