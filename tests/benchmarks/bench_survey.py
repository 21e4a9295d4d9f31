"""A first survey against `sha256sum` of the same files, both with the files in memory.

`python -m tests.benchmarks.bench_survey [IMAGES [RUNS]]`
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

from tests.benchmarks.against import LOADGLASS, Run, in_turn, run, say_memory, say_ratio
from tests.benchmarks.corpus import write_images

IMAGES = 5_000
RUNS = 3
RATIO_BUDGET = 1.5
MEMORY_BUDGET_MIB = 150


def main(images: int = IMAGES, runs: int = RUNS) -> None:
    with tempfile.TemporaryDirectory(prefix="loadglass-bench-") as scratch:
        folder, home = Path(scratch, "images"), Path(scratch, "home")
        write_images(folder, images)
        files = [str(path) for path in sorted(folder.rglob("*.d64"))]

        def hash_all() -> Run:
            return run(["sha256sum", *files])

        def survey() -> Run:
            shutil.rmtree(home, ignore_errors=True)
            return run([*LOADGLASS, "survey", "--json", str(folder)], home)

        hash_all()  # reads the files into memory
        hashed, surveyed = in_turn(runs, hash_all, survey)
        say_ratio(f"survey of {images:,} images", surveyed, hashed, "sha256sum", RATIO_BUDGET)
        print(f"  {images / surveyed.wall_s:,.0f} images a second")
        say_memory(surveyed, MEMORY_BUDGET_MIB)
        size = (home / "index.sqlite").stat().st_size
        print(f"  the index takes {size / images / 1000:.1f} KB an image")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
