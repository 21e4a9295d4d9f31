"""Readings fitted, and what to make of it when they contradict the rig or each other.

Surprising readings have three explanations, which are weighed by how probable each makes them:
the rig is unlike its base, one reading is wrong, or both. Only if none of these will do (what is
left over is more than chance makes), two readings may be wrong, weighed in the same way; so a
second one is never doubted for a little better a fit. If that will not do either, the readings do
not go together, and all that is left is not to be too sure of anything.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from itertools import combinations
from math import comb, log

import numpy as np
from numpy.typing import NDArray

from loadglass.bench.posterior import Posterior, Prior, Study, curves
from loadglass.bench.reading import THUMB_S
from loadglass.timing.loads import Loads
from loadglass.timing.motion import FloatArray
from loadglass.timing.rig import Rig

SIZES_APART_S = 1.0
"""Predicted times that differ by less are too alike to tell setup from byte time."""
SURPRISE = 3.72
"""Normal deviate that one set of good readings in 10,000 passes."""
ROBUST_FROM = {1: 4, 2: 6}
"""Readings from which so many may be left out: most of them must agree."""
SUSPECTS = 8
"""Readings that are tried to be left out, at the most: those furthest off."""
LOG_ODDS_UNLIKE = LOG_ODDS_WRONG = float(np.log(0.02))
"""That a rig is unlike its base, or that of some readings one is wrong (our own estimates)."""
WRONG_UP_TO = 3.0
"""A wrong reading is anything up to so many times the right one, all equally likely."""


@dataclass(frozen=True)
class Fit:
    """The explanation that was chosen."""

    found: Posterior
    prior: Prior
    kept: NDArray[np.bool_]
    """Of each reading whether it was used."""
    setup_too: bool
    """Whether the readings tell the setup as well as the byte time."""
    unlike_base: bool
    """The base's own spreads were no guide."""
    thumb_s: float
    """More than THUMB_S where the readings do not go together."""

    @property
    def at_odds(self) -> bool:
        """The readings do not go together, whatever the rig."""
        return self.thumb_s > THUMB_S

    def expected_s(self, loads: Loads) -> FloatArray:
        """What loads should take by the readings that were kept."""
        means, _ = self.found.seconds(curves(self.prior, loads, self.found.log_byte))
        expected: FloatArray = self.found.weights @ means
        return expected


def fit_readings(base: Rig, loads: Loads, seconds: FloatArray) -> Fit:
    """By the base's spreads; where these do not allow the readings, by what explains them best."""
    return _Explaining(base, loads, seconds).best()


def predicted_s(rig: Rig, loads: Loads) -> FloatArray:
    seconds: FloatArray = loads.stages(rig).sum(axis=1)
    return seconds


class _Explaining:
    def __init__(self, base: Rig, loads: Loads, seconds: FloatArray) -> None:
        self._base = base
        self._loads = loads
        self._seconds = seconds
        self._predicted = predicted_s(base, loads)
        self._every = np.ones(len(seconds), dtype=bool)
        self._study = cache(self._make_study)

    def best(self) -> Fit:
        plain = self._fit(self._every, unlike_base=False)
        if _allowed(plain):
            return plain
        wide = self._fit(self._every, unlike_base=True)
        explanations = [(plain, 0.0), (wide, LOG_ODDS_UNLIKE)]
        for wrong, readings in ROBUST_FROM.items():
            if len(self._seconds) >= readings:
                explanations += self._with_wrong(wrong, wide)
            best, _ = max(explanations, key=lambda each: each[0].found.log_evidence + each[1])
            if _allowed(best):
                return best
        thumb_s = THUMB_S * max(1.0, (wide.found.misfit / len(self._seconds)) ** 0.5)
        return self._fit(self._every, unlike_base=True, thumb_s=thumb_s)

    def _with_wrong(self, wrong: int, wide: Fit) -> Iterator[tuple[Fit, float]]:
        """Each way of leaving so many readings out, and the logarithm of its odds."""
        sets = comb(len(self._seconds), wrong)
        off = np.abs(self._seconds - wide.expected_s(self._loads))
        suspects = np.argsort(off)[: -SUSPECTS - 1 : -1].tolist()
        for left_out in map(list, combinations(suspects, wrong)):
            kept = self._every.copy()
            kept[left_out] = False
            anything_s = WRONG_UP_TO * self._predicted[left_out]
            log_odds = wrong * LOG_ODDS_WRONG - float(np.log(anything_s).sum()) - log(sets)
            yield self._fit(kept, unlike_base=False), log_odds
            yield self._fit(kept, unlike_base=True), log_odds + LOG_ODDS_UNLIKE

    def _fit(self, kept: NDArray[np.bool_], *, unlike_base: bool, thumb_s: float = THUMB_S) -> Fit:
        setup_too = bool(np.ptp(self._predicted[kept]) >= SIZES_APART_S)
        study = self._study(unlike_base, setup_too)
        found = study.posterior(kept, thumb_s)
        return Fit(found, study.prior, kept, setup_too, unlike_base, thumb_s)

    def _make_study(self, unlike_base: bool, setup_too: bool) -> Study:
        prior = Prior.of(self._base)
        if unlike_base:
            wide = Prior.wide(self._base)
            prior = wide if setup_too else replace(prior, log_byte=wide.log_byte)
        return Study(prior, self._loads, self._seconds)


def _allowed(fit: Fit) -> bool:
    """Whether the misfit is one that chance makes; chi squared after Wilson and Hilferty, 1931."""
    readings = int(fit.kept.sum())
    part = 2 / (9 * readings)
    return fit.found.misfit < readings * (1 - part + SURPRISE * part**0.5) ** 3
