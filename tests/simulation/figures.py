"""The four rigs' figures and spreads, typed from the table of the design page's section 6."""

from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import Literal

import numpy as np

# A spread is the half width of the 90 % range: that many standard deviations of a normal.
SPREAD_DEVIATIONS = NormalDist().inv_cdf(0.95)


@dataclass(frozen=True)
class Figures:
    """What a rig's times are made of, in ms; 0 rpm is a drive without motion."""

    command_ms: float
    setup_ms: float
    byte_ms: float
    block_ms: float
    decode_ms: float
    lead_ms: float
    scan_ms: float
    fetch_ms: float
    step_ms: float
    settle_ms: float
    spin_up_ms: float
    rpm: float
    order: Literal["chain", "any"] = "chain"

    @property
    def spins(self) -> bool:
        return self.rpm > 0

    @property
    def turn_ms(self) -> float:
        return 60_000 / self.rpm


RIGS = ("stock-spinning", "stock-card", "fast-spinning", "fast-card")

# figure: the four rigs' values in the order of RIGS, then the spread as a share of the value
_TABLE: dict[str, tuple[float, float, float, float, float]] = {
    "command_ms": (120, 120, 120, 120, 0.30),
    "setup_ms": (0, 0, 900, 900, 0.30),
    "byte_ms": (2.0, 1.75, 0.21, 0.21, 0.10),
    "block_ms": (5, 5, 3, 3, 0.30),
    "decode_ms": (20, 0, 12, 0, 0.25),
    "lead_ms": (12, 0, 0, 0, 0.40),
    "scan_ms": (10, 2, 10, 2, 0.30),
    "fetch_ms": (0, 1.5, 0, 1.5, 0.30),
    "step_ms": (25, 0, 25, 0, 0.30),
    "settle_ms": (20, 0, 20, 0, 0.30),
    "spin_up_ms": (900, 0, 900, 0, 0.30),
    "rpm": (300, 0, 300, 0, 0.01),
}

SPREADS = {figure: row[-1] for figure, row in _TABLE.items()}
NOMINAL = {
    rig: Figures(**{figure: row[column] for figure, row in _TABLE.items()})  # type: ignore[arg-type]
    for column, rig in enumerate(RIGS)
}


def draw_figures(nominal: Figures, rng: np.random.Generator) -> Figures:
    """One rig as it might really be: every figure drawn by itself from its spread, none below 0."""
    deviates = rng.standard_normal(len(SPREADS)).tolist()
    drawn = {
        figure: max(0.0, getattr(nominal, figure) * (1 + deviate * spread / SPREAD_DEVIATIONS))
        for deviate, (figure, spread) in zip(deviates, SPREADS.items(), strict=True)
    }
    return replace(nominal, **drawn)
