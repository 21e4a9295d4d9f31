"""A rig fitted to readings: `byte` and `setup` anew, and ranges as the readings support them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from formats.errors import LoadglassError
from formats.visible import visible
from loadglass.bench.demerit import demerit
from loadglass.bench.fit import SIZES_APART_S, Fit, fit_readings, predicted_s
from loadglass.bench.posterior import joined, only
from loadglass.bench.reading import THUMB_S, Reading
from loadglass.bench.recast import recast
from loadglass.timing.estimate import Estimate
from loadglass.timing.loads import Loads
from loadglass.timing.motion import FloatArray
from loadglass.timing.rig import TEXT_LIMIT, Figure, Rig, RigError, is_rig_name
from loadglass.timing.rig_files import BUILT_IN

BUS_LIMIT_MS = 0.8
"""No byte takes less over the bus by its published timing table (programmer's reference of the
1980s, from memory); loaders with a signalling of their own are not bound by it."""
HARDLY = 0.7
"""The byte time keeping so much of its uncertainty, readings have hardly told it."""
SPREAD_BY = "; spread by "
CALIBRATED = ", calibrated"


class CannotCalibrate(LoadglassError):
    """Readings that no rig can be fitted to; the sentence says why."""


@dataclass(frozen=True)
class Comparison:
    """A reading beside what both rigs say to it."""

    reading: Reading
    before: Estimate
    after: Estimate
    left_out: bool

    @property
    def off_s(self) -> float:
        """What the reading took longer than the calibrated rig says."""
        return self.reading.seconds - self.after.seconds


@dataclass(frozen=True)
class Calibration:
    """A rig fitted to readings."""

    base: Rig
    rig: Rig
    """Like the base, with other values of `fitted` and other spreads; its name is the user's."""
    fitted: tuple[str, ...]
    """The figures whose values were fitted."""
    comparisons: tuple[Comparison, ...]
    """Of every reading, in the order given."""
    notes: tuple[str, ...]
    """What a person should know of the fit; one sentence each."""
    demerit_before: float
    """Demerit figure of the readings used, by the base and by the calibrated rig."""
    demerit_after: float

    @property
    def left_out(self) -> list[Reading]:
        return [each.reading for each in self.comparisons if each.left_out]


def usual_name(base: Rig) -> str:
    """The name that a calibrated rig gets where none is given."""
    return f"my-{base.name}" if base.name in BUILT_IN else base.name


def evidence_for(
    rig: Rig, rigs: Mapping[str, Rig], readings: Iterable[Reading]
) -> tuple[Rig, list[Reading]]:
    """What to fit when a rig is to be calibrated, and the readings to fit it to.

    A rig that was calibrated is fitted anew from the rig that it came from: to the readings that
    made it, and to those that were taken on it since.
    """
    base = rigs.get(rig.based_on or "")
    if base is None or not rig.description.endswith(CALIBRATED):
        base = rig
    return base, [each for each in readings if each.rig in (base.name, rig.name)]


def calibrate(base: Rig, readings: Sequence[Reading], name: str | None = None) -> Calibration:
    """Fit a rig to readings that were taken on it.

    From two or more readings of different sizes byte time and setup, otherwise the byte time
    alone. Raises CannotCalibrate, RigError on a name that the rig cannot have.
    """
    name = _checked_name(name or usual_name(base))
    loads, seconds = _evidence(base, readings)
    fit = fit_readings(base, loads, seconds)
    kept = fit.kept
    _refuse_negative_slope(base, only(loads, kept), seconds[kept])
    rig = recast(fit.found, fit.prior, only(loads, kept), setup_too=fit.setup_too)
    _refuse_faster_than_the_bus(base, rig)
    fitted = ("byte", "setup") if fit.setup_too else ("byte",)
    used = [reading for reading, keep in zip(readings, kept, strict=True) if keep]
    rig = _described(rig, base, name, fitted, used)
    before, after = (_estimates(each, readings) for each in (base, rig))
    return Calibration(
        base=base,
        rig=rig,
        fitted=fitted,
        comparisons=tuple(
            Comparison(reading, was, now, not keep)
            for reading, was, now, keep in zip(readings, before, after, kept, strict=True)
        ),
        notes=(*_says_of_readings(fit, loads, readings), *_says_of_fit(fit, used)),
        demerit_before=_demerit(before, seconds, kept),
        demerit_after=_demerit(after, seconds, kept),
    )


def _evidence(base: Rig, readings: Sequence[Reading]) -> tuple[Loads, FloatArray]:
    if not readings:
        raise CannotCalibrate(
            f"there are no readings of {base.name}: take some with `loadglass bench start`"
        )
    for reading in readings:
        layout = reading.timed.places.geometry
        if not base.mounts(layout):
            raise CannotCalibrate(
                f"{_named(reading)} is of a {layout.name} image, which {base.name} does not mount: "
                "remove it or calibrate another rig"
            )
    loads = joined([reading.timed.counts(base.order) for reading in readings])
    return loads, np.array([reading.seconds for reading in readings])


def _estimates(rig: Rig, readings: Sequence[Reading]) -> list[Estimate]:
    found = [reading.timed.estimate(rig) for reading in readings]
    return [estimate for estimate in found if estimate is not None]


def _demerit(estimates: Sequence[Estimate], seconds: FloatArray, kept: NDArray[np.bool_]) -> float:
    predicted = np.array([estimate.seconds for estimate in estimates])
    return demerit(seconds[kept].tolist(), predicted[kept].tolist())


# --- what is refused ----------------------------------------------------------------------------


def _checked_name(name: str) -> str:
    if not is_rig_name(name):
        raise RigError(
            f'"{visible(name)[:40]}" is no name for a rig: use lower-case letters, digits and '
            "single hyphens between them"
        )
    if name in BUILT_IN:
        raise RigError(f'"{name}" is a rig we bring, which stays as it is: choose another name')
    return name


def _refuse_negative_slope(base: Rig, loads: Loads, seconds: FloatArray) -> None:
    predicted = predicted_s(base, loads)
    if len(seconds) < 2 or np.ptp(predicted) < SIZES_APART_S:
        return
    if (predicted - predicted.mean()) @ (seconds - seconds.mean()) > 0:
        return
    longest, shortest = seconds[predicted.argmax()], seconds[predicted.argmin()]
    raise CannotCalibrate(
        f"the longest load took {longest:.1f} s and the shortest {shortest:.1f} s, so a byte would "
        "take less than no time: find the wrong reading in the list and remove it (del on the "
        "Bench, or `loadglass bench remove`)"
    )


def _refuse_faster_than_the_bus(base: Rig, rig: Rig) -> None:
    byte_ms = rig.value("byte")
    if rig.loader == "stock" and byte_ms < BUS_LIMIT_MS:
        raise CannotCalibrate(
            f"a byte would take {byte_ms:.2f} ms, and the stock loader cannot do it in less than "
            f"{BUS_LIMIT_MS} ms over the bus: these are no readings of {base.name}, perhaps the "
            "cartridge was engaged"
        )


# --- what is said -------------------------------------------------------------------------------


def _named(reading: Reading) -> str:
    return f"reading {reading.id}" if reading.id else "a reading"


def _says_of_readings(fit: Fit, loads: Loads, readings: Sequence[Reading]) -> list[str]:
    expected_s = fit.expected_s(only(loads, ~fit.kept)).tolist()
    left_out = [reading for reading, keep in zip(readings, fit.kept, strict=True) if not keep]
    return [
        f"{_named(reading)} is left out: it took {reading.seconds:.1f} s, and by those that are "
        f"kept it should have been {seconds:.1f} s"
        for reading, seconds in zip(left_out, expected_s, strict=True)
    ]


def _says_of_fit(fit: Fit, used: Sequence[Reading]) -> list[str]:
    notes = []
    rig = fit.prior.rig
    if len(used) == 1:
        notes.append(
            "one reading tells the byte time alone; take another of a longer or shorter file to "
            "tell the setup too"
        )
    elif not fit.setup_too:
        notes.append(
            "the readings are of loads of about one length and tell the byte time alone; take "
            "another of a longer or shorter file to tell the setup too"
        )
    if fit.unlike_base:
        notes.append(
            f"the readings are outside what {rig.name} allows, so they alone decide: make sure "
            "that they were taken on it"
        )
    if fit.at_odds:
        notes.append(
            f"the readings do not go together: they are off by {fit.thumb_s:.1f} s, where a thumb "
            f"on a stopwatch is off by {THUMB_S} s; so the ranges stay wide"
        )
    if rig.spins and fit.found.log_byte_deviation > HARDLY * fit.prior.log_byte:
        notes.append(
            "the readings hardly tell the byte time: on a turning disk it hides in the wait for "
            "the next sector"
        )
    return notes


def _described(
    rig: Rig, base: Rig, name: str, fitted: Sequence[str], used: Sequence[Reading]
) -> Rig:
    """The rig with its new name, and with sources that say where the new figures are from."""
    blocks = sorted(reading.timed.blocks for reading in used)
    lengths = (
        f"{blocks[0]} to {blocks[-1]} blocks" if blocks[0] < blocks[-1] else f"{blocks[0]} blocks"
    )
    count = "1 reading" if len(used) == 1 else f"{len(used)} readings"
    by = f"{count} of {lengths}, calibrated {date.today().isoformat()}"

    def described(figure_name: str, figure: Figure) -> Figure:
        was = base.figures[figure_name]
        if figure_name in fitted:
            source = f"{by}; {was.value:g} {was.unit} in {base.name}"
        elif figure.spread != was.spread:
            source = f"{was.source.partition(SPREAD_BY)[0]}{SPREAD_BY}{by}"
        else:
            source = was.source
        return replace(figure, source=source[:TEXT_LIMIT])

    return replace(
        rig,
        name=name,
        description=f"{base.description.removesuffix(CALIBRATED)}{CALIBRATED}"[:TEXT_LIMIT],
        figures={key: described(key, figure) for key, figure in rig.figures.items()},
        based_on=base.name if base.name != name else base.based_on,
    )
