"""Long work of the screen: what goes on, how far it has come, and how it is stopped."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from textual.dom import DOMNode
from textual.signal import Signal

from loadglass.progress import Job, Progress
from tui.progress_line import count_figures


@dataclass(eq=False)
class Work:
    """One piece of work in hand."""

    name: str
    """`surveying`, `opening HAFEN.D64`: drawn as it is."""
    job: Job
    progress: Progress | None = None
    give_up: Callable[[], object] | None = None
    """Stops waiting for work that cannot ask its job whether to stop."""
    figures: Callable[[Progress], str] = count_figures
    """How far it has come; drawn as it is."""


class Works:
    """All the work in hand. `changed` is published in the screen's thread."""

    def __init__(self, owner: DOMNode):
        self.changed: Signal[Work | None] = Signal(owner, "works")
        """Carries the latest work, None when there is none any more."""
        self._all: list[Work] = []

    @property
    def latest(self) -> Work | None:
        return self._all[-1] if self._all else None

    @contextmanager
    def going_on(
        self,
        name: str,
        give_up: Callable[[], object] | None = None,
        figures: Callable[[Progress], str] = count_figures,
    ) -> Iterator[Work]:
        """Work for the length of a block; its job may report from any thread."""
        loop = asyncio.get_running_loop()
        work = Work(name, Job(), give_up=give_up, figures=figures)

        def report(progress: Progress) -> None:
            if not loop.is_closed():
                loop.call_soon_threadsafe(self._progressed, work, progress)

        work.job.report = report
        self._all.append(work)
        self.changed.publish(self.latest)
        try:
            yield work
        finally:
            self._all.remove(work)
            self.changed.publish(self.latest)

    def stop_latest(self) -> None:
        if self.latest is not None:
            self.latest.job.stop()
            if self.latest.give_up is not None:
                self.latest.give_up()

    def stop_all(self) -> None:
        for work in self._all:
            work.job.stop()

    def _progressed(self, work: Work, progress: Progress) -> None:
        work.progress = progress
        if work is self.latest:
            self.changed.publish(work)
