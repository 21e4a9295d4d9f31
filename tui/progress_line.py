"""A line on standard error that shows how far long work has come."""

from __future__ import annotations

import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

from loadglass.progress import Job, Progress

BAR_CELLS = 24
SHOWN_AFTER_S = 0.3


def progress_text(progress: Progress) -> str:
    """`[####....] 120 of 5,000, 480 a second, 10 seconds left`."""
    import humanize  # only once there is something to show

    rate = f"{progress.rate:,.0f} a second"
    if progress.total is None:
        return f"{progress.done:,} done, {rate}"
    share = progress.done / progress.total if progress.total else 1.0
    bar = "#" * round(share * BAR_CELLS)
    left = ""
    if progress.left_s is not None:
        left = f", {humanize.naturaldelta(progress.left_s)} left"
    return f"[{bar.ljust(BAR_CELLS, '.')}] {progress.done:,} of {progress.total:,}, {rate}{left}"


@contextmanager
def shown_job() -> Iterator[Job]:
    """A job whose progress shows on a terminal, and which Ctrl-C stops cleanly."""
    shows = sys.stderr.isatty()

    def report(progress: Progress) -> None:
        if shows and progress.elapsed_s >= SHOWN_AFTER_S:
            sys.stderr.write(f"\r\x1b[2K{progress_text(progress)}")
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
