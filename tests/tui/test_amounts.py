"""Amounts as they are typed and shown."""

from __future__ import annotations

import pytest

from tui.amounts import byte_amount, duration_text, second_amount
from tui.calls import WrongCall


@pytest.mark.parametrize(
    ("seconds", "shown"),
    [
        (0, "0 s"),
        (59.4, "59 s"),
        (59.6, "1.0 min"),
        (94.5, "1.6 min"),
        (496.4, "8.3 min"),
        (599, "10 min"),
        (2040, "34 min"),
        (9240, "2 h 34 min"),
        (360_000, "100 h 0 min"),
    ],
)
def test_a_duration_is_shown_in_the_unit_one_would_say(seconds: float, shown: str) -> None:
    assert duration_text(seconds) == shown


@pytest.mark.parametrize("seconds", [90, 94.5, 496.4, 5400, 9240])
def test_what_is_shown_can_be_typed(seconds: float) -> None:
    shown = duration_text(seconds)
    if " h " not in shown:
        assert second_amount("--longest", shown) == pytest.approx(seconds, rel=0.04)


def test_bytes_have_units_of_ten_and_of_two() -> None:
    assert byte_amount("--budget-bytes", "2 GB") == 2_000_000_000
    assert byte_amount("--budget-bytes", "2GiB") == 2 * 1024**3
    with pytest.raises(WrongCall, match="500MB or 2GiB"):
        byte_amount("--budget-bytes", "many")
