"""How good the clock is: `python tests/benchmarks/bench_model.py [RUNS]`.

Against the simulation, rig by rig, and against the rules of thumb (common practice, no source).
"""

from __future__ import annotations

import sys
from itertools import count
from statistics import NormalDist

import numpy as np

from formats.compose import Allocator
from formats.geometry import TRACKS_35
from loadglass.bench.demerit import demerit
from loadglass.timing.estimate import Estimate, clock_file, estimates
from loadglass.timing.rig import Rig
from tests.simulation.bridge import counted, layout_of, rigs
from tests.simulation.drive import Variant, simulate_many, simulate_spread
from tests.simulation.figures import NOMINAL, RIGS
from tests.simulation.layouts import cases
from tests.simulation.test_hidden_rigs import guesses

SEARCH = (TRACKS_35.header_block, TRACKS_35.directory_block)
HIDDEN_RIGS = 100
ARRIVAL = Variant(skew="arrival")


def against_simulation(name: str, runs: int) -> str:
    """Agreement of means, demerit figure and coverage over all layouts that the rig mounts."""
    rig, rng = rigs()[name], np.random.default_rng(1)
    middles = [NormalDist().inv_cdf((i + 0.5) / runs) for i in range(runs)]
    simulated: list[float] = []
    modelled: list[float] = []
    off: list[float] = []
    inside: list[bool] = []
    for case in cases():
        if not rig.mounts(layout_of(case.load.geometry)):
            continue
        loads = counted(case.load, rig)
        estimate = estimates(loads, rig)[0]
        assert estimate is not None
        seconds = simulate_many(case.load, NOMINAL[name], runs, rng)
        off.append(seconds.mean() / estimate.seconds - 1)
        simulated += seconds.tolist()
        deviation = float(loads.variances(rig)[0]) ** 0.5
        modelled += [estimate.seconds + deviation * middle for middle in middles]
        drawn = simulate_spread(case.load, NOMINAL[name], runs, rng, ARRIVAL)
        inside += ((estimate.low <= drawn) & (drawn <= estimate.high)).tolist()
    return (
        f"{name:15} {len(off):5} {np.mean(off):+9.3%} {np.max(np.abs(off)):8.2%} "
        f"{demerit(simulated, modelled):9.3%} {np.mean(inside):9.1%}"
    )


def stock_laid(blocks: int, rig: Rig) -> Estimate:
    estimate = clock_file(TRACKS_35, SEARCH, Allocator(TRACKS_35).chain(blocks), 254, rig)
    assert estimate is not None
    return estimate


def rules_of_thumb() -> list[str]:
    by_name = rigs()
    rows = []
    for blocks in (20, 60, 150, 250):
        estimate = stock_laid(blocks, by_name["stock-spinning"])
        rate = blocks * 254 / estimate.seconds
        rows.append(
            f"stock-spinning, {blocks:3} blocks stock-laid: {rate:.0f} bytes/s (300 to 450)"
        )
    blocks = next(n for n in count(1) if stock_laid(n, by_name["stock-card"]).seconds >= 92)
    fast = stock_laid(blocks, by_name["fast-card"])
    rows.append(
        f"{blocks} blocks take 92 s on stock-card and {fast.seconds:.1f} s "
        f"({fast.low:.1f} to {fast.high:.1f}) on fast-card (11.5 to 14.5)"
    )
    seconds = {name: stock_laid(blocks, by_name[name]).seconds for name in RIGS}
    for drive in ("spinning", "card"):
        gain = seconds[f"stock-{drive}"] / seconds[f"fast-{drive}"]
        rows.append(f"the cartridge's gain, {drive}: {gain:.1f} times")
    return rows


def hidden_rigs() -> str:
    """Calibrated from two to six noisy readings, then asked about a dozen unseen files each."""
    every = [guess for seed in range(HIDDEN_RIGS) for guess in guesses(RIGS[seed % 4], seed)]
    really = [guess.really for guess in every]
    inside = np.mean([guess.low <= guess.really <= guess.high for guess in every])
    before = demerit(really, [guess.base_seconds for guess in every])
    after = demerit(really, [guess.seconds for guess in every])
    base_off = np.median([abs(guess.base_seconds / guess.really - 1) for guess in every])
    return (
        f"{HIDDEN_RIGS} hidden rigs, {len(every)} unseen files: off by "
        f"{np.median([guess.off for guess in every]):.2%} (median; {base_off:.2%} before), "
        f"inside their ranges {inside:.1%}, demerit figure {after:.1%} ({before:.1%} before)"
    )


def main() -> None:
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    print(f"{'rig':15} cases mean off  worst   demerit  in range   ({runs} runs each)")
    for name in RIGS:
        print(against_simulation(name, runs))
    print(*rules_of_thumb(), hidden_rigs(), sep="\n")


if __name__ == "__main__":
    main()
