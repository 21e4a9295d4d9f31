"""A plot in characters of measured against predicted times."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from tui.wording import seconds_text


class Mark(NamedTuple):
    """A point of the plot; where several fall on one cell the last one shows."""

    across_s: float
    up_s: float
    sign: str
    wild: bool = False
    """The scale takes no notice of it: it may stand at the edge."""


LINE = "·"
"""Where a time that is measured is the predicted one."""


def scatter(marks: Sequence[Mark], width: int, height: int) -> list[str]:
    """Lines of a plot of `width` × `height` cells, with one scale for both ways, from 0 s.

    Height and width are without the labels: one line below, some cells at the left.
    """
    tame = [mark for mark in marks if not mark.wild] or marks
    end = nice_end(max(max(mark.across_s, mark.up_s) for mark in tame))
    cells = [[" "] * width for _ in range(height)]

    def put(across_s: float, up_s: float, sign: str) -> None:
        column = min(round(across_s / end * (width - 1)), width - 1)
        line = min(round(up_s / end * (height - 1)), height - 1)
        cells[height - 1 - line][column] = sign

    for column in range(width):
        on_line = end * column / max(width - 1, 1)
        put(on_line, on_line, LINE)
    for mark in marks:
        put(mark.across_s, mark.up_s, mark.sign)
    top, zero = seconds_text(end), seconds_text(0)
    labels = [top, *[""] * (height - 2), zero]
    lines = [
        f"{label:>{len(top)}} │{''.join(row).rstrip()}"
        for label, row in zip(labels, cells, strict=True)
    ]
    lines.append(f"{'':>{len(top)}} └{'─' * width}")
    lines.append(f"{'':>{len(top)}}  {zero}{top:>{width - len(zero)}}")
    return lines


def nice_end(highest: float) -> float:
    """The next of 1, 1.5, 2, 3, 4, 5, 6, 8 and their tenfolds, in seconds."""
    step = 0.1
    while step * 10 < highest:
        step *= 10
    return next(
        (step * share for share in (1, 1.5, 2, 3, 4, 5, 6, 8) if step * share >= highest), step * 10
    )
