"""One line above the keys while long work goes on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.text import Text
from textual.widgets import Static

from tui.progress_line import BAR_CELLS, SHOWN_AFTER_S, bar_text
from tui.works import Work

if TYPE_CHECKING:
    from tui.app import LoadglassApp


class WorkLine(Static):
    """Shows the latest work, once it takes longer than a moment."""

    app: LoadglassApp

    def is_shown_elsewhere(self, work: Work) -> bool:
        """Whether the view itself shows how far that work has come."""
        return False

    def on_mount(self) -> None:
        self.display = False
        self.app.works.changed.subscribe(self, self._changed)
        self._changed(self.app.works.latest)

    def _changed(self, work: Work | None) -> None:
        if work is None or self.display:
            self._show()
        else:
            self.set_timer(SHOWN_AFTER_S, self._show)

    def _show(self) -> None:
        work = self.app.works.latest
        self.display = work is not None and not self.is_shown_elsewhere(work)
        if work is not None:
            parts = ["…"]
            if work.progress is not None:
                parts = [bar_text(work.progress, BAR_CELLS), work.figures(work.progress)]
            line = f" {work.name}  {' '.join(filter(None, parts))}   x stops it"
            self.update(Text(line, no_wrap=True, overflow="ellipsis"))
