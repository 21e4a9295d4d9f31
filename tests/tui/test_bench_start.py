"""`loadglass bench start` on a real pseudo-terminal: the stopwatch and what it keeps."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.tui.bench_view import miles
from tests.tui.calling import call
from tests.tui.images import put

pexpect = pytest.importorskip("pexpect")
if sys.platform == "win32":
    pytest.skip("there are no pseudo-terminals", allow_module_level=True)

RUN_S = 1.2


@pytest.fixture
def stopwatch(tmp_path: Path) -> Iterator[Any]:
    path = put(tmp_path, "miles.d64", miles())
    child = pexpect.spawn(
        sys.executable,
        ["-m", "tui", *("bench", "start", str(path), "long", "--rig", "fast-card")],
        dimensions=(24, 80),
        encoding="utf-8",
        timeout=30,
    )
    child.expect("press space as you press RETURN")
    yield child
    child.close(force=True)


def readings() -> list[dict[str, Any]]:
    return [json.loads(line) for line in call("bench", "list", "--json").out.splitlines()]


def test_space_space_keep(stopwatch: Any) -> None:
    started = time.monotonic()
    stopwatch.send(" ")
    stopwatch.expect("the range begins in")
    time.sleep(RUN_S)
    stopwatch.send(" ")
    ran = time.monotonic() - started
    stopwatch.expect("shorter than predicted")
    stopwatch.send("k")
    stopwatch.expect("reading 1 is in the log")
    stopwatch.expect(pexpect.EOF)
    stopwatch.close()
    assert stopwatch.exitstatus == 0
    (reading,) = readings()
    assert RUN_S - 0.2 < reading["seconds"] < ran + 0.2
    assert (reading["file"], reading["rig"]) == ("LONG", "fast-card")


def test_thrown_away_and_left(stopwatch: Any) -> None:
    stopwatch.send(" ")
    stopwatch.expect("the range begins in")
    stopwatch.send("\x7f")
    stopwatch.expect("press space as you press RETURN")
    stopwatch.send("q")
    stopwatch.expect("no reading was kept")
    stopwatch.expect(pexpect.EOF)
    stopwatch.close()
    assert stopwatch.exitstatus == 1
    assert readings() == []
