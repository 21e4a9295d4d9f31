"""What each import costs at start: of a command, of the full screen, of one more view.

    python -m tests.benchmarks.bench_imports [LEAST_MS]

The interpreter's own `-X importtime`, summed by package. The base is `import construct, numpy`.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

RUNS = 5
LEAST_MS = 2.0
"""Packages below this are shown as one line."""
OURS = ("formats", "loadglass", "tui")
BASE = ("-c", "import construct, numpy")
STARTS: dict[str, Sequence[str]] = {
    "loadglass audit ONE": ("-m", "tui", "audit", "sample_images/fog-over-grauhaven.d64"),
    "loadglass shelf": ("-m", "tui", "shelf"),
    "the full screen, up to its first view": ("-c", "import tui.full_screen"),
    "the full screen, with every view": (
        "-c",
        "import tui.full_screen\nfrom tui.screens import bench, card, clock, disk",
    ),
}
ROOT = Path(__file__).parents[2]


def package_of(module: str) -> str:
    """Ours by module, all else by package."""
    top = module.partition(".")[0]
    return module if top in OURS else top


def costs_ms(start: Sequence[str], home: str) -> Counter[str]:
    """Each package's own time, without what it imports from other packages."""
    done = subprocess.run(
        [sys.executable, "-X", "importtime", *start],
        env=os.environ | {"LOADGLASS_HOME": home},
        cwd=ROOT,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        check=True,
    )
    spent: Counter[str] = Counter()
    for line in done.stderr.splitlines():
        own_us, bar, named = line.removeprefix("import time:").partition("|")
        if bar and own_us.strip().isdigit():
            spent[package_of(named.partition("|")[2].strip())] += int(own_us) / 1000
    return spent


def least_ms(start: Sequence[str], home: str) -> Counter[str]:
    """Each package's least of some runs: what disturbs only adds."""
    runs = [costs_ms(start, home) for _ in range(RUNS)]
    return Counter({name: min(run[name] for run in runs) for name in runs[0]})


def main(shown_from_ms: float = LEAST_MS) -> None:
    with tempfile.TemporaryDirectory(prefix="loadglass-bench-") as home:
        base_ms = least_ms(BASE, home).total()
        print(f"import construct, numpy: {base_ms:.0f} ms")
        for what, start in STARTS.items():
            spent = least_ms(start, home)
            print(f"{what}: {spent.total():.0f} ms, {spent.total() / base_ms:.2f} x the base")
            shown = [(name, ms) for name, ms in spent.most_common() if ms >= shown_from_ms]
            for name, ms in shown:
                print(f"  {ms:7.1f} ms  {name}")
            rest_ms = spent.total() - sum(ms for _, ms in shown)
            print(f"  {rest_ms:7.1f} ms  {len(spent) - len(shown)} others")


if __name__ == "__main__":
    main(*map(float, sys.argv[1:]))
