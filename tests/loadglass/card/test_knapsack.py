"""The best choice within two budgets, against trying every choice there is."""

from __future__ import annotations

from itertools import product
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loadglass.card import knapsack
from loadglass.card.knapsack import best_choice
from tests.examples import examples

things = st.lists(
    st.tuples(st.integers(0, 7), st.sampled_from([0, 3, 3, 3, 4, 9, 20]), st.integers(0, 12)),
    max_size=10,
)
budgets = st.one_of(st.none(), st.integers(0, 60))


def best_by_trying(
    values: list[int], first: list[int], second: list[int], one: int | None, two: int | None
) -> int:
    best = 0
    for taken in product((0, 1), repeat=len(values)):
        weights = [sum(w * t for w, t in zip(each, taken, strict=True)) for each in (first, second)]
        if (one is None or weights[0] <= one) and (two is None or weights[1] <= two):
            best = max(best, sum(v * t for v, t in zip(values, taken, strict=True)))
    return best


@examples(400)
@given(things, budgets, budgets)
def test_against_every_choice(
    given_things: list[tuple[int, int, int]], one: int | None, two: int | None
) -> None:
    values, first, second = ([thing[i] for thing in given_things] for i in range(3))
    found = best_choice(values, first, second, one, two)
    best = best_by_trying(values, first, second, one, two)
    assert found.value == best == found.at_most
    assert found.value == sum(values[i] for i in found.chosen)
    assert one is None or sum(first[i] for i in found.chosen) <= one
    assert two is None or sum(second[i] for i in found.chosen) <= two


@examples(150)
@given(things, budgets, budgets)
def test_the_bound_holds_without_a_search(
    given_things: list[tuple[int, int, int]], one: int | None, two: int | None
) -> None:
    """With the search cut short the choice may be worse, but never better than its bound says."""
    values, first, second = ([thing[i] for thing in given_things] for i in range(3))
    limit, knapsack.NODES_LIMIT = knapsack.NODES_LIMIT, 0
    try:
        found = best_choice(values, first, second, one, two)
    finally:
        knapsack.NODES_LIMIT = limit
    assert found.value <= best_by_trying(values, first, second, one, two) <= found.at_most


@pytest.mark.parametrize("rated", [False, True])
@pytest.mark.parametrize("seed", range(4))
def test_ten_thousand_are_within_one_of_the_best(seed: int, rated: bool) -> None:
    """Sizes as images have them, loads of half a minute; two budgets that both bind."""
    random = Random(seed)
    count = 10_000
    sizes = [174_848, 175_531, 196_608, 349_696, 819_200, 2 * 174_848, 3 * 174_848]
    first = [
        random.choice(sizes) if seed % 2 else random.randint(10**5, 10**6) for _ in range(count)
    ]
    second = [int(random.lognormvariate(3.5, 0.8) * 10**6) for _ in range(count)]
    values = [random.randint(0, 5) if rated else 1 for _ in range(count)]
    share = random.uniform(0.1, 0.7)
    found = best_choice(values, first, second, int(sum(first) * share), int(sum(second) * share))
    assert found.at_most - found.value <= 1
    assert found.value > 0


def test_nothing_fits() -> None:
    assert best_choice([5], [10], [0], 9, None) == knapsack.Best((), 0, 0)
    assert best_choice([], [], [], 9, 9) == knapsack.Best((), 0, 0)
    assert best_choice([5], [10], [0], 0, 0) == knapsack.Best((), 0, 0)
