"""Processes that read images while one process writes the index.

Each is a fresh interpreter (spawned, never forked: the screen has threads) at the other end of
a pipe. If this process dies, whatever kills it, the pipe ends and they end with it.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from queue import SimpleQueue
from typing import Self

from formats.errors import LoadglassError
from loadglass.shelf.record import BATCH_IMAGES, SMALL_BATCH, Batch, Record
from loadglass.sources import Reader
from loadglass.timing.rig import Rig

STOP_S = 0.1
"""A stop is heard after that at the latest."""
AHEAD = 2
"""Batches that a worker has at a time, so that it never waits for the writer."""
WORKERS_LIMIT = 8
"""More than one writer can keep up with."""

DEATHS_LIMIT = 25
"""So many workers may die of the images of one survey; more, and it is not the images."""


class WorkersDie(LoadglassError):
    """The processes that read images do not live."""


Done = tuple[Batch, list[Record] | None]
"""A batch and its records; None where its worker died of it."""


def worker_count() -> int:
    """Processors that may be used."""
    try:
        count = len(os.sched_getaffinity(0))
    except AttributeError:  # not on every system
        count = os.cpu_count() or 1
    return min(count, WORKERS_LIMIT)


class _Worker:
    def __init__(self, rigs: Sequence[Rig]) -> None:
        context = multiprocessing.get_context("spawn")
        self.pipe, theirs = context.Pipe()
        self.process: BaseProcess = context.Process(target=_serve, args=(theirs, rigs), daemon=True)
        with _interrupts_held():
            self.process.start()
        theirs.close()
        self.waiting: deque[Batch] = deque()
        """Batches sent and not yet answered."""

    def give(self, batch: Batch) -> None:
        self.waiting.append(batch)
        with contextlib.suppress(OSError):  # it has died: its end of the pipe will say so
            self.pipe.send(batch)

    def end(self) -> None:
        self.pipe.close()
        self.process.kill()  # at once: it only reads
        self.process.join()
        self.process.close()


class Workers:
    """A pool of reading processes; to be used by one thread."""

    def __init__(self, count: int, rigs: Sequence[Rig]) -> None:
        self._rigs = rigs
        self._deaths = 0
        self._workers = [_Worker(rigs) for _ in range(count)]

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        for worker in self._workers:
            worker.end()

    def run(
        self,
        next_batch: Callable[[int], Batch | None],
        read_here: Callable[[], Done | None],
        stopping: Callable[[], bool],
    ) -> Iterator[Done]:
        """Records of batches as they come, until there are no more or `stopping` says so.

        read_here: reads a few in this process; asked while the others only start, which takes
        them a second or two.
        """
        starting = True
        while not stopping():
            ahead, images = (1, SMALL_BATCH) if starting else (AHEAD, BATCH_IMAGES)
            for worker in self._workers:
                while len(worker.waiting) < ahead and (batch := next_batch(images)):
                    worker.give(batch)
            busy = {worker.pipe: worker for worker in self._workers if worker.waiting}
            if not busy:
                return
            ready = wait(list(busy), 0 if starting else STOP_S)
            if starting := starting and not ready:
                if done := read_here():
                    yield done
                starting = done is not None
            for pipe in ready:
                assert isinstance(pipe, Connection)
                yield from self._receive(busy[pipe])

    def _receive(self, worker: _Worker) -> Iterator[Done]:
        try:
            records = worker.pipe.recv()
        except (EOFError, OSError):
            self._deaths += 1
            if self._deaths > DEATHS_LIMIT:
                raise WorkersDie(
                    "the processes that read images come to a sudden end again and again: is "
                    "there memory enough? A survey with --workers 0 starts none"
                ) from None
            # It died in the first of its batches; the others are innocent.
            place = self._workers.index(worker)
            self._workers[place] = _Worker(self._rigs)
            worker.end()
            yield worker.waiting.popleft(), None
            for batch in worker.waiting:
                self._workers[place].give(batch)
            return
        yield worker.waiting.popleft(), records


def _serve(pipe: Connection, rigs: Sequence[Rig]) -> None:
    """What a worker does until its pipe ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the survey's to answer
    from loadglass.shelf.reading import read_records  # not in the process that only writes

    batches: SimpleQueue[Batch | None] = SimpleQueue()
    threading.Thread(target=_receive, args=(pipe, batches), daemon=True).start()
    with Reader() as reader, contextlib.suppress(OSError):
        while (batch := batches.get()) is not None:
            pipe.send(read_records(batch, rigs, reader))


def _receive(pipe: Connection, batches: SimpleQueue[Batch | None]) -> None:
    """Takes batches as they come: were both ends to wait in sending, nothing would go on."""
    with contextlib.suppress(EOFError, OSError):
        while True:
            batches.put(pipe.recv())
    batches.put(None)


@contextlib.contextmanager
def _interrupts_held() -> Iterator[None]:
    """Ctrl-C reaches this process afterwards, and never the one that is started meanwhile."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    from multiprocessing import resource_tracker  # POSIX only

    resource_tracker.ensure_running()  # or the first start would do it, and let them through
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
