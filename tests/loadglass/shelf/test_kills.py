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
from loadglass.shelf import survey as survey_module
from loadglass.shelf.index import open_index
from loadglass.timing.rig_files import built_in_rigs
if __name__ == "__main__":
    survey_module.WORTH_WORKERS = 1
    survey_module.STORE_IMAGES = 20  # many transactions to be killed in
    print("ready", flush=True)
    index = open_index(Path(sys.argv[1]))
    survey_module.survey(index, [sys.argv[2]], list(built_in_rigs().values()), workers=2)
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
        assert self._process.stdout.readline() == "ready\n"

    def kill_after(self, seconds: float) -> bool:
        """Kill the whole group; whether the survey had been done by then."""
        time.sleep(seconds)
        with contextlib.suppress(ProcessLookupError):
            os.killpg(self._process.pid, signal.SIGKILL)
        output, _ = self._process.communicate()
        return output == "done\n"

    def run_to_the_end(self) -> None:
        output, _ = self._process.communicate(timeout=120)
        assert output == "done\n"


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
    begun_s = time.monotonic()
    Victim(script, path, club).run_to_the_end()
    whole_s = time.monotonic() - begun_s

    chance = random.Random()
    partly = 0
    for kill in range(kills // 2):
        fresh()
        moment_s = chance.random() * whole_s
        done = Victim(script, path, club).kill_after(moment_s)
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
