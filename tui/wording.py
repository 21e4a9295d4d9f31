"""How figures are said on every view: always with their unit, always alike."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from loadglass.shelf.rows import ShelfRow

NOTHING = "–"
"""Where there is no figure: nothing to load, or a rig that does not mount the image."""

AT_LEAST = "≥"
"""Before a time that is a lower bound."""
ABOUT = "≈"
"""Before the difference of two of them."""
WHOLE_FROM_S = 1000
"""Seconds from which a time with a mark has no decimal, or it would not fit its column."""


def seconds_text(seconds: float | None, mark: str = "") -> str:
    """`71.3 s`; one decimal, so that the points stand under each other."""
    if seconds is None:
        return NOTHING
    decimals = 0 if mark and abs(seconds) >= WHOLE_FROM_S else 1
    return f"{mark}{round(seconds, 1) + 0.0:.{decimals}f} s"  # never -0.0


def time_text(row: ShelfRow, load: str, rig: str) -> str:
    """The time of `start` or `all` on a rig; `≥33.0 s` where it is a lower bound."""
    times = row.start_s if load == "start" else row.all_s
    return seconds_text(times.get(rig), AT_LEAST if row.is_bound(load) else "")


def saved_text(row: ShelfRow, stock: str, rival: str) -> str:
    """What a rig saves of all programs; `≈24.7 s` where both times are lower bounds."""
    before, after = row.all_s.get(stock), row.all_s.get(rival)
    saved_s = None if before is None or after is None else before - after
    return seconds_text(saved_s, ABOUT if row.is_bound("all") else "")


def and_text(words: Sequence[str]) -> str:
    """`Shelf, Clock and Bench`."""
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last


def counted_text(number: int, one: str, copies: int) -> str:
    """`9 images and 5 copies`: things by their content, and how often some are there besides."""
    more = f" and {count_text(copies, 'copy', 'copies')}" if copies else ""
    return f"{count_text(number, one)}{more}"


def count_text(number: int, one: str, many: str | None = None) -> str:
    """`1 image`, `4,120 images`."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"
