"""The stopwatch itself: started, stopped, thrown away; it draws nothing."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

BOUNCE_S = 0.4
"""A key that is held repeats itself, and no load is over so soon: such presses do not count."""


class State(Enum):
    READY = "ready"
    RUNNING = "running"
    STOPPED = "stopped"


@dataclass
class Watch:
    """Moments are in seconds on one clock that never goes back."""

    started: float | None = None
    stopped: float | None = None

    @property
    def state(self) -> State:
        if self.started is None:
            return State.READY
        return State.RUNNING if self.stopped is None else State.STOPPED

    def press(self, moment: float) -> bool:
        """Start, or stop; gives whether it did. A stopped reading is kept until thrown away."""
        if self.started is None:
            self.started = moment
        elif self.stopped is None and moment - self.started >= BOUNCE_S:
            self.stopped = moment
        else:
            return False
        return True

    def throw_away(self) -> None:
        self.started = self.stopped = None

    def seconds(self, now: float) -> float:
        """What the watch shows."""
        if self.started is None:
            return 0.0
        return max((now if self.stopped is None else self.stopped) - self.started, 0.0)
