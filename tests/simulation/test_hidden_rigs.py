"""Calibrating against rigs that nobody knows: drawn at random, simulated, timed with a thumb.

Each hidden rig is one of ours with every figure drawn from its spread. The calibration sees a few
readings of it and nothing else; then it has to say how long other files take on it.
"""

from dataclasses import dataclass

import numpy as np
import pytest

from loadglass.bench.calibrate import calibrate
from loadglass.bench.demerit import demerit
from loadglass.bench.reading import Reading, Timed, take_reading
from loadglass.timing.rig import Rig

from .bridge import layout_of, places_of, rigs
from .drive import Dice, Load, Variant, run
from .figures import NOMINAL, RIGS, draw_figures
from .layouts import cases

THUMB_S = 0.2
UNSEEN = 12
ARRIVAL = Variant(skew="arrival")
"""The page's own rule after a seek."""


@dataclass(frozen=True)
class Guess:
    """An unseen file: what the calibrated rig says, what the base said, what it really took."""

    seconds: float
    low: float
    high: float
    base_seconds: float
    base_low: float
    base_high: float
    really: float

    @property
    def off(self) -> float:
        return abs(self.seconds / self.really - 1)


def timed(load: Load) -> Timed:
    return Timed("hidden.d64", "0" * 64, "", "file", 0, "", "", places_of([load]))


def guesses(name: str, seed: int) -> list[Guess]:
    """Calibrate a hidden rig from two to six readings, and guess a dozen other files."""
    rng = np.random.default_rng(seed)
    dice, base = Dice(rng), rigs()[name]
    hidden = draw_figures(NOMINAL[name], rng)
    loads = [case.load for case in cases() if base.mounts(layout_of(case.load.geometry))]
    readings = int(rng.integers(2, 7))
    chosen = [loads[i] for i in rng.permutation(len(loads))[: readings + UNSEEN].tolist()]
    seconds = [run([load], hidden, dice, ARRIVAL)[0]["total"] for load in chosen]
    seen = [
        _reading(base, load, took + THUMB_S * dice.normal())
        for load, took in zip(chosen[:readings], seconds, strict=False)
    ]
    rig = calibrate(base, seen).rig
    return [
        _guess(base, rig, load, really)
        for load, really in zip(chosen[readings:], seconds[readings:], strict=True)
    ]


def _reading(base: Rig, load: Load, seconds: float) -> Reading:
    return take_reading(timed(load), base, max(0.1, seconds))


def _guess(base: Rig, rig: Rig, load: Load, really: float) -> Guess:
    before, after = timed(load).estimate(base), timed(load).estimate(rig)
    assert before is not None
    assert after is not None
    return Guess(
        after.seconds, after.low, after.high, before.seconds, before.low, before.high, really
    )


@pytest.mark.parametrize(
    "hidden_rigs",
    [pytest.param(100, marks=pytest.mark.proof, id="all"), pytest.param(16, id="part")],
)
def test_hidden_rigs_are_found_out(hidden_rigs: int) -> None:
    found = [guesses(RIGS[seed % 4], seed) for seed in range(hidden_rigs)]
    every = [guess for of_rig in found for guess in of_rig]
    assert np.median([guess.off for guess in every]) < 0.03
    assert 0.85 < np.mean([g.low <= g.really <= g.high for g in every]) < 0.95
    widths = [(g.high - g.low) / (g.base_high - g.base_low) for g in every]
    assert np.median(widths) < 0.7
    really = [guess.really for guess in every]
    calibrated = demerit(really, [guess.seconds for guess in every])
    assert calibrated < 0.6 * demerit(really, [guess.base_seconds for guess in every])
