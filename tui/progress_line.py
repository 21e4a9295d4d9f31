"""A line on standard error that shows how far long work has come."""

from __future__ import annotations

import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType

from loadglass.progress import Job, Progress

BAR_CELLS = 24
SHOWN_AFTER_S = 0.3


def progress_text(progress: Progress) -> str:
    """`[####....] 120 of 5,000, 480 a second, 10 seconds left`."""
    return _line(progress, count_figures(progress))


def bytes_text(progress: Progress) -> str:
    """`[####....] 1.2 MB of 4.9 MB, 310.5 kB a second, 10 seconds left  A-D/Fog Horn.d64`."""
    return f"{_line(progress, byte_figures(progress))}  {progress.what}"


def count_figures(progress: Progress) -> str:
    """`120 of 5,000, 480 a second, 10 seconds left`."""
    return _figures(progress, lambda number: f"{number:,.0f}")


def byte_figures(progress: Progress) -> str:
    """`1.2 MB of 4.9 MB, 310.5 kB a second, 10 seconds left`."""
    import humanize  # only once there is something to show

    return _figures(progress, humanize.naturalsize)


def bar_text(progress: Progress, cells: int) -> str:
    """`[####....]` with so many cells inside; empty while nobody knows how much it will be."""
    if progress.total is None:
        return ""
    share = progress.done / progress.total if progress.total else 1.0
    return f"[{('#' * round(share * cells)).ljust(cells, '.')}]"


def _line(progress: Progress, figures: str) -> str:
    return f"{bar_text(progress, BAR_CELLS)} {figures}".lstrip()


def _figures(progress: Progress, shown: Callable[[float], str]) -> str:
    import humanize  # only once there is something to show

    rate = f"{shown(progress.rate)} a second"
    if progress.total is None:
        return f"{shown(progress.done)} done, {rate}" if progress.done else "…"
    left = ""
    if progress.left_s is not None:
        left = f", {humanize.naturaldelta(progress.left_s)} left"
    return f"{shown(progress.done)} of {shown(progress.total)}, {rate}{left}"


@contextmanager
def shown_job(text: Callable[[Progress], str] = progress_text) -> Iterator[Job]:
    """A job whose progress shows on a terminal, and which Ctrl-C stops cleanly."""
    shows = sys.stderr.isatty()

    def report(progress: Progress) -> None:
        if shows and progress.elapsed_s >= SHOWN_AFTER_S:
            sys.stderr.write(f"\r\x1b[2K{text(progress)}")
            sys.stderr.flush()

    job = Job(report)

    def stop(_number: int, _frame: FrameType | None) -> None:
        job.stop()

    before = signal.signal(signal.SIGINT, stop)
    try:
        yield job
    finally:
        signal.signal(signal.SIGINT, before)
        if shows:
            sys.stderr.write("\r\x1b[2K")
            sys.stderr.flush()
