"""A survey of unchanged files against `find`, and that it opens none of them.

`python -m tests.benchmarks.bench_resurvey [FILES [RUNS]]`
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

from tests.benchmarks.against import LOADGLASS, Run, in_turn, run, say_memory, say_ratio
from tests.benchmarks.corpus import write_stand_ins

FILES = 50_000
RUNS = 5
RATIO_BUDGET = 4.0
MEMORY_BUDGET_MIB = 150

COUNT_OPENED = """
import os, sys
from tui.__main__ import main
opened = 0

def watch(event, arguments):
    global opened
    opened += event == "open" and str(arguments[0]).endswith(".d64")

sys.addaudithook(watch)
status = main(sys.argv[1:])
print(opened, file=sys.stderr)
sys.exit(status)
"""


def main(files: int = FILES, runs: int = RUNS) -> None:
    with tempfile.TemporaryDirectory(prefix="loadglass-bench-") as scratch:
        folder, home = Path(scratch, "images"), Path(scratch, "home")
        write_stand_ins(folder, files)
        survey = [*LOADGLASS, "survey", "--json", str(folder)]
        first = run(survey, home)
        print(f"first survey of {files:,} stand-ins: {first.wall_s:.1f} s")
        say_memory(first, MEMORY_BUDGET_MIB)

        def find() -> Run:
            return run(["find", str(folder), "-type", "f", "-printf", "%s %T@ %p\n"])

        found, again = in_turn(runs, find, lambda: run(survey, home))
        say_ratio(f"survey of {files:,} unchanged files", again, found, "find", RATIO_BUDGET)
        print(f"  {files / again.wall_s:,.0f} files a second")
        say_memory(again, MEMORY_BUDGET_MIB)
        print(f"  images opened: {count_opened(folder, home)}")


def count_opened(folder: Path, home: Path) -> int:
    """Files of images that a survey opens, as Python's audit events tell."""
    done = subprocess.run(
        [sys.executable, "-c", COUNT_OPENED, "survey", "--json", str(folder)],
        env={"LOADGLASS_HOME": str(home)},
        capture_output=True,
        text=True,
        check=True,
    )
    return int(done.stderr.split()[-1])


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
