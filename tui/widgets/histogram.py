"""How the load times of the shelf are spread: with stock and with the loader set against it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, ClassVar

import numpy as np
from numpy.typing import NDArray

from tui.amounts import duration_text
from tui.widgets.bars import bar
from tui.widgets.line_view import Line, LineView, cells
from tui.wording import count_text, seconds_text

if TYPE_CHECKING:
    from tui.app import LoadglassApp

EDGES_S = (0, 2, 5, 10, 20, 30, 60, 120, 300)
"""Where each span begins; the last has no end."""
LABEL_CELLS = 10
COUNT_CELLS = 8


@dataclass(frozen=True)
class Spread:
    """The times of many images on one rig."""

    rig: str
    counts: Sequence[int]
    """Images in each span of EDGES_S."""
    total_s: float
    half_s: float
    """Half of the images are loaded within this."""

    @property
    def images(self) -> int:
        return sum(self.counts)


def spread_of(rig: str, seconds: NDArray[np.float64]) -> Spread:
    """The spread of times; NaN, an image that has none, is left out."""
    times = seconds[~np.isnan(seconds)]
    counts, _ = np.histogram(times, bins=(*EDGES_S, np.inf))
    half_s = float(np.median(times)) if times.size else 0.0
    return Spread(rig, counts.tolist(), float(times.sum()), half_s)


def span_labels() -> list[str]:
    """`0–2 s` to `5 min and more`, in the shortest words."""
    spans = [
        f"{low}–{high} s" if low < 60 else f"{low // 60}–{high // 60} min"
        for low, high in pairwise(EDGES_S)
    ]
    return [*spans, f"{EDGES_S[-1] // 60} min up"]


class Histogram(LineView, can_focus=False):
    """A line a span, a bar for each of two rigs."""

    app: LoadglassApp
    COMPONENT_CLASSES: ClassVar[set[str]] = {"lines--stock", "lines--fast"}

    def __init__(self) -> None:
        super().__init__()
        self._spreads: Sequence[Spread] = ()
        self._lines: list[Line] = []

    def show(self, spreads: Sequence[Spread]) -> None:
        """Show two spreads of the same images beside each other: stock's first."""
        self._spreads = spreads
        self.lay()

    def prepare(self) -> None:
        self._lines = list(self._draw()) if self._spreads else []

    def line_count(self) -> int:
        return len(self._lines)

    def line(self, index: int) -> Line:
        return self._lines[index]

    def _draw(self) -> list[Line]:
        images = self._spreads[0].images
        column = (self.line_width - LABEL_CELLS) // 2
        room = max(column - COUNT_CELLS - 2, 3)
        most = max(max(spread.counts) for spread in self._spreads) or 1
        heading = f"all programs of {count_text(images, 'image')}"
        lines = [cells((heading, "strong"))]
        names = "".join(spread.rig.ljust(column) for spread in self._spreads)
        lines.append(cells((f"{'':<{LABEL_CELLS}}{names}", "muted")))
        for place, label in enumerate(span_labels()):
            pieces: list[str | tuple[str, str]] = [f"{label:>{LABEL_CELLS - 1}} "]
            for meaning, spread in zip(("stock", "fast"), self._spreads, strict=True):
                count = spread.counts[place]
                drawn = bar(count / most, room, self.app.plain_glyphs)
                number = f" {count:,}" if count else ""
                pieces += [(drawn, meaning), number.ljust(column - len(drawn))]
            lines.append(cells(*pieces))
        summary = [
            f"half in {seconds_text(spread.half_s)}, all in {duration_text(spread.total_s)}"
            for spread in self._spreads
        ]
        texts = "".join(text.ljust(column) for text in summary)
        lines.append(cells((f"{'':<{LABEL_CELLS}}{texts}", "muted")))
        return lines
