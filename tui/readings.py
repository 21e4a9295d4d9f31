"""How readings of the stopwatch are said: as sentences, in a table, as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from formats.findings import Severity
from loadglass.bench.diagnose import OFF_BY_S
from loadglass.bench.reading import Reading, Timed
from loadglass.timing.estimate import Estimate
from tui import json_out
from tui.tables import Cell, Column
from tui.wording import seconds_text

IN, NEAR, OUT = "in", "near", "OUT"
"""Whether a reading is in the range that was predicted for it, or no further off than a thumb."""

COLUMNS = [
    Column("Id", right=True),
    Column("When"),
    Column("Timed", wraps=True),
    Column("Rig"),
    Column("Reading", right=True),
    Column("Predicted", right=True),
    Column("90 % range", right=True),
    Column("Off by", right=True),
    Column("Range"),
    Column("Remark", wraps=True),
]


def timed_text(timed: Timed) -> str:
    """`"FOG HORN"`, `"FOG HORN", the first program`, `all programs of HARBOUR NIGHT`."""
    if timed.what == "all":
        return f"all programs of {timed.title.strip() or 'the disk'}"
    name = f'"{timed.file}"'
    return f"{name}, the first program" if timed.what == "start" else name


def when_text(reading: Reading) -> str:
    """`2026-03-09 20:15`, in the place's own time."""
    return reading.when[:16].replace("T", " ")


class Prediction(NamedTuple):
    """What a load should take, and the ends of its 90 % range; seconds."""

    seconds: float
    low: float
    high: float

    @classmethod
    def of(cls, estimate: Estimate) -> Prediction:
        return cls(estimate.seconds, estimate.low, estimate.high)

    @classmethod
    def then(cls, reading: Reading) -> Prediction:
        """What was predicted when the reading was taken."""
        return cls(reading.predicted, reading.low, reading.high)

    @property
    def range_text(self) -> str:
        """`11.9–13.9 s`."""
        return f"{self.low:.1f}–{self.high:.1f} s"

    @property
    def text(self) -> str:
        """`12.8 s predicted, 11.9–13.9 s`."""
        return f"{seconds_text(self.seconds)} predicted, {self.range_text}"

    def holds(self, seconds: float) -> bool:
        """Whether a reading is in the range, or no further from it than a thumb is off."""
        return self.low - OFF_BY_S <= seconds <= self.high + OFF_BY_S

    def word(self, seconds: float) -> str:
        if self.low <= seconds <= self.high:
            return IN
        return NEAR if self.holds(seconds) else OUT

    def off_text(self, seconds: float) -> str:
        """`+0.3 s`: by how much a reading is longer than predicted."""
        return f"{round(seconds - self.seconds, 1) + 0.0:+.1f} s"

    def compared_text(self, seconds: float) -> str:
        """`0.4 s longer than predicted, inside the range`."""
        off = seconds - self.seconds
        if abs(off) < 0.05:
            compared = "as predicted"
        else:
            way = "longer" if off > 0 else "shorter"
            compared = f"{seconds_text(abs(off))} {way} than predicted"
        if self.low <= seconds <= self.high:
            return f"{compared}, inside the range"
        if seconds > self.high:
            outside = f"{seconds_text(seconds - self.high)} above the range"
        else:
            outside = f"{seconds_text(self.low - seconds)} below the range"
        thumb = f"; a thumb is off by up to {seconds_text(OFF_BY_S)}" if self.holds(seconds) else ""
        return f"{compared}, {outside}{thumb}"


def row(reading: Reading) -> list[str | Cell]:
    """A row of COLUMNS: the reading beside what was predicted when it was taken."""
    predicted = Prediction.then(reading)
    word = predicted.word(reading.seconds)
    return [
        str(reading.id),
        when_text(reading),
        timed_text(reading.timed),
        reading.rig,
        seconds_text(reading.seconds),
        seconds_text(predicted.seconds),
        predicted.range_text,
        predicted.off_text(reading.seconds),
        Cell(word, Severity.ODDITY if word == OUT else None),
        reading.remark,
    ]


def record(reading: Reading) -> dict[str, Any]:
    """The keys of `loadglass bench list --json`."""
    timed = reading.timed
    return {
        "id": reading.id,
        "when": reading.when,
        "path": timed.path,
        "file": timed.file if timed.what != "all" else None,
        "rig": reading.rig,
        "seconds": json_out.seconds(reading.seconds),
        "predicted": json_out.seconds(reading.predicted),
        "low": json_out.seconds(reading.low),
        "high": json_out.seconds(reading.high),
        "what": timed.what,
        "slot": timed.slot,
        "title": timed.title,
        "sha256": timed.sha256,
        "remark": reading.remark,
    }


def of_rig(readings: Sequence[Reading], rig: str) -> list[Reading]:
    return [reading for reading in readings if reading.rig == rig]
