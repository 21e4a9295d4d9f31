"""The survey: bring the index up to date with what lies in the folders.

Images are read, audited, clocked and hashed by worker processes; this process alone writes.
Whatever ends a survey, the index holds all that was stored before, and the next one goes on
from there.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
import time
from collections.abc import Sequence
from dataclasses import dataclass, field

from formats.visible import visible
from loadglass.progress import Job, Stopped
from loadglass.shelf import clocks
from loadglass.shelf.changes import Changes, ToDo, find_changes
from loadglass.shelf.database import writing
from loadglass.shelf.index import Index
from loadglass.shelf.record import BATCH_IMAGES, SMALL_BATCH, Batch, Item, Record
from loadglass.shelf.store import Store
from loadglass.sources import Reader, Walk
from loadglass.timing.rig import Rig

WORTH_WORKERS = 400
"""Images to be read from which on it pays to start processes."""
STORE_IMAGES = 192
STORE_S = 0.5
"""So many images, or after such a time, are stored in one transaction."""
PROBLEMS_LIMIT = 1_000
"""Problems that are kept as sentences; the counts hold all."""


@dataclass
class SurveyResult:
    """What a survey has done. images = added + changed + unchanged + failed."""

    added: int = 0
    changed: int = 0
    unchanged: int = 0
    """Not opened; or only because the audit has changed since."""
    gone: int = 0
    """No longer there since the survey before."""
    failed: int = 0
    """Read now, and not to be read as an image; the shelf shows them as unreadable."""
    seconds: float = 0.0
    passed_over: int = 0
    """Files that are no images by their names."""
    problems: list[str] = field(default_factory=list)
    """One sentence each, the first thousand."""

    @property
    def images(self) -> int:
        return self.added + self.changed + self.unchanged + self.failed


class SurveyStopped(Stopped):
    """A survey was asked to stop; what it had finished is in the index."""

    def __init__(self, result: SurveyResult) -> None:
        super().__init__()
        self.result = result


def survey(
    index: Index,
    paths: Sequence[str],
    rigs: Sequence[Rig],
    job: Job | None = None,
    workers: int | None = None,
) -> SurveyResult:
    """Bring the index up to date with the images below the paths (folders, images, archives).

    workers: reading processes, as many as there are processors where None; few images are
    read in this one. Runs in any thread. Raises SurveyStopped, DatabaseTrouble.
    """
    with index.connected() as connection:
        return _Survey(connection, rigs, job or Job(), workers).run(paths)


class _Survey:
    def __init__(
        self, connection: sqlite3.Connection, rigs: Sequence[Rig], job: Job, workers: int | None
    ) -> None:
        self._connection = connection
        self._rigs = rigs
        self._job = job
        self._workers = workers
        self._result = SurveyResult()
        self._changes = Changes()
        self._pending: dict[int, ToDo] = {}
        self._again: list[Item] = []
        """To be read once more, one by one: their worker has died."""
        self._suspects: set[int] = set()
        """Those that were alone when it happened; twice is no chance."""
        self._finished: list[tuple[ToDo, Record]] = []
        self._stored_s = time.monotonic()
        self._begun = 0
        """Number of the last image that was given out to be read."""
        self._done = 0

    def run(self, paths: Sequence[str]) -> SurveyResult:
        begun_s = time.monotonic()
        result = self._result
        found = Walk()
        try:
            self._note_roots(paths)
            clocks.bring_up_to_date(self._connection, self._rigs, self._job)
            self._changes = find_changes(self._connection, paths, found, self._job)
            self._read_all()
        except Stopped:
            raise SurveyStopped(result) from None
        finally:
            result.unchanged += self._changes.unchanged
            result.gone = self._changes.gone
            result.passed_over = found.passed_over
            result.problems = (found.problems + result.problems)[:PROBLEMS_LIMIT]
            result.seconds = time.monotonic() - begun_s
        self._job.step(result.images, result.images, last=True)
        return result

    def _read_all(self) -> None:
        """Read what is to be read and store it; ends early, with all of it stored, if stopping."""
        self._note_empty_archives()
        if not self._changes.to_do:
            return
        # Only now: where nothing has changed, all that reads images need not be loaded.
        from loadglass.shelf.workers import Workers, worker_count

        count = worker_count() if self._workers is None else self._workers
        self._job.begin()
        self._job.step(0, self._changes.to_do)
        try:
            if self._changes.to_do < WORTH_WORKERS or count < 1:
                self._read_here()
            else:
                with Reader() as reader, Workers(count, self._rigs) as workers:
                    for done in workers.run(
                        self._next_batch,
                        lambda: self._read_batch(reader),
                        lambda: self._job.stopping,
                    ):
                        self._take(*done)
        finally:  # whatever ended it: what is finished is kept
            self._store()
        if self._job.stopping:
            raise Stopped

    def _read_here(self) -> None:
        with Reader() as reader:
            while not self._job.stopping and (done := self._read_batch(reader)):
                self._take(*done)

    def _read_batch(self, reader: Reader) -> tuple[Batch, list[Record]] | None:
        """Read a few in this process; None: there are no more."""
        from loadglass.shelf.reading import read_records

        batch = self._next_batch(SMALL_BATCH)
        return (batch, read_records(batch, self._rigs, reader)) if batch else None

    def _next_batch(self, images: int = BATCH_IMAGES) -> Batch | None:
        if self._again:
            return [self._again.pop()]
        rows = self._connection.execute(
            "SELECT * FROM to_do WHERE number > ? ORDER BY number LIMIT ?", (self._begun, images)
        ).fetchall()
        if not rows:
            return None
        batch = []
        for to_do in map(ToDo._make, rows):
            self._begun = to_do.number
            self._pending[to_do.number] = to_do
            batch.append(Item(to_do.number, to_do.source, to_do.size_bytes, to_do.mtime_ns))
        return batch

    def _take(self, batch: Batch, records: list[Record] | None) -> None:
        """What a batch came to; None: the process that read it has died of one of its images."""
        if records is None and (len(batch) > 1 or batch[0].number not in self._suspects):
            if len(batch) == 1:
                self._suspects.add(batch[0].number)
            self._again += reversed(batch)
            return
        if records is None:
            from loadglass.shelf.reading import failed_record

            says = f"{visible(batch[0].source.path)}: the process that read it came to a sudden end"
            records = [failed_record(batch[0], says, lasting=False)]
        for item, record in zip(batch, records, strict=True):
            self._finished.append((self._pending.pop(item.number), record))
        self._done += len(batch)
        if len(self._finished) >= STORE_IMAGES or time.monotonic() - self._stored_s > STORE_S:
            self._store()
        with contextlib.suppress(Stopped):  # whoever reads asks for it before the next batch
            self._job.step(self._done, self._changes.to_do, visible(batch[-1].source.path))

    def _store(self) -> None:
        """Everything finished so far, in one transaction; doing it twice does no harm."""
        if not self._finished:
            return
        with writing(self._connection):
            store = Store(self._connection, clocks.valid_ids(self._connection, self._rigs))
            for to_do, record in self._finished:
                store.image(to_do, record, self._rigs)
                archive = self._changes.archives.get((to_do.folder, to_do.name))
                if archive and to_do.member:
                    archive.waiting -= 1
                    if not archive.waiting:
                        store.archive(archive)
            store.flush()
        for to_do, record in self._finished:
            self._count(to_do, record)
        self._finished.clear()
        self._stored_s = time.monotonic()

    def _count(self, to_do: ToDo, record: Record) -> None:
        result = self._result
        if record.failed:
            result.failed += 1
            if len(result.problems) < PROBLEMS_LIMIT:
                result.problems.append(record.columns.why)
        elif not to_do.is_known:
            result.added += 1
        elif to_do.is_changed:
            result.changed += 1
        else:
            result.unchanged += 1

    def _note_empty_archives(self) -> None:
        """Archives of which nothing has to be read."""
        empty = [archive for archive in self._changes.archives.values() if not archive.waiting]
        if empty:
            with writing(self._connection):
                store = Store(self._connection, {})
                for archive in empty:
                    store.archive(archive)

    def _note_roots(self, paths: Sequence[str]) -> None:
        roots = [(os.fsencode(os.path.abspath(path)),) for path in paths if os.path.exists(path)]
        with writing(self._connection):
            self._connection.executemany("INSERT OR IGNORE INTO roots VALUES (?)", roots)
