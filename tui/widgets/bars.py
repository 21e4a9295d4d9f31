"""Bars drawn with block elements, to an eighth of a cell or, in plain glyphs, to a half."""

from __future__ import annotations

FULL = "█"
EIGHTHS = ("", "▏", "▎", "▍", "▌", "▋", "▊", "▉")
HALVES = ("", "▌")


def bar(share: float, width: int, plain: bool = False) -> str:
    """A bar of `share` (0 to 1) of `width` cells; anything above nothing is seen."""
    parts = HALVES if plain else EIGHTHS
    units = round(min(max(share, 0.0), 1.0) * width * len(parts))
    if share > 0 and not units:
        units = 1
    cells, rest = divmod(units, len(parts))
    return FULL * cells + parts[rest]
