"""What is said in passing: on a line of the view, one sentence at a time, over nothing else."""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

from textual.signal import Signal

if TYPE_CHECKING:
    from tui.app import LoadglassApp
    from tui.screens.view import View

GOOD_FOR_S = 6.0
"""So long a sentence that tells of no trouble is shown, unless its view is left before."""
READ_S = 2.0
"""A key counts as that of somebody who has read what is shown after so long."""


@dataclass(eq=False)
class Saying:
    sentence: str
    is_trouble: bool
    view: View | None
    shown_at: float = 0.0


class Sayings:
    """Trouble stays until a key, whichever view one goes to, and waits for its turn."""

    def __init__(self, app: LoadglassApp):
        self.changed: Signal[None] = Signal(app, "sayings")
        """Published when another one is to be shown, or none."""
        self._app = app
        self._waiting: list[Saying] = []

    @property
    def shown(self) -> Saying | None:
        return self._waiting[0] if self._waiting else None

    @property
    def waiting(self) -> int:
        """How many come after the one that is shown."""
        return max(len(self._waiting) - 1, 0)

    def say(self, sentence: str, is_trouble: bool) -> None:
        """Show it, or after the troubles that are not read yet; it is not said twice."""
        if all(each.sentence != sentence for each in self._waiting):
            troubles = [each for each in self._waiting if each.is_trouble]
            self._keep([*troubles, Saying(sentence, is_trouble, self._app.top_view)])

    def key_pressed(self) -> None:
        shown = self.shown
        if shown is not None and shown.is_trouble and time.monotonic() - shown.shown_at >= READ_S:
            self._drop(shown)

    def screen_changed(self) -> None:
        """Trouble is read from now on; what else was said belongs to the view that was left."""
        if self.shown is not None:
            self.shown.shown_at = time.monotonic()
        top = self._app.top_view
        self._keep([each for each in self._waiting if each.is_trouble or each.view is top])

    def _drop(self, saying: Saying) -> None:
        self._keep([each for each in self._waiting if each is not saying])

    def _keep(self, sayings: list[Saying]) -> None:
        before, self._waiting = self.shown, sayings
        now = self.shown
        if now is not None and now is not before:
            now.shown_at = time.monotonic()
            if not now.is_trouble:
                self._app.set_timer(GOOD_FOR_S, lambda: self._drop(now))
        self.changed.publish(None)
