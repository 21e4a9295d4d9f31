"""What each feature of motion.py costs on a rig: mean and variance of each stage.

A turn takes T = 60,000 / rpm ms. Reading one sector takes READ_MS of its zone; sector s begins at
s / n of a turn. Having read a block the drive is busy, then (after the lead) it looks for the next
one and waits until it comes by.

What the model settles where it could be otherwise:

- Every block has a lead before it, the first one and those of a loader that takes sectors as they
  come too; a card has no lead.
- Busy time jitters on every drive and whatever follows it; the end of the last block too.
- A loader that takes sectors as they come waits half a pitch for each block, the first one on a
  track too; it searches the directory in order like any other. It stays on a track until it has
  all that the file has there, also what the chain comes back for later (`ImagePlaces.taken`).
- A command takes its time, so the angle at the first directory block is unknown, also where the
  head is on that track already.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np

from formats.geometry import DATA_BYTES
from loadglass.timing.motion import (
    ANY,
    BYTES,
    COMING,
    COMMANDS,
    CYLINDERS,
    DIRECTORY,
    FILE,
    FILE_FEATURES,
    FIRST,
    FRESH,
    MOVE,
    SEARCH_CYLINDERS,
    SEARCH_FEATURES,
    SPIN_UPS,
    STEP,
    STEP_GAP,
    STEP_ZONE,
    ZONE_SECTORS,
    ZONES,
    FloatArray,
)
from loadglass.timing.rig import FIGURES, Rig

STAGES = ("command", "setup", "spin_up", "find", "seek", "rotate", "read", "transfer")

BIT_CELLS_US = np.array([3.25, 3.5, 3.75, 4.0])
"""By zone: a 16 MHz clock divided by 13 to 16, then by 4. Drive manuals, from memory."""
WRITTEN_BYTES = 354
"""One sector as it is written, from its first sync mark to the data block's last byte."""
READ_MS = WRITTEN_BYTES * 8 * BIT_CELLS_US / 1000

JITTER_SHARE = 0.01
JITTER_MS = 1.5
"""Busy time has a standard deviation of that share of it, but of no less than this."""

SPREAD_DEVIATIONS = 1.6448536269514722
"""A spread is half of a 90 % range: so many standard deviations of a normal distribution."""
DRAWS = 512
CASES = 4
GENERATOR = 625
"""Of all below 2 * DRAWS one of the best for 5th and 95th percentiles of weighted sums."""

_ZONE_OF_ARRIVAL = np.concatenate([STEP_ZONE, np.arange(ZONES), np.arange(ZONES)])
_FEATURES = SEARCH_FEATURES + FILE_FEATURES
_FILE = SEARCH_FEATURES + FILE
_CYLINDERS = SEARCH_FEATURES + CYLINDERS
_BYTES = SEARCH_FEATURES + BYTES


@dataclass(frozen=True, eq=False)
class Prices:
    """Prices of one rig at its nominal figures, or of many draws of its figures.

    The last axis is the stages (seconds of one load are the sum over all) or the draws.
    """

    search: FloatArray
    """Seconds; shape (SEARCH_FEATURES, stages or draws)."""
    file: FloatArray
    """Seconds; shape (FILE_FEATURES, stages or draws)."""
    search_variance: FloatArray
    """Seconds squared; shape (SEARCH_FEATURES, 1 or draws)."""
    file_variance: FloatArray
    """Seconds squared; shape (FILE_FEATURES, 1 or draws)."""


@lru_cache(maxsize=64)
def nominal_prices(rig: Rig) -> Prices:
    """Prices by stage at the rig's own figures."""
    values = {name: np.array([rig.value(name)]) for name in FIGURES}
    stages = {stage: i for i, stage in enumerate(STAGES)}
    means, variance = _price(values, rig, stages)
    return _prices(means[:, :, 0].T, variance)


@lru_cache(maxsize=16)
def drawn_prices(rig: Rig) -> Prices:
    """Prices, all stages together, for each of DRAWS draws of the rig's figures."""
    values = {}
    for i, name in enumerate(FIGURES):
        figure = rig.figures.get(name)
        spread = figure.spread / SPREAD_DEVIATIONS if figure else 0.0
        # A figure stays above zero, however wide its spread.
        values[name] = rig.value(name) * np.maximum(0.01, 1 + spread * deviations()[i])
    return prices_at(rig, values)


def prices_at(rig: Rig, values: Mapping[str, FloatArray]) -> Prices:
    """Prices, all stages together, at other figures than the rig's own.

    `values` holds every figure of FIGURES, each of shape (draws,).
    """
    means, variance = _price(values, rig, dict.fromkeys(STAGES, 0))
    return _prices(means[0], variance)


def _prices(means_ms: FloatArray, variance_ms2: FloatArray) -> Prices:
    means, variance = means_ms / 1e3, variance_ms2 / 1e6
    return Prices(
        search=means[:SEARCH_FEATURES],
        file=means[SEARCH_FEATURES:],
        search_variance=variance[:SEARCH_FEATURES],
        file_variance=variance[SEARCH_FEATURES:],
    )


class _Sheet:
    """Prices while they are put together: ms by stage, and ms² of all stages together.

    Shapes (stages, features, draws) and (features, draws).
    """

    def __init__(self, figures: Mapping[str, FloatArray], stages: Mapping[str, int]):
        """figures: each of shape (draws,). stages: the row of each stage."""
        draws = len(figures["byte"])
        self.figures = figures
        self.stages = stages
        self.means = np.zeros((max(stages.values()) + 1, _FEATURES, draws))
        self.variance = np.zeros((_FEATURES, draws))

    def charge(self, stage: str, rows: int | slice, ms: FloatArray) -> None:
        self.means[self.stages[stage], rows] += ms

    def __getitem__(self, figure: str) -> FloatArray:
        return self.figures[figure]

    @property
    def look(self) -> FloatArray:
        """Busy time after a directory sector."""
        return self["decode"] + self["scan"]

    @property
    def busy(self) -> FloatArray:
        """Busy time after a block of a file that is sent whole."""
        return self["decode"] + DATA_BYTES * self["byte"] + self["block"]

    @property
    def turn(self) -> FloatArray:
        return 60_000 / self["rpm"]


def _price(
    figures: Mapping[str, FloatArray], rig: Rig, stages: Mapping[str, int]
) -> tuple[FloatArray, FloatArray]:
    """Means and variance as of _Sheet."""
    sheet = _Sheet(figures, stages)
    _price_any_drive(sheet)
    if rig.spins:
        _price_motion(sheet)
        if rig.order == "any":
            _price_sectors_as_they_come(sheet)
        else:
            _price_sectors_in_order(sheet)
    return sheet.means, sheet.variance


def _price_any_drive(sheet: _Sheet) -> None:
    """All but motion.

    The variance of a busy time is charged to the arrival that follows it. A file's last block has
    none after it, and its first one none before it: so the fresh arrival takes it. (That it is
    charged as a full block is off by less than (1 % of a block's time)², some 25 ms².)
    """
    sheet.charge("command", COMMANDS, sheet["command"])
    sheet.charge("setup", COMMANDS, sheet["setup"])
    sheet.charge("spin_up", SPIN_UPS, sheet["spin_up"])
    sheet.charge("find", _rows(DIRECTORY, ANY), sheet.look + sheet["fetch"])
    sheet.charge("read", _rows(_FILE, ANY), sheet["decode"] + sheet["fetch"])
    sheet.charge("transfer", _rows(_FILE, ANY), sheet["block"])
    sheet.charge("transfer", _BYTES, sheet["byte"])
    sheet.variance[_rows(DIRECTORY, COMING)] = _jitter(sheet.look) ** 2
    sheet.variance[_rows(FIRST, COMING)] = _jitter(sheet.look) ** 2
    sheet.variance[_rows(_FILE, ANY)] = _jitter(sheet.busy) ** 2


def _price_motion(sheet: _Sheet) -> None:
    """Reading, lead, moves of the head, and the search of the directory."""
    read = READ_MS[_ZONE_OF_ARRIVAL, None]
    sheet.charge("find", _rows(DIRECTORY, ANY), read + sheet["lead"])
    sheet.charge("find", _rows(FIRST, COMING), sheet["lead"])
    sheet.charge("find", _rows(DIRECTORY, MOVE), sheet["settle"])
    sheet.charge("find", _rows(FIRST, MOVE), sheet["settle"])
    sheet.charge("find", SEARCH_CYLINDERS, sheet["step"])
    sheet.charge("read", _rows(_FILE, ANY), read)
    sheet.charge("rotate", _rows(_FILE, COMING), sheet["lead"])
    sheet.charge("seek", _rows(_FILE, MOVE), sheet["settle"])
    sheet.charge("seek", _CYLINDERS, sheet["step"])
    _charge_steps(sheet, "find", DIRECTORY, sheet.look)
    _charge_unknown_angle(sheet, "find", DIRECTORY, MOVE)
    _charge_unknown_angle(sheet, "find", DIRECTORY, FRESH)


def _price_sectors_in_order(sheet: _Sheet) -> None:
    _charge_steps(sheet, "find", FIRST, sheet.look)
    _charge_steps(sheet, "rotate", _FILE, sheet.busy)
    _charge_unknown_angle(sheet, "find", FIRST, MOVE)
    _charge_unknown_angle(sheet, "rotate", _FILE, MOVE)


def _price_sectors_as_they_come(sheet: _Sheet) -> None:
    """Whatever comes by next will do: it is anywhere within a pitch."""
    pitch = sheet.turn / np.array(ZONE_SECTORS)[_ZONE_OF_ARRIVAL[COMING], None]
    for stage, group in (("find", FIRST), ("rotate", _FILE)):
        sheet.charge(stage, _rows(group, COMING), pitch / 2)
        sheet.variance[_rows(group, COMING)] += pitch**2 / 12


def _charge_steps(sheet: _Sheet, stage: str, group: int, busy: FloatArray) -> None:
    """Waits for another sector of the same track, after such a busy time."""
    share = (STEP_GAP / np.array(ZONE_SECTORS)[STEP_ZONE])[:, None]
    ready = READ_MS[STEP_ZONE, None] + busy + sheet["lead"]
    nominal = (share * sheet.turn - ready) % sheet.turn
    wait, variance = expected_wait(nominal, _jitter(busy), sheet.turn)
    sheet.charge(stage, _rows(group, STEP), wait)
    sheet.variance[_rows(group, STEP)] = variance


def _charge_unknown_angle(sheet: _Sheet, stage: str, group: int, arrivals: slice) -> None:
    sheet.charge(stage, _rows(group, arrivals), sheet.turn / 2)
    sheet.variance[_rows(group, arrivals)] += sheet.turn**2 / 12


def _rows(group: int, arrivals: slice) -> slice:
    return slice(group + arrivals.start, group + arrivals.stop)


def _jitter(busy: FloatArray) -> FloatArray:
    """Standard deviation of a busy time; ms."""
    return np.maximum(JITTER_SHARE * busy, JITTER_MS)


def expected_wait(
    nominal: FloatArray, jitter: FloatArray, turn: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Mean of the wait for a sector, and variance of busy and wait together; ms, ms².

    Let busy be b + J, J normal with mean 0 and standard deviation `jitter`, and A the `nominal`
    wait, that for J = 0, in [0, T). The sector comes by at b + A + kT for every whole k, and the
    first passage not before b + J is taken. With K the number of turns lost,

        busy + wait = b + A + T K,    K the smallest whole number with A + T K >= J.

    J itself has gone: late or early by less than the wait changes nothing. So the wait has the
    mean A + T E[K], and busy and wait together the variance T² Var[K], where for k = 1, 2, ...

        P(K >= k) = P(J > A + (k - 1) T)    the sector is missed, and the k - 1 after it
        P(K <= -k) = P(J <= A - k T)        so early that an earlier passage is caught

    E[K] = sum of P(K >= k) - P(K <= -k), and E[K²] = sum of (2k - 1) (P(K >= k) + P(K <= -k)).
    Terms further than 6.5 standard deviations off are left out (less than 1e-10).
    """
    lost = np.zeros(np.broadcast_shapes(nominal.shape, jitter.shape, turn.shape))
    lost_squared = np.zeros_like(lost)
    for k in range(1, 2 + int(6.5 * float(np.max(jitter / turn)))):
        missed = _normal_cdf((-nominal - (k - 1) * turn) / jitter)
        caught = _normal_cdf((nominal - k * turn) / jitter)
        lost += missed - caught
        lost_squared += (2 * k - 1) * (missed + caught)
    return nominal + turn * lost, turn**2 * (lost_squared - lost**2)


def _normal_cdf(x: FloatArray) -> FloatArray:
    """Normal distribution function to within 7.5e-8: numpy has none and SciPy is heavy.

    Abramowitz and Stegun, Handbook of Mathematical Functions, 1964, formula 7.1.26 (erf to within
    1.5e-7).
    """
    z = np.abs(x) / np.sqrt(2)
    t = 1 / (1 + 0.3275911 * z)
    tail = (((1.061405429 * t - 1.453152027) * t + 1.421413741) * t - 0.284496736) * t + 0.254829592
    tail = tail * t * np.exp(-z * z) / 2
    return np.where(x < 0, tail, 1 - tail)


def normal_quantiles(count: int) -> FloatArray:
    """The middles of `count` equally likely parts of a normal distribution; shape (count,)."""
    shares = (np.arange(count) + 0.5) / count
    above = np.maximum(shares, 1 - shares)
    z = np.zeros(count)
    # Newton from 0 never overshoots, for above 0 the distribution function bends downwards.
    for _ in range(12):
        density = np.exp(-z * z / 2) / np.sqrt(2 * np.pi)
        z += (above - _normal_cdf(z)) / density
    return np.where(shares < 0.5, -z, z)


@cache
def deviations() -> FloatArray:
    """Normal deviations of each draw; shape (figures + CASES, DRAWS).

    The first rows are the figures', in the order of FIGURES; the others are for what happens
    within a load once its figures are drawn: CASES cases of each draw.

    The points of a lattice (Korobov's, generator GENERATOR) and not of a random generator: the
    same on every machine, each row takes each of DRAWS equally likely values once, and each draw
    has its mirror image. A range from them is within some 2 % of its width from that of endless
    random draws.
    """
    odd = 2 * np.arange(DRAWS) + 1
    generators = np.array([pow(GENERATOR, i + 1, 2 * DRAWS) for i in range(len(FIGURES) + CASES)])
    return normal_quantiles(DRAWS)[np.outer(generators, odd) % (2 * DRAWS) // 2]
