import pytest

from loadglass.bench.demerit import demerit


def test_by_hand():
    """Distances 1 and 3 s at a mean of 10 s: the root of (1 + 9) / 2 is 2.236 s."""
    assert demerit([8, 12], [9, 15]) == pytest.approx(0.2236, abs=1e-4)


def test_it_compares_distributions_not_pairs():
    assert demerit([1, 2, 3], [3, 1, 2]) == 0
    assert demerit([1, 2, 3], [1.5, 2.5, 3.5]) == pytest.approx(0.25)


@pytest.mark.parametrize(("measured", "modelled"), [([], []), ([1], [1, 2])])
def test_it_needs_as_many_of_each(measured, modelled):
    with pytest.raises(ValueError, match="as many times each"):
        demerit(measured, modelled)
