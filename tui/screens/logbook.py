"""The bench log on a view: readings of the rig that is timed, and what they make of it."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping, Sequence

from rich.text import Text
from textual import on, work
from textual.widgets import Static

from formats.errors import LoadglassError
from loadglass.bench.calibrate import evidence_for
from loadglass.bench.log import BenchLog
from loadglass.bench.reading import Reading
from loadglass.opened import Opened
from loadglass.own_rigs import set_rig_aside
from loadglass.timing.rig import Rig
from loadglass.timing.rig_files import BUILT_IN
from tui.diagnoses import diagnosis
from tui.readings import Prediction, timed_text, when_text
from tui.rig_calls import set_aside_text
from tui.scatter import Mark, scatter
from tui.screens.ask import ChooseOne
from tui.screens.calibrate import Calibrate, Calibrated
from tui.screens.view import View
from tui.widgets.reading_list import ReadingList, Row
from tui.widgets.row_list import RowList
from tui.wording import count_text, seconds_text

PLOT_CELLS, PLOT_LINES = 48, 16
PLOT_SAYS = "readings upwards, predictions to the right: on the dotted\nline both are the same"
NO_READINGS = "no reading of {rig} yet: two of different lengths fit the rig"


class Logbook(View):
    """Adds the log to a view that has a ReadingList and parts #plot and #diagnosis."""

    opened: Opened | None
    """The image at hand."""
    readings: Sequence[Reading] = ()
    """The whole log."""
    _keeping = False

    @property
    def is_busy(self) -> bool:
        """Whether a reading is being taken: then the others are not spoken of."""
        raise NotImplementedError

    def choose_rig(self, name: str) -> None:
        """Make that the rig that is timed."""
        raise NotImplementedError

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

    @work(group="log")
    async def keep_reading(self, take: Callable[[], Reading]) -> None:
        """Put a reading into the log; once it is on the disk, `kept` is called."""
        if self._keeping:  # the key again, before it was done
            return
        self._keeping = True
        try:
            reading = take()
            (kept,) = await asyncio.to_thread(self.bench_log.add, [reading])
        except LoadglassError as error:
            self.app.warn(str(error), "Not kept")
            return
        finally:
            self._keeping = False
        self.kept()
        self.readings = [*self.readings, kept]
        self.table.cursor = 0
        self.show_readings()

    def kept(self) -> None:
        """A reading has come into the log."""

    @work(exclusive=True, group="read")
    async def read_log(self) -> None:
        try:
            contents = await asyncio.to_thread(self.bench_log.read)
        except LoadglassError as error:
            self.app.warn(str(error))
            return
        if contents.problems:
            first, *more = contents.problems
            self.app.warn(f"{first}; and {len(more):,} more like it" if more else first)
        self.readings = list(contents.readings.values())
        self.show_readings()

    @work(exclusive=True, group="rows")
    async def show_readings(self) -> None:
        rig = self.rig
        rows = await asyncio.to_thread(_rows, self.readings, rig, self.app.session.rigs)
        own = sum(row.reading.rig == rig.name for row in rows)
        title = f"{count_text(own, 'reading')} of {rig.name}"
        if own < len(rows):
            title += f", {len(rows) - own:,} of rigs like it"
        self.table.border_title = title
        self.table.show(rows, NO_READINGS.format(rig=rig.name))
        self._plot(rows)
        self.diagnose()
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
        self.diagnose()

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
        self.read_log()

    def diagnose(self) -> None:
        """What the reading under the cursor may mean."""
        row = self.table.row
        says = "" if row is None or self.is_busy else self._says_of(row)
        say(self.query_one("#diagnosis", Static), says)

    def _says_of(self, row: Row) -> str:
        reading = row.reading
        parts = [f"reading {reading.id} on {reading.rig}, {when_text(reading)}"]
        if row.prediction is not None:
            parts.append(row.prediction.compared_text(reading.seconds))
        if reading.remark:
            parts.append(reading.remark)
        return "\n".join([" · ".join(parts), *self.diagnosis_of(reading)])

    def diagnosis_of(self, reading: Reading) -> list[str]:
        opened = self.opened
        at_hand = opened is not None and opened.sha256 == reading.timed.sha256
        audit = opened.audit if opened is not None and at_hand else None
        return diagnosis(reading, self.app.session.rigs.values(), audit)

    def action_calibrate(self) -> None:
        def take(written: Calibrated | None) -> None:
            if written is not None:
                self.app.rigs.add(written.rig, written.everywhere)
                self.choose_rig(written.rig.name)

        self.app.push_screen(Calibrate(*self._evidence), take)

    @property
    def _evidence(self) -> tuple[Rig, list[Reading]]:
        """What is fitted to which readings when the rig at hand is calibrated."""
        return evidence_for(self.rig, self.app.session.rigs, self.readings)

    def action_remove_rig(self) -> None:
        rig = self.rig

        def take(answer: str | None) -> None:
            if answer == "remove":
                self._remove_rig(rig.name)

        lines = [
            ("keep", "leave it among the rigs"),
            ("remove", f"remove it: {rig.like} is used instead, its file and readings are kept"),
        ]
        self.app.push_screen(ChooseOne(f"Remove the rig {rig.name}?", lines), take)

    @work(group="log")
    async def _remove_rig(self, name: str) -> None:
        folder = self.app.session.home.rigs
        try:
            aside = await asyncio.to_thread(set_rig_aside, name, folder)
        except LoadglassError as error:
            self.app.warn(str(error))
        else:
            self.app.rigs.remove(name)
            self.app.notify(set_aside_text(name, aside))

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action == "calibrate":
            return bool(self._evidence[1])
        if action == "remove_rig":
            return self.rig.name not in BUILT_IN
        return super().check_action(action, parameters)


def say(part: Static, says: str) -> None:
    """Show a text; where there is none, take no room."""
    part.update(Text(says))
    part.display = bool(says)


def _rows(readings: Sequence[Reading], rig: Rig, rigs: Mapping[str, Rig]) -> list[Row]:
    """Readings of the rig, of its kin and of rigs that are gone, the latest first."""
    rows = []
    for reading in reversed(readings):
        if _are_kin(rigs.get(reading.rig, rig), rig):
            estimate = reading.timed.estimate(rig)
            rows.append(Row(reading, Prediction.of(estimate) if estimate else None))
    return rows


def _are_kin(one: Rig, other: Rig) -> bool:
    """A rig that was fitted, and what it was fitted from, have the same drive and loader."""
    return one.like == other.like
