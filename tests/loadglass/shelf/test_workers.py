"""Reading with processes: the same as without, and whoever dies, nothing is lost."""

from __future__ import annotations

import multiprocessing
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pytest

from loadglass.progress import Job, Progress
from loadglass.shelf import survey as survey_module
from loadglass.shelf.index import Index, open_index
from loadglass.shelf.record import BATCH_IMAGES, Batch
from loadglass.shelf.survey import SurveyStopped, survey
from loadglass.shelf.workers import Done, Workers, WorkersDie
from loadglass.sources import Reader
from loadglass.timing.rig import Rig
from tests.loadglass.shelf.club import image, program
from tests.loadglass.shelf.contents import contents

IMAGES = 150

SCRIPT = """
import os
import sys
from pathlib import Path
from loadglass.progress import Job
from loadglass.shelf import survey as survey_module
from loadglass.shelf.index import open_index
from loadglass.timing.rig_files import built_in_rigs
if __name__ == "__main__":
    survey_module.WORTH_WORKERS = 1
    index = open_index(Path(sys.argv[1]))
    survey_module.survey(index, [sys.argv[2]], list(built_in_rigs().values()), workers=1)
"""


@pytest.fixture
def many(club: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for i in range(IMAGES):
        below = club / f"box {i // 40}"
        below.mkdir(exist_ok=True)
        data = image(f"DISK {i}", *(program(f"P{n}", b"%d" % i * 50 * n) for n in range(1, 4)))
        (below / f"{i}.d64").write_bytes(data)
    (club / "bad.d64").write_bytes(b"bad")
    monkeypatch.setattr(survey_module, "WORTH_WORKERS", 1)
    run = Workers.run
    monkeypatch.setattr(  # as if they were there at once: this process reads none meanwhile
        Workers,
        "run",
        lambda self, next_batch, _read_here, stopping: run(
            self, next_batch, lambda: None, stopping
        ),
    )
    return club


def test_processes_read_the_same(many: Path, rigs: Sequence[Rig], tmp_path: Path) -> None:
    alone = open_index(tmp_path / "alone" / "index.sqlite")
    survey(alone, [str(many)], rigs, workers=0)
    shared = open_index(tmp_path / "shared" / "index.sqlite")
    result = survey(shared, [str(many)], rigs, workers=2)
    assert (result.added, result.failed) == (IMAGES, 1)
    assert contents(shared) == contents(alone)
    assert multiprocessing.active_children() == []


def test_a_worker_that_is_killed(many: Path, rigs: Sequence[Rig], index: Index) -> None:
    killed: list[int] = []

    def kill_one(progress: Progress) -> None:
        """Far enough apart that no image is alone with a dying process twice."""
        if progress.total and progress.done > len(killed) * IMAGES // 3 and len(killed) < 3:
            victim = multiprocessing.active_children()[0]
            assert victim.pid is not None
            killed.append(victim.pid)
            victim.kill()

    result = survey(index, [str(many)], rigs, Job(kill_one, interval_s=0), workers=2)
    assert len(killed) == 3
    assert (result.added, result.failed) == (IMAGES, 1)


class DyingWorkers(Workers):
    """Each process dies of one image."""

    def __init__(self, count: int, rigs: Sequence[Rig]) -> None:
        super().__init__(0, rigs)

    def run(
        self,
        next_batch: Callable[[int], Batch | None],
        read_here: Callable[[], Done | None],
        stopping: Callable[[], bool],
    ) -> Iterator[Done]:
        from loadglass.shelf.reading import read_records

        with Reader() as reader:
            while batch := next_batch(BATCH_IMAGES):
                dies = any(item.source.path.endswith("/77.d64") for item in batch)
                yield batch, None if dies else read_records(batch, self._rigs, reader)


def test_an_image_that_kills_its_worker(
    many: Path, rigs: Sequence[Rig], index: Index, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("loadglass.shelf.workers.Workers", DyingWorkers)
    result = survey(index, [str(many)], rigs, workers=2)
    assert (result.added, result.failed) == (IMAGES - 1, 2)
    assert any("sudden end" in problem and "77.d64" in problem for problem in result.problems)


def dies(*_: object) -> None:
    os._exit(1)


def test_workers_that_never_live(
    many: Path, rigs: Sequence[Rig], index: Index, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("loadglass.shelf.workers._serve", dies)
    with pytest.raises(WorkersDie, match="again and again"):
        survey(index, [str(many)], rigs, workers=2)
    assert multiprocessing.active_children() == []
    monkeypatch.undo()
    result = survey(index, [str(many)], rigs)
    assert (result.images, result.failed) == (IMAGES + 1, 1)


@pytest.mark.skipif(sys.platform == "win32", reason="needs process groups")
def test_workers_end_with_the_process_that_started_them(many: Path, tmp_path: Path) -> None:
    script = tmp_path / "survey.py"
    script.write_text(
        SCRIPT.replace(
            "workers=1", "Job(lambda p: p.total and p.done and os.kill(os.getpid(), 9), 0)"
        )
    )
    process = subprocess.Popen(
        [sys.executable, str(script), str(tmp_path / "home" / "index.sqlite"), str(many)],
        env=os.environ | {"PYTHONPATH": os.getcwd()},
        start_new_session=True,
    )
    assert process.wait(timeout=60) == -signal.SIGKILL
    for _ in range(100):
        try:
            os.killpg(process.pid, 0)
        except ProcessLookupError:
            return
        time.sleep(0.1)
    pytest.fail("a worker lives on")


def sleeps(*_: object) -> None:
    time.sleep(60)


def test_progress_moves_and_a_stop_keeps_all_while_the_workers_only_start(
    many: Path, rigs: Sequence[Rig], index: Index, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.undo()
    monkeypatch.setattr(survey_module, "WORTH_WORKERS", 1)
    monkeypatch.setattr("loadglass.shelf.workers._serve", sleeps)
    said: list[Progress] = []

    def stop_at_forty(progress: Progress) -> None:
        said.append(progress)
        if progress.done >= 40:
            job.stop()

    job = Job(stop_at_forty, interval_s=0)
    with pytest.raises(SurveyStopped) as caught:
        survey(index, [str(many)], rigs, job, workers=2)
    assert [(each.done, each.total) for each in said] == [
        *([(0, None)] * (len(said) - 6)),
        *((read, IMAGES + 1) for read in range(0, 41, 8)),
    ]
    assert caught.value.result.images == 40
    with index.connected() as connection:
        assert connection.execute("SELECT count(*) FROM images").fetchone() == (40,)


def test_a_stop_keeps_what_is_finished(many: Path, rigs: Sequence[Rig], index: Index) -> None:
    def stop_soon(progress: Progress) -> None:
        if progress.total and progress.done:
            job.stop()

    job = Job(stop_soon, interval_s=0)
    with pytest.raises(SurveyStopped) as caught:
        survey(index, [str(many)], rigs, job, workers=2)
    done = caught.value.result.added
    assert done > 0
    assert multiprocessing.active_children() == []
    with index.connected() as connection:
        stored = "SELECT count(*) FROM images WHERE why = ''"
        assert connection.execute(stored).fetchone() == (done,)
    result = survey(index, [str(many)], rigs, workers=2)
    assert result.added == IMAGES - done


def test_two_processes_at_once(
    many: Path, rigs: Sequence[Rig], index: Index, tmp_path: Path
) -> None:
    script = tmp_path / "survey.py"
    script.write_text(SCRIPT)
    shared = tmp_path / "shared" / "index.sqlite"
    call = [sys.executable, str(script), str(shared), str(many)]
    environment = os.environ | {"PYTHONPATH": os.getcwd()}
    both = [
        subprocess.Popen(call, env=environment, stderr=subprocess.PIPE, text=True) for _ in range(2)
    ]
    for process in both:
        _, errors = process.communicate(timeout=60)
        assert (process.returncode, errors) == (0, "")
    survey(index, [str(many)], rigs, workers=0)
    together = open_index(shared)
    assert together.notices == []
    assert contents(together) == contents(index)
    assert survey(together, [str(many)], rigs).unchanged == IMAGES + 1
