"""What the picks come to: images, bytes, waiting; one sum for every place that says it."""

from __future__ import annotations

from dataclasses import dataclass

from formats.findings import Verdict
from loadglass.card.asked import NOMINAL_BYTES
from loadglass.card.candidates import layout_of
from loadglass.shelf.query import Shelf
from loadglass.timing.rig import Rig


@dataclass(frozen=True)
class Waiting:
    """Seconds of every program of every pick in a row."""

    stock_s: float
    fast_s: float
    unknown: int
    """Picks without a load time on one of the rigs; they count for nothing."""

    @property
    def saved_s(self) -> float:
        return self.stock_s - self.fast_s


@dataclass(frozen=True)
class Totals:
    """Of the picks that a plan takes too."""

    images: int
    bytes: int
    """By their layouts; what is packed counts unpacked."""
    waiting: Waiting
    damaged: int
    unmounted: int
    """Picks that are not counted: damaged ones, and those that the rig's drive does not mount."""
    copies: int
    """Beside all of these, of their content: not counted either."""

    @property
    def picks(self) -> int:
        return self.images + self.damaged + self.unmounted


def totals_of(
    shelf: Shelf, stock: str, rig: Rig, even_damaged: bool = False, every_copy: bool = False
) -> Totals:
    """Add the picks up. Raises DatabaseTrouble; opens no image.

    stock: the name of the rig that waiting is compared with; even_damaged,
    every_copy: these count too.
    """
    images = size_bytes = unknown = damaged = unmounted = copies = 0
    stock_s = fast_s = 0.0
    for alike in shelf.picked_sums(stock, rig.name, every_copy):
        copies += alike.copies
        if alike.verdict in (Verdict.DAMAGED, Verdict.UNREADABLE) and not even_damaged:
            damaged += alike.images
        elif layout_of(alike.kind) not in rig.layouts:
            unmounted += alike.images
        else:
            images += alike.images
            size_bytes += NOMINAL_BYTES.get(alike.kind, 0) * alike.images
            stock_s += alike.one_s
            fast_s += alike.other_s
            unknown += alike.unknown
    waiting = Waiting(stock_s, fast_s, unknown)
    return Totals(images, size_bytes, waiting, damaged, unmounted, copies)
