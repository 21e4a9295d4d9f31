"""Runs of commands side by side: wall time, and the memory of the largest process."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NamedTuple

LOADGLASS = (sys.executable, "-m", "tui")


class Run(NamedTuple):
    wall_s: float
    peak_mib: float
    """Of the largest process, the command's own and all it started."""


def run(command: Sequence[str], home: Path | None = None) -> Run:
    """Run a command to its end. Raises RuntimeError if it fails."""
    environment = os.environ | ({"LOADGLASS_HOME": str(home)} if home else {})
    begun_s = time.perf_counter()
    process = subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(process.pid, 0)
    wall_s = time.perf_counter() - begun_s
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise RuntimeError(f"{command[:4]} ended with {process.returncode}")
    unit = 1024 if sys.platform == "darwin" else 1  # bytes there, KiB elsewhere
    return Run(wall_s, usage.ru_maxrss / unit / 1024)


def in_turn(runs: int, *works: Callable[[], Run]) -> list[Run]:
    """Each work's best of some runs, the works taking turns so that they share what disturbs."""
    results: list[list[Run]] = [[] for _ in works]
    for _ in range(runs):
        for result, work in zip(results, works, strict=True):
            result.append(work())
    return [
        Run(min(each.wall_s for each in result), max(each.peak_mib for each in result))
        for result in results
    ]


def say_ratio(what: str, ours: Run, theirs: Run, against: str, budget: float) -> None:
    ratio = ours.wall_s / theirs.wall_s
    verdict = "holds" if ratio <= budget else "MISSED"
    print(f"{what}: {ours.wall_s:.2f} s; {against}: {theirs.wall_s:.2f} s")
    print(f"  ratio {ratio:.2f}, at most {budget:g}: {verdict}")


def say_memory(ours: Run, budget_mib: float) -> None:
    verdict = "holds" if ours.peak_mib < budget_mib else "MISSED"
    print(f"  largest process {ours.peak_mib:.0f} MiB, under {budget_mib:g}: {verdict}")
