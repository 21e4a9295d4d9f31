"""What the picks come to: images, bytes, waiting."""

from __future__ import annotations

from dataclasses import dataclass

from loadglass.card.asked import NOMINAL_BYTES, PICKED
from loadglass.progress import Job
from loadglass.shelf.query import Shelf


@dataclass(frozen=True)
class Totals:
    """Of the picks; copies of one content count once, as on the card."""

    images: int = 0
    bytes: int = 0
    """By their layouts; what is packed counts unpacked."""
    stock_s: float = 0.0
    fast_s: float = 0.0
    """Of every program of each in a row."""
    unknown: int = 0
    """Images without a load time; they count for nothing."""


def totals_of(shelf: Shelf, stock: str, fast: str, job: Job) -> Totals:
    """Add the picks up. Raises DatabaseTrouble, Stopped; opens no image."""
    seen: set[str] = set()
    size_bytes = unknown = 0
    stock_s = fast_s = 0.0
    for done, row in enumerate(shelf.rows(PICKED)):
        job.step(done, None)
        if row.sha256 in seen:
            continue
        seen.add(row.sha256)
        size_bytes += NOMINAL_BYTES.get(row.kind, 0)
        before, after = row.all_s.get(stock), row.all_s.get(fast)
        if before is None or after is None:
            unknown += 1
        else:
            stock_s += before
            fast_s += after
    return Totals(len(seen), size_bytes, stock_s, fast_s, unknown)
