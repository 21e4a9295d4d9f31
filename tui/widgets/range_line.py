"""The time that was predicted, its range, and how far the clock has come along it."""

from __future__ import annotations

from tui.readings import Prediction
from tui.widgets.bars import bar
from tui.widgets.line_view import Line, cells
from tui.wording import seconds_text

HEADROOM = 1.15
"""The scale ends so far beyond the range; a longer load makes it grow in steps."""
STEP = 1.25
AXIS, WITHIN, LOW, HIGH, PREDICTED = "─", "═", "╞", "╡", "╪"


def scale_end(prediction: Prediction, seconds: float) -> float:
    """The seconds that the right end of the line stands for."""
    end = prediction.high * HEADROOM
    while end < seconds:
        end *= STEP
    return end


def meaning_of(prediction: Prediction, seconds: float) -> str:
    if seconds < prediction.low:
        return "mark"
    return "good" if seconds <= prediction.high else "bad"


def progress_words(prediction: Prediction, seconds: float) -> str:
    """Where a running clock is, so that it does not take colours to see it."""
    if seconds < prediction.low:
        return f"the range begins in {seconds_text(prediction.low - seconds)}"
    if seconds <= prediction.high:
        return "within the range"
    return f"{seconds_text(seconds - prediction.high)} above the range"


def range_lines(prediction: Prediction, seconds: float, width: int, plain: bool) -> list[Line]:
    """A bar as long as the clock has run, the range below it, and its figures below that."""
    end = scale_end(prediction, seconds)

    def at(moment_s: float) -> int:
        return min(round(moment_s / end * (width - 1)), width - 1)

    low, middle, high = at(prediction.low), at(prediction.seconds), at(prediction.high)
    axis = [AXIS] * width
    axis[low : high + 1] = WITHIN * (high + 1 - low)
    axis[low], axis[high] = LOW, HIGH
    axis[middle] = PREDICTED
    return [
        cells((bar(seconds / end, width, plain), meaning_of(prediction, seconds))),
        cells(
            ("".join(axis[:low]), "muted"),
            ("".join(axis[low : high + 1]), "strong"),
            ("".join(axis[high + 1 :]), "muted"),
        ),
        cells((_labels(prediction, low, high, width), "muted")),
    ]


def _labels(prediction: Prediction, low: int, high: int, width: int) -> str:
    """The ends of the range below them, the range's before its mark and behind it."""
    left, right = f"{prediction.low:.1f}", seconds_text(prediction.high)
    zero = "0 s"
    before = max(low + 1 - len(left), 0)
    line = f"{'':{before}}{left}"
    if before > len(zero):
        line = zero + line[len(zero) :]
    after = min(max(high, len(line) + 1), max(width - len(right), len(line) + 1))
    return f"{line:<{after}}{right}"[:width]
