"""A reading of the stopwatch: what was timed, on which rig, how long it took.

It keeps the places of the blocks it was taken on, so that it can be compared and calibrated with
long after the image has moved.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from math import isfinite
from typing import Any, Literal

from formats.audit import FileAudit
from formats.errors import LoadglassError
from formats.findings import Severity, Verdict
from formats.petscii import to_text
from formats.visible import visible
from loadglass.opened import Opened
from loadglass.timing.estimate import Estimate, estimates
from loadglass.timing.loads import Loads, count_images
from loadglass.timing.places import ImagePlaces
from loadglass.timing.rig import Order, Rig

What = Literal["file", "start", "all"]
"""One file from rest; the first program from rest; every program in a row."""

LONGEST_S = 2 * 60 * 60.0
THUMB_S = 0.2
"""Standard deviation of a stopwatch in a hand, start and stop together (common practice, no
source)."""

_TYPED_SECONDS = re.compile(r"(?:(?P<minutes>\d{1,3}):)?(?P<seconds>\d{1,9}(?:[.,]\d{1,9})?) ?s?")


class BadReading(LoadglassError):
    """A reading that cannot be one, or that there is nothing to compare with."""


@dataclass(frozen=True)
class Timed:
    """What the stopwatch was held to."""

    path: str
    """Of the image, as it was opened; may hold any bytes a file name can."""
    sha256: str
    """Of the image's sectors, in hexadecimal."""
    title: str
    """The disk's, harmless for a terminal."""
    what: What
    slot: int | None
    """Of the file that was loaded; None where it was all of them."""
    file: str
    """Its name, harmless for a terminal; empty where it was all of them."""
    file_hex: str
    """The bytes of its name."""
    places: ImagePlaces
    """The directory and the file or files that were loaded, nothing else."""

    def counts(self, order: Order) -> Loads:
        """The load by a loader that takes blocks in that order, counted; one row."""
        counted = count_images(self.places.geometry, [self.places.taken(order)])
        return counted.rows if self.what == "all" else counted.files

    def estimate(self, rig: Rig) -> Estimate | None:
        """What the rig should take; None if it does not mount such an image."""
        return estimates(self.counts(rig.order), rig)[0]

    @property
    def blocks(self) -> int:
        return sum(len(file.blocks) // 2 for file in self.places.files)


@dataclass(frozen=True)
class Reading:
    """One reading, as the bench log keeps it."""

    timed: Timed
    rig: str
    seconds: float
    """From RETURN to READY, or to the title's own start."""
    predicted: float
    """What the clock said at that time, and its range."""
    low: float
    high: float
    when: str
    """ISO 8601, local time with its offset."""
    remark: str = ""
    id: int = 0
    """Given by the log; 0 before."""
    unknown: Mapping[str, Any] = field(default_factory=dict)
    """What a newer loadglass wrote beside these."""


def timed_file(opened: Opened, slot: int) -> Timed:
    """A load of the file of that slot, from rest. Raises BadReading if it has no time."""
    return _timed(opened, "file", opened.audit.by_slot[slot])


def timed_start(opened: Opened) -> Timed:
    """A load of the first program, from rest. Raises BadReading if there is none."""
    return _timed(opened, "start", _first_program(opened))


def timed_all(opened: Opened) -> Timed:
    """A load of every program in a row. Raises BadReading if there is none."""
    _first_program(opened)
    return _timed(opened, "all", None)


def take_reading(
    timed: Timed, rig: Rig, seconds: float, remark: str = "", when: str | None = None
) -> Reading:
    """A reading as it goes into the log, with what the clock says to it now.

    when: ISO 8601; now where None. Raises BadReading.
    """
    estimate = timed.estimate(rig)
    if estimate is None:
        raise BadReading(
            f"the rig {rig.name} does not mount {timed.places.geometry.name} images, such as "
            f"{visible(timed.path)}: name the rig that was timed"
        )
    return Reading(
        timed=timed,
        rig=rig.name,
        seconds=checked_seconds(seconds),
        predicted=estimate.seconds,
        low=estimate.low,
        high=estimate.high,
        when=checked_time(when) if when else now(),
        remark=visible(remark.strip()),
    )


def now() -> str:
    return datetime.now().astimezone().isoformat(timespec="seconds")


def checked_seconds(seconds: float) -> float:
    """The seconds, if a load can take so long. Raises BadReading."""
    if not isfinite(seconds) or seconds < 0:
        raise BadReading(f"{seconds} is no reading: give the seconds that the load took")
    if seconds == 0:
        raise BadReading("0 s is no reading: start the clock at RETURN and stop it at READY")
    if seconds > LONGEST_S:
        raise BadReading(
            f"{seconds:,.0f} s are more than two hours, and no load takes so long: "
            "give the reading in seconds"
        )
    return float(seconds)


def parse_seconds(text: str) -> float:
    """Seconds as a person types them: 92.4, 92,4, 92.4 s, 1:32.4. Raises BadReading."""
    typed = _TYPED_SECONDS.fullmatch(text.strip())
    if typed is None:
        try:
            return checked_seconds(float(text))
        except ValueError:
            raise BadReading(
                f'"{visible(text)[:40]}" is no reading: write seconds like 92.4, or 1:32.4'
            ) from None
    minutes, seconds = int(typed["minutes"] or 0), float(typed["seconds"].replace(",", "."))
    if typed["minutes"] and seconds >= 60:
        raise BadReading(f'"{visible(text)}" is no reading: after minutes seconds stay below 60')
    return checked_seconds(60 * minutes + seconds)


def _timed(opened: Opened, what: What, file: FileAudit | None) -> Timed:
    whole = ImagePlaces.of(opened.audit)
    if file is None:
        files = tuple(places for places in whole.files if places.loadable)
    else:
        files = tuple(places for places in whole.files if places.slot == file.entry.slot)
    if not files:
        assert file is not None
        raise BadReading(_why_no_time(file))
    return Timed(
        path=opened.path,
        sha256=opened.sha256,
        title=to_text(opened.audit.directory.title),
        what=what,
        slot=file.entry.slot if file else None,
        file=file.entry.text if file else "",
        file_hex=file.entry.name.hex() if file else "",
        places=ImagePlaces(whole.geometry, whole.header, whole.directory, files),
    )


def _first_program(opened: Opened) -> FileAudit:
    first = opened.audit.first_program
    if first is None:
        raise BadReading(
            f"no program on {visible(opened.path)} can be loaded whole: nothing to time"
        )
    return first


def _why_no_time(file: FileAudit) -> str:
    name = f'"{file.entry.text}"'
    damage = [finding.says for finding in file.findings if finding.severity is Severity.DAMAGE]
    if file.verdict is Verdict.DAMAGED:
        return f"{name} is damaged and cannot be timed" + (f": {damage[0]}" if damage else "")
    return f"{name} cannot be timed: there is nothing to load from it"


def checked_time(text: str) -> str:
    """A moment with its offset; taken as local time where it has none. Raises BadReading."""
    try:
        moment = datetime.fromisoformat(text)
        return (moment if moment.tzinfo else moment.astimezone()).isoformat(timespec="seconds")
    except (ValueError, OverflowError, OSError):
        raise BadReading(
            f'"{visible(text)[:40]}" is no time of day: write it like 2025-03-09T20:15:00+01:00'
        ) from None
