"""The best choice within two budgets at once, and a proven bound on how good any choice can be.

Lagrange multipliers give each budget a price; by weak duality the priced problem bounds every
choice (Martello and Toth, *Knapsack Problems*, 1990, chapter 2, from memory). What the prices
leave in doubt is searched by branch and bound, up to a limit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

NODES_LIMIT = 150_000
"""Nodes of the search, about half a second of it."""
PRICE_STEPS = 48
"""Halvings of the second price's range."""
SLACK = 1e-6
"""What rounding of floats may have taken off a bound; values are whole numbers."""

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Best:
    """A choice, and what no choice can exceed."""

    chosen: tuple[int, ...]
    """Positions, ascending."""
    value: int
    at_most: int
    """No choice within the budgets has a higher value; equal to `value`: this one is the best."""


@dataclass(frozen=True)
class _Prices:
    """A price for the whole of each budget, and the bound that they prove."""

    first: float
    second: float
    bound: float


def best_choice(
    values: Sequence[int],
    first_weights: Sequence[int],
    second_weights: Sequence[int],
    first_budget: int | None,
    second_budget: int | None,
) -> Best:
    """The highest sum of values whose weights stay within both budgets (None: no limit).

    All numbers are whole and not negative.
    """
    value = np.array(values, dtype=np.int64)
    first = np.array(first_weights, dtype=np.int64)
    second = np.array(second_weights, dtype=np.int64)
    first_room = int(first.sum()) if first_budget is None else first_budget
    second_room = int(second.sum()) if second_budget is None else second_budget
    fitting = np.flatnonzero((first <= first_room) & (second <= second_room))
    problem = _Problem(value[fitting], first[fitting], second[fitting], first_room, second_room)
    chosen, at_most = problem.solve()
    positions = tuple(sorted(fitting[chosen].tolist()))
    return Best(positions, int(value[list(positions)].sum()) if positions else 0, at_most)


class _Problem:
    def __init__(
        self, value: Ints, first: Ints, second: Ints, first_room: int, second_room: int
    ) -> None:
        self.value, self.first, self.second = value, first, second
        self.first_room, self.second_room = first_room, second_room
        self.first_share: Floats = first / max(first_room, 1)
        self.second_share: Floats = second / max(second_room, 1)

    def solve(self) -> tuple[list[int], int]:
        """Positions chosen, and the bound."""
        everything = list(range(len(self.value)))
        if self._fits(everything):
            return everything, int(self.value.sum())
        prices = self._prices()
        gain = self._gain(prices)
        chosen = self._greedy(gain)
        worth = int(self.value[chosen].sum())
        ceiling = int(prices.bound * (1 + 1e-12) + SLACK)
        if worth < ceiling:
            better, finished = self._search(prices, gain, worth)
            chosen = chosen if better is None else better
            worth = int(self.value[chosen].sum())
            ceiling = worth if finished else ceiling
        return chosen, ceiling

    def _fits(self, chosen: Sequence[int]) -> bool:
        first, second = self.first[chosen].sum(), self.second[chosen].sum()
        return bool(first <= self.first_room and second <= self.second_room)

    def _gain(self, prices: _Prices) -> Floats:
        """What each thing is worth beyond its price."""
        gain: Floats = (
            self.value - prices.first * self.first_share - prices.second * self.second_share
        )
        return gain

    def _prices(self) -> _Prices:
        """The prices with the lowest bound: convex in the second, so halved by its slope."""
        timed = self.second_share > 0
        low, high = 0.0, 0.0
        if timed.any():
            high = float((self.value[timed] / self.second_share[timed]).max())
        best, used = self._priced(low)
        if used <= 1:
            return best
        for _ in range(PRICE_STEPS):
            middle = (low + high) / 2
            prices, used = self._priced(middle)
            best = min(best, prices, key=lambda each: each.bound)
            low, high = (middle, high) if used > 1 else (low, middle)
        return best

    def _priced(self, second: float) -> tuple[_Prices, float]:
        """The best first price for a second one, and the share of the second budget it uses."""
        worth = self.value - second * self.second_share
        wanted = np.flatnonzero(worth > 0)
        worth, first_share = worth[wanted], self.first_share[wanted]
        with np.errstate(divide="ignore"):
            ratio = worth / first_share
        order = np.argsort(-ratio, kind="stable")
        filled = np.cumsum(first_share[order])
        critical = int(np.searchsorted(filled, 1.0, side="right"))
        second_share = self.second_share[wanted][order]
        used = float(second_share[:critical].sum())
        first = 0.0
        if critical < len(order):
            first = float(ratio[order[critical]])
            before = filled[critical - 1] if critical else 0.0
            part = (1.0 - before) / first_share[order[critical]]
            used += float(part * second_share[critical])
        bound = first + second + float(np.maximum(worth - first * first_share, 0.0).sum())
        return _Prices(first, second, bound), used

    def _greedy(self, gain: Floats) -> list[int]:
        """The best of what several orders of taking come to."""
        share = self.first_share + self.second_share
        with np.errstate(divide="ignore", invalid="ignore"):
            orders = [
                np.lexsort((share, -gain)),
                np.lexsort((share, -self.value / self.second_share)),
                np.lexsort((share, -self.value / self.first_share)),
                np.lexsort((-gain, -self.value / share)),
            ]
        tries = [self._take(order.tolist()) for order in orders]
        return max(tries, key=lambda chosen: int(self.value[chosen].sum()))

    def _take(self, order: Sequence[int]) -> list[int]:
        first_left, second_left = self.first_room, self.second_room
        first, second = self.first.tolist(), self.second.tolist()
        chosen = []
        for i in order:
            if first[i] <= first_left and second[i] <= second_left:
                chosen.append(i)
                first_left -= first[i]
                second_left -= second[i]
        return chosen

    def _search(self, prices: _Prices, gain: Floats, worth: int) -> tuple[list[int] | None, bool]:
        """Something better than `worth`, if there is, and whether the search came to its end.

        A thing whose gain is further from zero than the bound is from a better choice is as the
        prices say: taken if they leave a gain, left if not.
        """
        doubt = prices.bound + SLACK - (worth + 1)
        settled = np.flatnonzero(gain > doubt)
        core = np.flatnonzero(np.abs(gain) <= doubt)
        core = core[np.lexsort((self.second[core], self.first[core], -gain[core]))]
        found, finished = _branch(
            _Core(
                self.value[core].tolist(),
                self.first[core].tolist(),
                self.second[core].tolist(),
                prices.first / max(self.first_room, 1),
                prices.second / max(self.second_room, 1),
                [*np.cumsum(np.maximum(gain[core], 0)[::-1])[::-1].tolist(), 0.0],
            ),
            int(self.value[settled].sum()),
            self.first_room - int(self.first[settled].sum()),
            self.second_room - int(self.second[settled].sum()),
            worth,
        )
        if found is None:
            return None, finished
        return [*settled.tolist(), *core[found].tolist()], finished


@dataclass(frozen=True)
class _Core:
    """The things in doubt, those with the highest gain first."""

    value: list[int]
    first: list[int]
    second: list[int]
    first_price: float
    """Of one unit of weight."""
    second_price: float
    gain_from: list[float]
    """Sum of the gains above zero from each position on."""

    def after_skipping(self) -> list[int]:
        """Of each thing the next one that may be taken though this one is not.

        Of two things a choice need never hold the one that is worth no more and weighs no less.
        """
        count = len(self.value)
        following = list(range(1, count + 1))
        for i in range(count - 2, -1, -1):
            j = i + 1
            while j < count and self._is_no_better(j, i):
                j = following[j]  # what j outdoes is outdone by i too
            following[i] = j
        return following

    def _is_no_better(self, thing: int, other: int) -> bool:
        return (
            self.value[thing] <= self.value[other]
            and self.first[thing] >= self.first[other]
            and self.second[thing] >= self.second[other]
        )


Taken = tuple["Taken", int] | None
"""A chain of positions, the last one first."""


def _branch(
    core: _Core, value: int, first_left: int, second_left: int, best: int
) -> tuple[list[int] | None, bool]:
    """Depth first, taking before leaving; positions of something better than `best`, or None."""
    count = len(core.value)
    after_skipping = core.after_skipping()
    best_taken: Taken = None
    improved = False
    stack: list[tuple[int, int, int, int, Taken]] = [(0, value, first_left, second_left, None)]
    nodes = 0
    while stack:
        i, value, first_left, second_left, taken = stack.pop()
        if first_left < 0 or second_left < 0:
            continue
        if value > best:
            best, best_taken, improved = value, taken, True
        if i == count:
            continue
        reach = value + core.gain_from[i]
        reach += first_left * core.first_price + second_left * core.second_price
        if int(reach + SLACK) <= best:
            continue
        nodes += 1
        if nodes > NODES_LIMIT:
            return _positions(best_taken) if improved else None, False
        stack.append((after_skipping[i], value, first_left, second_left, taken))
        stack.append(
            (
                i + 1,
                value + core.value[i],
                first_left - core.first[i],
                second_left - core.second[i],
                (taken, i),
            )
        )
    return _positions(best_taken) if improved else None, True


def _positions(taken: Taken) -> list[int]:
    positions = []
    while taken is not None:
        taken, position = taken
        positions.append(position)
    return positions
