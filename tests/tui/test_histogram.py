"""Spans of load times."""

from __future__ import annotations

from math import inf, nan

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from tui.widgets.histogram import EDGES_S, span_labels, spread_of


def test_each_time_is_in_its_span_and_what_has_none_in_no_span() -> None:
    spread = spread_of("fast-card", np.array([0.0, 1.9, 2.0, 59.9, 60.0, 4000.0, nan]))
    assert spread.counts == [2, 1, 0, 0, 0, 1, 1, 0, 1]
    assert spread.images == 6
    assert spread.total_s == 0.0 + 1.9 + 2.0 + 59.9 + 60.0 + 4000.0
    assert spread.half_s == (2.0 + 59.9) / 2


def test_nothing_to_load_is_no_trouble() -> None:
    spread = spread_of("fast-card", np.array([nan, nan]))
    assert spread.images == 0 and spread.total_s == 0.0 and spread.half_s == 0.0


def test_labels_go_with_the_spans() -> None:
    assert len(span_labels()) == len(EDGES_S)
    assert span_labels()[0] == "0–2 s" and span_labels()[-1] == "5 min up"
    assert span_labels()[6:8] == ["1–2 min", "2–5 min"]


@given(st.lists(st.floats(0, 1e5)))
def test_the_counts_are_those_of_plain_python(times: list[float]) -> None:
    counts = spread_of("fast-card", np.array(times, dtype=np.float64)).counts
    ends = [*EDGES_S[1:], inf]
    for low, high, count in zip(EDGES_S, ends, counts, strict=True):
        assert count == sum(low <= time < high for time in times)
