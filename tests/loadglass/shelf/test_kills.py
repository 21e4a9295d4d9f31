"""A survey killed at any moment leaves an index that opens and a survey that goes on.

`make proof` kills hundreds; a few are killed in every run of the tests.
"""

from __future__ import annotations

import contextlib
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import pytest

from loadglass.shelf.index import open_index
from loadglass.shelf.survey import survey
from loadglass.timing.rig import Rig
from tests.loadglass.shelf.club import image, program
from tests.loadglass.shelf.contents import contents

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs process groups")

IMAGES = 240
FEW_KILLS = 4
PROOF_KILLS = int(os.environ.get("LOADGLASS_KILLS", "240"))

SCRIPT = """
import sys
from pathlib import Path
from loadglass.progress import Job
from loadglass.shelf import survey as survey_module
from loadglass.shelf.index import open_index
from loadglass.timing.rig_files import built_in_rigs

if __name__ == "__main__":
    survey_module.WORTH_WORKERS = 1
    survey_module.STORE_IMAGES = 20  # many transactions to be killed in
    print("ready", flush=True)
    said = []

    def report(progress):
        if progress.total and progress.done and not said:
            said.append(print("reading", flush=True))

    index = open_index(Path(sys.argv[1]))
    rigs = list(built_in_rigs().values())
    survey_module.survey(index, [sys.argv[2]], rigs, Job(report, interval_s=0), workers=2)
    print("done", flush=True)
"""


class Victim:
    """A survey in a process group of its own."""

    def __init__(self, script: Path, index: Path, folder: Path) -> None:
        self._process = subprocess.Popen(
            [sys.executable, str(script), str(index), str(folder)],
            env=os.environ | {"PYTHONPATH": os.getcwd()},
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            start_new_session=True,
        )
        assert self._process.stdout is not None
        self._said = self._process.stdout
        self.wait_for("ready")

    def wait_for(self, word: str) -> None:
        assert self._said.readline() == f"{word}\n"

    def kill_after(self, seconds: float) -> bool:
        """Kill the whole group; whether the survey had been done by then."""
        time.sleep(seconds)
        with contextlib.suppress(ProcessLookupError):
            os.killpg(self._process.pid, signal.SIGKILL)
        output, _ = self._process.communicate()
        return output.endswith("done\n")


@pytest.fixture
def script(tmp_path: Path) -> Path:
    path = tmp_path / "victim.py"
    path.write_text(SCRIPT)
    return path


def fill(folder: Path, version: int) -> None:
    """Images in a few folders; from version to version a third of them change."""
    for i in range(IMAGES):
        if version and i % 3:
            continue
        below = folder / f"box {i % 5}"
        below.mkdir(parents=True, exist_ok=True)
        files = [program(f"P{n}", b"%d %d" % (i, version) * 40 * n) for n in range(1, 4)]
        (below / f"{i}.d64").write_bytes(image(f"DISK {i}.{version}", *files))


@pytest.mark.parametrize(
    "kills",
    [
        pytest.param(FEW_KILLS, id="few"),
        pytest.param(PROOF_KILLS, id="many", marks=pytest.mark.proof),
    ],
)
@pytest.mark.parametrize("again", [False, True], ids=["first", "again"])
def test_killed_surveys(
    script: Path, club: Path, rigs: Sequence[Rig], tmp_path: Path, kills: int, again: bool
) -> None:
    """First surveys; and surveys of an index that exists, of which a third has changed."""
    fill(club, 0)
    start = tmp_path / "start" / "index.sqlite"
    if again:
        survey(open_index(start), [str(club)], rigs)
        fill(club, 1)
    expected_index = open_index(tmp_path / "expected" / "index.sqlite")
    survey(expected_index, [str(club)], rigs)
    expected = contents(expected_index)

    path = tmp_path / "home" / "index.sqlite"
    path.parent.mkdir()

    def fresh() -> None:
        for file in path.parent.iterdir():
            file.unlink()
        if again:
            for file in start.parent.iterdir():
                shutil.copy2(file, path.parent / file.name)

    fresh()
    victim = Victim(script, path, club)
    begun_s = time.monotonic()
    victim.wait_for("reading")
    reading_s = time.monotonic() - begun_s
    victim.wait_for("done")
    whole_s = time.monotonic() - begun_s
    victim.kill_after(0)

    chance = random.Random()
    partly = 0
    for kill in range(kills // 2):
        fresh()
        victim = Victim(script, path, club)
        moment_s = chance.random() * whole_s
        if kill % 3:  # most of them while images are read and stored
            victim.wait_for("reading")
            moment_s = chance.random() * (whole_s - reading_s)
        done = victim.kill_after(moment_s)
        index = open_index(path)
        says = f"kill {kill} after {moment_s:.4f} s"
        assert index.notices == [], says
        found = contents(index)
        assert all(row in expected["images"] for row in found["images"]) or again, says
        partly += bool(found["images"]) and found != expected
        result = survey(index, [str(club)], rigs, workers=0)
        assert result.images == IMAGES, says
        assert result.failed == 0, says
        assert not done or result.unchanged == IMAGES, says
        assert contents(index) == expected, says
    if kills > 100:
        assert partly > kills // 20  # the moments were well chosen
