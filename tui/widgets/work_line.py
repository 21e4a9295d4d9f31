"""One line above the keys while long work goes on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rich.text import Text
from textual.widgets import Static

from loadglass.progress import Job, Progress
from tui.progress_line import SHOWN_AFTER_S, progress_text

if TYPE_CHECKING:
    from tui.app import LoadglassApp


@dataclass(frozen=True)
class Work:
    """Work in hand; `job` stops it."""

    name: str
    """`surveying`, `opening HAFEN.D64`: drawn as it is."""
    job: Job
    progress: Progress | None = None


class WorkLine(Static):
    """Shows the application's work, once it takes longer than a moment."""

    app: LoadglassApp

    def on_mount(self) -> None:
        self.display = False
        self.watch(self.app, "current_work", self._changed)

    def _changed(self, work: Work | None) -> None:
        if work is None:
            self.display = False
        elif self.display:
            self._show()
        else:
            self.set_timer(SHOWN_AFTER_S, self._show)

    def _show(self) -> None:
        work = self.app.current_work
        self.display = work is not None
        if work is None:
            return
        progress = f"  {progress_text(work.progress)}" if work.progress is not None else " …"
        self.update(Text(f" {work.name}{progress}   x stops", no_wrap=True, overflow="ellipsis"))
