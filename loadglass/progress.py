"""One progress report and one stop token for all long work."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from threading import Event


class Stopped(Exception):  # not an error: the user asked for it
    """Long work was stopped by its token; what was finished is kept."""


@dataclass(frozen=True, slots=True)
class Progress:
    """How far long work has come."""

    done: int
    total: int | None
    """None while it is not yet known."""
    elapsed_s: float
    what: str = ""
    """What is worked on now."""

    @property
    def rate(self) -> float:
        """Done a second; 0 before anything is known."""
        return self.done / self.elapsed_s if self.elapsed_s > 0 else 0.0

    @property
    def left_s(self) -> float | None:
        """Seconds left at this rate; None while that cannot be told."""
        if self.total is None or not self.done or self.elapsed_s <= 0:
            return None
        return max(self.total - self.done, 0) * self.elapsed_s / self.done


Report = Callable[[Progress], None]


def no_report(_progress: Progress) -> None:
    """For work that nobody watches."""


@dataclass
class Job:
    """Handed to long work: it reports through this and asks it whether to stop."""

    report: Report = no_report
    interval_s: float = 0.1
    """At least this long between two reports, so that reporting costs nothing."""
    _stop: Event = field(default_factory=Event)
    _started_s: float = field(default_factory=time.monotonic)
    _reported_s: float = 0.0

    def stop(self) -> None:
        """Ask the work to stop; may be called from any thread or signal handler."""
        self._stop.set()

    @property
    def stopping(self) -> bool:
        return self._stop.is_set()

    def begin(self) -> None:
        """Another part of the work begins: rate and time left count from now."""
        self._started_s = time.monotonic()

    def step(self, done: int, total: int | None, what: str = "", *, last: bool = False) -> None:
        """Report, if it is time to, and raise Stopped if the work was asked to stop."""
        now = time.monotonic()
        if last or now - self._reported_s >= self.interval_s:
            self._reported_s = now
            self.report(Progress(done, total, now - self._started_s, what))
        if self.stopping and not last:
            raise Stopped
