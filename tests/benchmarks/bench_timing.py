"""What clocking costs: `python tests/benchmarks/bench_timing.py`.

Times are the best of some runs, and beside them the share of what hashing one image takes in the
same run, which holds on any machine.
"""

from __future__ import annotations

import hashlib
import subprocess
import sys
import time
from collections.abc import Callable

from formats.compose import Allocator
from formats.geometry import TRACKS_35
from loadglass.timing.estimate import clock_places, seconds_of
from loadglass.timing.motion import pack_blocks
from loadglass.timing.places import FilePlaces, ImagePlaces
from loadglass.timing.prices import drawn_prices, nominal_prices
from loadglass.timing.rig_files import built_in_rigs

FILES = 10
FILE_BLOCKS = 60


def best_ms(work: Callable[[], object], runs: int = 15) -> float:
    times = []
    for _ in range(runs):
        begun = time.perf_counter()
        work()
        times.append(time.perf_counter() - begun)
    return min(times) * 1000


def full_image() -> ImagePlaces:
    """Ten programs of 60 blocks, laid out by the stock drive's rule."""
    allocator = Allocator(TRACKS_35)
    directory = allocator.directory_chain(2)
    return ImagePlaces(
        TRACKS_35,
        TRACKS_35.header_block,
        tuple(directory),
        tuple(
            FilePlaces(slot, slot // 8 + 1, True, 100, pack_blocks(allocator.chain(FILE_BLOCKS)))
            for slot in range(FILES)
        ),
    )


def import_ms(modules: str) -> float:
    code = f"import time; begun = time.perf_counter(); import {modules}; "
    code += "print(time.perf_counter() - begun)"
    runs = [
        float(subprocess.run([sys.executable, "-c", code], capture_output=True, check=True).stdout)
        for _ in range(5)
    ]
    return min(runs) * 1000


def main() -> None:
    image = full_image()
    rigs = list(built_in_rigs().values())
    content = bytes(TRACKS_35.size_bytes)
    hash_ms = best_ms(lambda: hashlib.sha256(content).digest())

    def line(what: str, ms: float) -> None:
        print(f"{what:<58} {ms:8.3f} ms {ms / hash_ms:7.2f} x hash")

    print(f"an image of {FILES} files of {FILE_BLOCKS} blocks, {len(rigs)} rigs")
    line("hash of one image", hash_ms)
    for batch in (1, 10, 100, 200, 500):
        images = [image] * batch
        ms = best_ms(lambda images=images: seconds_of(images, rigs)) / batch
        line(f"seconds, start and all: each image of a batch of {batch}", ms)
    line("with ranges and stages: one image", best_ms(lambda: clock_places(image, rigs)))
    spinning = rigs[0]
    line("prices of a spinning rig", best_ms(lambda: nominal_prices.__wrapped__(spinning)))
    line("prices of its draws", best_ms(lambda: drawn_prices.__wrapped__(spinning)))
    line("places to bytes and back", best_ms(lambda: ImagePlaces.from_bytes(image.to_bytes())))
    numpy_ms = import_ms("numpy")
    line("import of numpy", numpy_ms)
    ours_ms = import_ms("numpy, loadglass.timing.estimate, loadglass.timing.rig_files")
    line("import of the clock, numpy less", ours_ms - numpy_ms)


if __name__ == "__main__":
    main()
