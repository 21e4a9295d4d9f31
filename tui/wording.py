"""How figures are said on every view: always with their unit, always alike."""

from __future__ import annotations

from collections.abc import Sequence

NOTHING = "–"
"""Where there is no figure: nothing to load, or a rig that does not mount the image."""


def seconds_text(seconds: float | None) -> str:
    """`71.3 s`; one decimal, so that the points stand under each other."""
    return NOTHING if seconds is None else f"{round(seconds, 1) + 0.0:.1f} s"  # never -0.0


def and_text(words: Sequence[str]) -> str:
    """`Shelf, Clock and Bench`."""
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last


def count_text(number: int, one: str, many: str | None = None) -> str:
    """`1 image`, `4,120 images`."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"
