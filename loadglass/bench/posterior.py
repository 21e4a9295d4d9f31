"""What readings say about a rig's figures, and how surely.

A stopwatch cannot tell all figures apart. Those that always act together are fitted as one:
whatever a block costs as `byte`, whatever a load costs once as `setup`, each with the uncertainty
of its whole group. The rest keep their values, and their uncertainty counts.

Load times are anything but linear in the byte time, for a sector that is just missed costs a
turn. So its logarithm runs over a grid; given it, all else is linear and normal, and a step of
the grid is an ordinary Bayesian regression. Columns of a regression are in standard deviations of
their figures' priors, so that the prior covariance is the unit matrix.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from formats.geometry import DATA_BYTES
from loadglass.timing.loads import Loads
from loadglass.timing.motion import COMMANDS, FloatArray
from loadglass.timing.prices import SPREAD_DEVIATIONS, prices_at
from loadglass.timing.rig import FIGURES, Rig

PER_BLOCK = {"byte": DATA_BYTES, "block": 1, "decode": 1, "lead": 1, "fetch": 1}
"""How often each figure counts for a block."""
PER_LOAD = ("command", "setup", "spin_up")
OTHERS = ("rpm", "step", "settle", "scan")

THUMB_BIAS_MS = 150.0
"""A hand that is always a little late, or a start that the base rig does not know (our own
estimate, no source)."""
WIDE_LOG_BYTE = 1.0
WIDE_SETUP_MS = 2000.0
"""Standard deviations where the base rig is no guide."""

GRID_REACH = 6.0
"""Standard deviations of the prior on either side that the first grid covers."""
LONGEST_REACH = 3.0
"""No byte time is looked for beyond 20 times the rig's own, or a twentieth of it."""
GRID_STEPS = 241
PEAK = 4.5
"""A peak ends where its logarithmic weight is so far below its highest: 3 standard deviations."""
NEGLIGIBLE = 30.0
"""A grid point whose logarithmic weight is so far below the best is left out."""


@dataclass(frozen=True)
class Prior:
    """What is held of `byte` and `setup` before any reading."""

    rig: Rig
    log_byte: float
    """Standard deviation of the logarithm of the byte time, in which the group counts."""
    setup_ms: float

    @classmethod
    def of(cls, rig: Rig) -> Prior:
        """By the rig's own spreads."""
        block = [times * deviation_of(rig, name) for name, times in PER_BLOCK.items()]
        load = [deviation_of(rig, name) for name in PER_LOAD]
        byte = DATA_BYTES * rig.value("byte")
        return cls(
            rig,
            float(np.hypot.reduce(block)) / byte,
            float(np.hypot.reduce([*load, THUMB_BIAS_MS])),
        )

    @classmethod
    def wide(cls, rig: Rig) -> Prior:
        """Where the readings contradict the rig's own spreads."""
        return cls(rig, WIDE_LOG_BYTE, WIDE_SETUP_MS)

    @property
    def others(self) -> list[str]:
        return [name for name in OTHERS if deviation_of(self.rig, name) > 0]


@dataclass(frozen=True)
class Curves:
    """Load times as the byte time goes; G grid points, L loads, K columns, `setup` the first."""

    log_byte: FloatArray
    """Logarithm of the byte time over the rig's own; shape (G,)."""
    seconds: FloatArray
    """Shape (G, L)."""
    variances: FloatArray
    """Of the turning disk, seconds squared; shape (G, L)."""
    slopes: FloatArray
    """Seconds for one standard deviation of a column; shape (G, L, K)."""

    def only(self, rows: NDArray[np.bool_]) -> Curves:
        """Of some of the loads."""
        return Curves(
            self.log_byte, self.seconds[:, rows], self.variances[:, rows], self.slopes[:, rows]
        )


@dataclass(frozen=True)
class Posterior:
    """The grid's weights, and at each of its points a normal distribution of the columns."""

    log_byte: FloatArray
    weights: FloatArray
    """Shape (G,); they add up to 1."""
    shifts: FloatArray
    """Mean of the columns; shape (G, K)."""
    covariances: FloatArray
    """Shape (G, K, K)."""
    misfit: float
    """Chi squared of readings and prior together at the best point."""
    log_evidence: float
    """Logarithm of the readings' probability density by the prior, per second each."""

    @property
    def middle(self) -> int:
        """The grid point at the median of the byte time within its highest peak."""
        low = self.weights < np.exp(-PEAK) * self.weights.max()
        best = int(self.weights.argmax())
        first = best - int(np.argmax(np.append(low[best::-1], True))) + 1
        end = best + int(np.argmax(np.append(low[best:], True)))
        heaped = np.cumsum(self.weights[first:end])
        return first + int(np.searchsorted(heaped, heaped[-1] / 2))

    @property
    def log_byte_deviation(self) -> float:
        mean = self.weights @ self.log_byte
        return float(np.sqrt(self.weights @ (self.log_byte - mean) ** 2))

    def given_setup(self, shift: float) -> Posterior:
        """The byte time if the setup were known; all else stays as it is."""
        variance = self.covariances[:, 0, 0]
        likelihood = np.exp(-((shift - self.shifts[:, 0]) ** 2) / (2 * variance)) / variance**0.5
        weights = self.weights * likelihood
        return replace(self, weights=weights / weights.sum())

    def seconds(self, at: Curves) -> tuple[FloatArray, FloatArray]:
        """Mean of loads at each grid point, and variance by what is not known of the columns.

        at: their curves on the same grid. Seconds and seconds squared; shapes (G, L).
        """
        means = at.seconds + np.einsum("glk,gk->gl", at.slopes, self.shifts)
        return means, np.einsum("glk,gkm,glm->gl", at.slopes, self.covariances, at.slopes)


def deviation_of(rig: Rig, name: str) -> float:
    """Standard deviation of a figure, in its unit; 0 where the drive has no such thing."""
    figure = rig.figures.get(name)
    return figure.value * figure.spread / SPREAD_DEVIATIONS if figure else 0.0


def curves(prior: Prior, loads: Loads, log_byte: FloatArray) -> Curves:
    """Times of the loads at every point of a grid."""
    points, rig = len(log_byte), prior.rig
    own = {name: np.full(points, rig.value(name)) for name in FIGURES}
    own["byte"] = own["byte"] * np.exp(log_byte)
    seconds, variances = _times(rig, loads, own)
    setup = np.broadcast_to(loads.searches[:, COMMANDS] * prior.setup_ms / 1000, seconds.shape)
    slopes = [setup]
    for name in prior.others:
        step = deviation_of(rig, name)
        more, _ = _times(rig, loads, own | {name: own[name] + step})
        less, _ = _times(rig, loads, own | {name: own[name] - step})
        slopes.append((more - less) / 2)
    return Curves(log_byte, seconds, variances, np.stack(slopes, axis=-1))


class Study:
    """Readings of some loads, one each, and a prior."""

    def __init__(self, prior: Prior, loads: Loads, readings_s: FloatArray) -> None:
        self.prior = prior
        self.loads = loads
        self.readings_s = readings_s
        reach = min(GRID_REACH * prior.log_byte, LONGEST_REACH)
        self._coarse = curves(prior, loads, np.linspace(-reach, reach, GRID_STEPS))

    def posterior(self, rows: NDArray[np.bool_], thumb_s: float) -> Posterior:
        """What these of the readings make of the prior: on a grid as fine as it takes."""
        coarse, readings_s = self._coarse, self.readings_s[rows]
        first = self._weighed(coarse.only(rows), readings_s, thumb_s)
        support = first.log_byte[first.weights > np.exp(-NEGLIGIBLE) * first.weights.max()]
        step = first.log_byte[1] - first.log_byte[0]
        fine = np.linspace(support[0] - step, support[-1] + step, GRID_STEPS)
        return self._weighed(curves(self.prior, only(self.loads, rows), fine), readings_s, thumb_s)

    def _weighed(self, at: Curves, readings_s: FloatArray, thumb_s: float) -> Posterior:
        noise = thumb_s**2 + at.variances
        residuals = readings_s - at.seconds
        scaled = at.slopes / noise[:, :, None]
        precision = np.eye(at.slopes.shape[2]) + np.einsum("glk,glm->gkm", scaled, at.slopes)
        pull = np.einsum("glk,gl->gk", scaled, residuals)
        covariances = np.linalg.inv(precision)
        shifts = np.einsum("gkm,gm->gk", covariances, pull)
        misfit = (residuals**2 / noise).sum(axis=1) - (pull * shifts).sum(axis=1)
        misfit += (at.log_byte / self.prior.log_byte) ** 2
        log_weights = -0.5 * (
            misfit
            + np.log(2 * np.pi * noise).sum(axis=1)
            + np.linalg.slogdet(precision).logabsdet
            + np.log(2 * np.pi * self.prior.log_byte**2)
        )
        weights = np.exp(log_weights - log_weights.max())
        step = at.log_byte[1] - at.log_byte[0]
        return Posterior(
            log_byte=at.log_byte,
            weights=weights / weights.sum(),
            shifts=shifts,
            covariances=covariances,
            misfit=float(misfit.min()),
            log_evidence=float(log_weights.max() + np.log(weights.sum() * step)),
        )


def _times(rig: Rig, loads: Loads, values: dict[str, FloatArray]) -> tuple[FloatArray, FloatArray]:
    """Seconds and seconds squared; shapes (points, loads)."""
    prices = prices_at(rig, values)
    seconds = loads.searches @ prices.search + loads.files @ prices.file
    variances = loads.searches @ prices.search_variance + loads.files @ prices.file_variance
    return seconds.T, variances.T


def only(loads: Loads, rows: NDArray[np.bool_]) -> Loads:
    return Loads(loads.geometry, loads.searches[rows], loads.files[rows])


def joined(loads: Sequence[Loads]) -> Loads:
    """Loads of any layouts together, to be timed on one rig that mounts them all."""
    return Loads(
        loads[0].geometry,
        np.concatenate([each.searches for each in loads]),
        np.concatenate([each.files for each in loads]),
    )
