"""How far a model's times are from measured ones, in one figure."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np


def demerit(measured_s: Sequence[float], modelled_s: Sequence[float]) -> float:
    """Root mean square distance between two distributions of times, as a share of the mean.

    Both are sorted, so that the distance is the horizontal one between their distribution
    curves: Ruemmler and Wilkes, An Introduction to Disk Drive Modeling, IEEE Computer 27(3), 1994
    (from memory). As many times of the one as of the other, at least one.
    """
    measured, modelled = np.sort(measured_s), np.sort(modelled_s)
    if len(measured) != len(modelled) or not len(measured):
        raise ValueError("two distributions of as many times each are compared, at least one")
    return float(np.sqrt(np.mean((measured - modelled) ** 2)) / np.mean(measured))
