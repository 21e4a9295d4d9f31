"""A posterior cast into a rig: new values of `byte` and `setup`, and spreads that are honest.

A rig's figures vary by themselves, but what readings say about them does not: if the setup is
longer, the byte time is shorter. So spreads are not read off the posterior figure by figure.
Each group of figures gets the share of its variance with which the ranges of usual loads come out
as wide as the posterior has them.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np

from formats.compose import Allocator
from formats.geometry import DATA_BYTES, LAYOUTS, Geometry
from loadglass.bench.posterior import PER_BLOCK, PER_LOAD, Posterior, Prior, curves, joined
from loadglass.timing.loads import Loads, count_images
from loadglass.timing.motion import FloatArray
from loadglass.timing.places import ImagePlaces
from loadglass.timing.prices import SPREAD_DEVIATIONS
from loadglass.timing.rig import FIGURES, Rig

USUAL_BLOCKS = (5, 10, 20, 40, 80, 120, 160, 200)
MIDDLING_BLOCKS = 60
USUAL_INTERLEAVES = range(1, 17)
"""Files whose ranges are to come out right: of these lengths at the drive's own interleave, and of
the middling one at each of these."""
STAYING = frozenset({"step", "settle", "scan"})
LEAST_LEFT = 0.1
DESCENTS = 200
DIGITS = 5
"""Of a fitted value; 1 in the last is far below what a stopwatch shows."""


def recast(found: Posterior, prior: Prior, loads: Loads, *, setup_too: bool) -> Rig:
    """The rig of the prior with what was found.

    loads: those of the readings. setup_too: whether the setup moves as well as the byte time.
    """
    rig = prior.rig
    setup_moved = float(found.weights @ found.shifts[:, 0]) if setup_too else 0.0
    if rig.value("setup") + setup_moved * prior.setup_ms < 0:
        setup_moved = -rig.value("setup") / prior.setup_ms
        found = found.given_setup(setup_moved)
    values = {"byte": _rounded(rig.value("byte") * float(np.exp(found.log_byte[found.middle])))}
    if setup_too:
        values["setup"] = _rounded(rig.value("setup") + setup_moved * prior.setup_ms)
    moved = rig.with_values(values)
    spreads = _spreads(found, prior, moved, joined([usual_loads(rig), loads]), setup_moved)
    figures = {
        name: replace(figure, spread=_rounded(min(spreads[name], FIGURES[name].highest_spread)))
        for name, figure in moved.figures.items()
    }
    return replace(moved, figures=figures)


def _rounded(value: float) -> float:
    return float(f"{value:.{DIGITS}g}")


def _spreads(
    found: Posterior, prior: Prior, moved: Rig, loads: Loads, setup_moved: float
) -> dict[str, float]:
    """A spread for every figure of the moved rig."""
    at = curves(prior, loads, found.log_byte)
    middle, weights = found.middle, found.weights
    means, variances = found.seconds(at)
    predicted = loads.stages(moved).sum(axis=1)
    target = weights @ (variances + (means - predicted) ** 2)

    # What each group would do to each load by itself, at its own marginal variance. The head's
    # moves and the search do little, and readings say nothing of them: they stay as they are.
    squares = at.slopes[middle] ** 2
    columns = ["setup", *prior.others]
    setup = weights @ (found.covariances[:, 0, 0] + (found.shifts[:, 0] - setup_moved) ** 2)
    byte = weights @ (found.log_byte - found.log_byte[middle]) ** 2
    alone = np.stack(
        [
            setup * squares[:, 0],
            weights @ (at.seconds - at.seconds[middle]) ** 2,
            squares[:, [k for k, name in enumerate(columns) if name == "rpm"]].sum(axis=1),
        ],
        axis=1,
    )
    staying = squares[:, [k for k, name in enumerate(columns) if name in STAYING]].sum(axis=1)
    left = np.maximum(target - staying, LEAST_LEFT * target)
    of_setup, of_byte, of_speed = shares(alone / left[:, None])

    load = np.hypot.reduce([moved.value(name) for name in PER_LOAD])
    block = [times * moved.value(name) for name, times in PER_BLOCK.items()]
    per_load = prior.setup_ms * np.sqrt(of_setup * setup) / max(load, 1e-9)
    per_block = np.sqrt(of_byte * byte) * block[0] / np.hypot.reduce(block)
    deviations = dict.fromkeys(PER_LOAD, per_load) | dict.fromkeys(PER_BLOCK, per_block)
    spreads = {name: figure.spread for name, figure in moved.figures.items()}
    spreads |= {name: float(SPREAD_DEVIATIONS * each) for name, each in deviations.items()}
    if "rpm" in spreads:
        spreads["rpm"] *= float(np.sqrt(of_speed))
    return spreads


def shares(alone: FloatArray) -> FloatArray:
    """Shares from 0 to 1 of each column with which every row adds up to 1 as nearly as can be.

    Least squares by coordinate descent; shape (rows, columns) to (columns,).
    """
    found = np.ones(alone.shape[1])
    norms = (alone**2).sum(axis=0)
    for _ in range(DESCENTS):
        for column in np.flatnonzero(norms):
            missing = 1 - alone @ found + alone[:, column] * found[column]
            found[column] = np.clip(alone[:, column] @ missing / norms[column], 0.0, 1.0)
    return found


def usual_loads(rig: Rig) -> Loads:
    """Files on an empty disk that the rig mounts: of many lengths, and if it spins of many
    interleaves, for near some of them a little means a turn."""
    layout = next(layout for layout in LAYOUTS if rig.mounts(layout))
    return _usual_loads(layout, USUAL_INTERLEAVES if rig.spins else range(0))


@cache
def _usual_loads(layout: Geometry, interleaves: range) -> Loads:
    search = (layout.header_block, layout.directory_block)
    files = [(blocks, layout.interleave) for blocks in USUAL_BLOCKS]
    files += [(MIDDLING_BLOCKS, interleave) for interleave in interleaves]
    images = [
        ImagePlaces.of_file(layout, search, Allocator(layout, interleave).chain(blocks), DATA_BYTES)
        for blocks, interleave in files
    ]
    return count_images(layout, images).files
