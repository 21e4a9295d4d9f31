"""The clock against the simulation, which was written from the design page alone.

Two strangers' answers to the same question: the mean of every load within 1 % or three standard
errors, and ranges that hold as many runs as they claim. The normal suite takes a part of the cases
and fewer runs; `make proof` takes all.
"""

from dataclasses import dataclass

import numpy as np
import pytest

from loadglass.timing.estimate import Estimate, clock_places, estimates
from loadglass.timing.prices import STAGES
from loadglass.timing.rig import FIGURES, Rig

from .bridge import counted, figures_of, layout_of, places_of, rigs
from .drive import Dice, Load, Variant, run, simulate_row_many, simulate_spread
from .figures import NOMINAL, RIGS, SPREADS, draw_figures
from .layouts import Case, cases, rows

ARRIVAL = Variant(skew="arrival")
"""The page's own rule after a seek; to its ranges it matters, to its means it hardly does."""


@dataclass(frozen=True)
class Effort:
    every: int
    """Every so many-th case."""
    runs: int
    """Of a load of any length; short loads, which vary more, get more."""
    spread_runs: int


FULL = pytest.param(Effort(every=1, runs=200, spread_runs=60), marks=pytest.mark.proof, id="all")
PART = pytest.param(Effort(every=6, runs=30, spread_runs=30), id="part")
EFFORTS = pytest.mark.parametrize("effort", [PART, FULL])
EACH_RIG = pytest.mark.parametrize("name", RIGS)


def mounted(name: str, every: int) -> list[Case]:
    rig = rigs()[name]
    return [case for case in cases()[::every] if rig.mounts(layout_of(case.load.geometry))]


def estimate_of(load: Load, rig: Rig) -> Estimate:
    estimate = estimates(counted(load, rig), rig)[0]
    assert estimate is not None
    return estimate


def row_estimate(row: list[Load], rig: Rig) -> Estimate:
    estimate = clock_places(places_of(row), [rig]).all[rig.name]
    assert estimate is not None
    return estimate


def off(seconds: np.ndarray, claimed: float) -> float:
    """Distance of the mean of some runs from the claimed one; 1 is what is allowed."""
    standard_error = seconds.std(ddof=1) / len(seconds) ** 0.5
    return float(abs(seconds.mean() - claimed) / max(0.01 * claimed, 3 * standard_error))


def simulated(load: Load, rig: Rig, runs: int, seed: int) -> dict[str, np.ndarray]:
    """Seconds of every stage, and "total", of each run."""
    # On a card nothing is left to chance.
    runs = max(runs, 4000 // len(load.blocks)) if rig.spins else 3
    dice = Dice(np.random.default_rng(seed))
    times = [run([load], figures_of(rig), dice)[0] for _ in range(runs)]
    return {stage: np.array([each[stage] for each in times]) for stage in times[0]}


@EACH_RIG
def test_both_have_the_same_rigs(name: str) -> None:
    rig = rigs()[name]
    assert figures_of(rig) == NOMINAL[name]
    for figure in rig.figures.values():
        assert figure.spread in SPREADS.values()
    spreads = {
        figure: SPREADS["rpm" if figure == "rpm" else f"{figure}_ms"]
        for figure in FIGURES
        if figure in rig.figures
    }
    assert spreads == {figure: rig.figures[figure].spread for figure in spreads}


@EFFORTS
@EACH_RIG
def test_means_agree(name: str, effort: Effort) -> None:
    rig = rigs()[name]
    chosen = mounted(name, effort.every)
    assert len(chosen) * effort.every >= 230
    for seed, case in enumerate(chosen):
        estimate = estimate_of(case.load, rig)
        assert off(simulated(case.load, rig, effort.runs, seed)["total"], estimate.seconds) < 1, (
            case.name
        )


@EACH_RIG
def test_stages_agree(name: str) -> None:
    """Where a load's time goes. The simulation books the way to the first block otherwise."""
    rig = rigs()[name]
    together = ("find", "seek", "rotate")
    for seed, case in enumerate(mounted(name, every=16)):
        claimed = estimate_of(case.load, rig).stages
        times = simulated(case.load, rig, 30, seed)
        assert off(sum(times[s] for s in together), sum(claimed[s] for s in together)) < 1
        for stage in set(STAGES) - set(together):
            assert times[stage].mean() == pytest.approx(claimed[stage], rel=0.01, abs=0.002), stage


@EFFORTS
@EACH_RIG
def test_ranges_hold_what_they_claim(name: str, effort: Effort) -> None:
    """Every run on a rig of its own, drawn from the spreads."""
    rig, rng = rigs()[name], np.random.default_rng(11)
    inside = []
    for case in mounted(name, effort.every):
        estimate = estimate_of(case.load, rig)
        seconds = simulate_spread(case.load, NOMINAL[name], effort.spread_runs, rng, ARRIVAL)
        inside += ((estimate.low <= seconds) & (seconds <= estimate.high)).tolist()
    assert 0.85 < np.mean(inside) < 0.95


@EFFORTS
@EACH_RIG
def test_rows_of_files_agree(name: str, effort: Effort) -> None:
    rig, rng = rigs()[name], np.random.default_rng(12)
    for row in rows()[:: min(effort.every, 4)]:
        seconds = simulate_row_many(row, NOMINAL[name], max(30, effort.runs // 4), rng)
        assert off(seconds.sum(axis=1), row_estimate(row, rig).seconds) < 1


@EACH_RIG
def test_ranges_of_rows_hold_what_they_claim(name: str) -> None:
    rig, rng = rigs()[name], np.random.default_rng(13)
    dice = Dice(rng)
    inside = []
    for row in rows():
        estimate = row_estimate(row, rig)
        for _ in range(60):
            times = run(row, draw_figures(NOMINAL[name], rng), dice, ARRIVAL)
            seconds = sum(each["total"] for each in times)
            inside.append(estimate.low <= seconds <= estimate.high)
    assert 0.85 < np.mean(inside) < 0.95


@EFFORTS
def test_loaders_that_take_sectors_as_they_come_agree(effort: Effort) -> None:
    rig = rigs()["any-spinning"]
    for seed, case in enumerate(mounted("fast-spinning", effort.every)):
        seconds = simulated(case.load, rig, effort.runs, seed)["total"]
        assert off(seconds, estimate_of(case.load, rig).seconds) < 1, case.name


@EFFORTS
def test_rows_on_loaders_that_take_sectors_as_they_come_agree(effort: Effort) -> None:
    """By the page's rule: with one angle a track the way back to the directory, after waits that
    no disk had a say in, is not left to chance."""
    rig, rng = rigs()["any-spinning"], np.random.default_rng(15)
    for row in rows()[:: min(effort.every, 4)]:
        runs = max(30, effort.runs // 4)
        seconds = simulate_row_many(row, figures_of(rig), runs, rng, ARRIVAL)
        assert off(seconds.sum(axis=1), row_estimate(row, rig).seconds) < 1


def test_disagreement_would_show() -> None:
    """The comparison has teeth: a rig 2 % off in one figure does not pass for the other."""
    rig = rigs()["stock-card"]
    slower = rig.with_values({"byte": rig.value("byte") * 1.02})
    case = next(case for case in cases() if len(case.load.blocks) > 100)
    seconds = simulated(case.load, rig, 30, seed=1)["total"]
    assert off(seconds, estimate_of(case.load, rig).seconds) < 1
    assert off(seconds, estimate_of(case.load, slower).seconds) > 1
