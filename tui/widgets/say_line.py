"""The line on which a view says something in passing; it covers nothing of the view."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.text import Text
from textual.widgets import Static

if TYPE_CHECKING:
    from tui.app import LoadglassApp


class SayLine(Static):
    app: LoadglassApp

    def on_mount(self) -> None:
        self.app.sayings.changed.subscribe(self, lambda _none: self._show())
        self._show()

    def _show(self) -> None:
        saying = self.app.sayings.shown
        self.display = saying is not None
        if saying is not None:
            self.set_class(saying.is_trouble, "trouble")
            text = Text(f"! {saying.sentence}" if saying.is_trouble else saying.sentence)
            if self.app.sayings.waiting:
                text.append(f"  ({self.app.sayings.waiting} more, any key)", "not bold")
            self.update(text)
