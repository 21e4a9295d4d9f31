"""A fault of the toolkit that hangs the screen, put right; its version is pinned."""

from __future__ import annotations

from textual.notifications import Notification
from textual.widgets._toast import Toast

LEAST_S = 0.01


def mend_toasts() -> None:
    """Let no toast be made that is over already.

    A notification may run out between being looked at and being shown, on a busy machine or in
    a collection of garbage. Its toast would start a timer of a negative interval, and that
    never yields: the whole screen stands still.
    """
    made = Toast.__init__
    if getattr(made, "is_mended", False):
        return

    def make(self: Toast, notification: Notification) -> None:
        made(self, notification)
        self._timeout = max(self._timeout, LEAST_S)

    make.is_mended = True  # type: ignore[attr-defined]
    Toast.__init__ = make  # type: ignore[method-assign]
