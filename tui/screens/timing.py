"""What both screens with a stopwatch do alike: its keys, and what becomes of a reading."""

from __future__ import annotations

from textual import events, on
from textual.screen import Screen

from tui.screens.ask import AskText
from tui.watch import State
from tui.widgets.stopwatch import Stopwatch, clock_now

REMARK_HINT = "kept beside the reading: which drive, which cartridge, what was odd"
PRESS = "space"
KEPT_DIGITS = 2
UNKEPT = "the stopwatch has a reading: k keeps it, backspace throws it away"
RUNS = "the stopwatch runs: space stops it, backspace throws the reading away"


class Timing(Screen[None]):
    """Adds a stopwatch's keys to a screen that has one; subclasses give `keep`."""

    leave_warned = False
    """Whether the person knows what `holds` says, and may leave all the same."""
    remark = ""
    """Of the reading that is being taken."""
    _key_moment: float | None = None

    @property
    def stopwatch(self) -> Stopwatch:
        return self.query_one(Stopwatch)

    @property
    def holds(self) -> str:
        """Why a reading would be lost if the screen were left; empty where none would."""
        if not self.is_mounted:
            return ""
        return {State.READY: "", State.RUNNING: RUNS, State.STOPPED: UNKEPT}[self.stopwatch.state]

    def keep(self, seconds: float, remark: str) -> None:
        """Put the reading into the log, and then `throw_away` what the stopwatch shows of it."""
        raise NotImplementedError

    def on_key(self, event: events.Key) -> None:
        """The moment that counts is the key's own, not when its turn comes."""
        self._key_moment = event.time if event.key == PRESS else None

    def action_press(self) -> None:
        moment, self._key_moment = self._key_moment, None
        self.stopwatch.press(clock_now() if moment is None else moment)

    def action_keep(self) -> None:
        self.keep(round(self.stopwatch.seconds, KEPT_DIGITS), self.remark)

    def action_throw_away(self) -> None:
        self.remark = ""
        self.stopwatch.throw_away()

    def action_remark(self) -> None:
        def take(text: str | None) -> None:
            if text is not None:
                self.remark = text
                self.show_remark()

        self.app.push_screen(AskText("Remark", REMARK_HINT, self.remark), take)

    def show_remark(self) -> None:
        """Draw it."""

    @on(Stopwatch.Pressed)
    def _stopwatch_pressed(self) -> None:
        self.leave_warned = False
        self.show_remark()
        self.refresh_bindings()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action == "press":
            stopwatch = self.stopwatch
            return stopwatch.prediction is not None and stopwatch.state is not State.STOPPED
        if action == "keep":
            return self.stopwatch.state is State.STOPPED
        if action == "throw_away":
            return self.stopwatch.state is not State.READY
        if action == "remark":
            return self.stopwatch.prediction is not None
        return super().check_action(action, parameters)
