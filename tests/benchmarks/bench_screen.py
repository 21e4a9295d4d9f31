"""The real screen in a real pseudo-terminal over 100,000 rows, against the budgets.

    python -m tests.benchmarks.bench_screen [ROWS]

Measured from the outside: from the moment a key is sent until its last effect, the path of the
row under the cursor, has come out of the terminal. The base is an application of the same
toolkit with nothing in it but a number.
"""

from __future__ import annotations

import fcntl
import os
import pty
import random
import select
import signal
import statistics
import struct
import sys
import tempfile
import termios
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from loadglass.home import home
from loadglass.shelf.choices import open_choices
from loadglass.shelf.index import open_index
from loadglass.shelf.query import Shelf
from loadglass.timing.rig_files import built_in_rigs
from tests.benchmarks.corpus import fill_index
from tui.widgets.filter_line import TAKEN_AWAY

ROWS = 100_000
SIZES = ((80, 24), (140, 45))
STARTS = 5
STEPS = 60
PATIENCE_S = 20.0
QUIET_S = 0.03
"""Nothing has come out for so long: the screen is at rest."""
PAUSES_S = (0.0, 0.15)
"""A person's pauses between keys, so that keys do not keep time with anything."""
DOWN, PAGE_DOWN, END, HOME = b"\x1b[B", b"\x1b[6~", b"\x1b[F", b"\x1b[H"

FIRST_PAINT_S, KEY_S, LETTER_S = 0.5, 0.05, 0.1
"""The budgets."""

SHELF = """
import sys, time
from loadglass.home import home
from loadglass.timing.rig_files import built_in_rigs
from tui.full_screen import show
from tui.shelves import kept_shelf
rigs = list(built_in_rigs().values())
with kept_shelf(rigs) as opened:
    open(sys.argv[1], "w").write(repr(time.monotonic()))
    show(opened, rigs, "shelf")
"""
EMPTY = """
import sys, time
from textual.app import App
from textual.widgets import Static
class Empty(App):
    BINDINGS = [("down", "count")]
    number = 0
    def compose(self):
        yield Static("number 0", id="number")
    def action_count(self):
        self.number += 1
        self.query_one("#number").update(f"number {self.number}")
open(sys.argv[1], "w").write(repr(time.monotonic()))
Empty().run()
"""


class Terminal:
    """A program in a pseudo-terminal of its own, driven by bytes."""

    def __init__(self, code: str, size: tuple[int, int], stamp: Path) -> None:
        self._stamp = stamp
        self.begun_s = time.monotonic()
        self.process, self.handle = pty.fork()
        if not self.process:
            os.environ |= {"TERM": "xterm-256color", "COLORTERM": "truecolor"}
            os.execv(sys.executable, [sys.executable, "-c", code, str(stamp)])
        width, height = size
        fcntl.ioctl(self.handle, termios.TIOCSWINSZ, struct.pack("HHHH", height, width, 0, 0))
        self._seen = b""

    def wait_for(self, text: str) -> float:
        """When a text came out that was not there before; monotonic seconds."""
        wanted = text.encode()
        deadline = time.monotonic() + PATIENCE_S
        while time.monotonic() < deadline:
            if select.select([self.handle], [], [], 0.1)[0]:
                self._seen += os.read(self.handle, 1 << 16)
            if wanted in self._seen:
                found = time.monotonic()
                self._drain(QUIET_S)
                return found
        raise SystemExit(f"{text!r} never came out of the terminal: {self._seen[-2000:]!r}")

    def after(self, keys: bytes, text: str) -> float:
        """Seconds from sending keys until a text comes out."""
        self._drain(random.uniform(*PAUSES_S))
        sent = time.monotonic()
        os.write(self.handle, keys)
        return self.wait_for(text) - sent

    def own_start_s(self) -> float:
        """When the program had loaded its modules and began its own start."""
        return float(self._stamp.read_text())

    def close(self) -> None:
        os.kill(self.process, signal.SIGKILL)
        os.waitpid(self.process, 0)
        os.close(self.handle)

    def _drain(self, pause_s: float) -> None:
        deadline = time.monotonic() + pause_s
        while select.select([self.handle], [], [], max(deadline - time.monotonic(), 0))[0]:
            os.read(self.handle, 1 << 16)
        self._seen = b""


@contextmanager
def terminal(code: str, size: tuple[int, int], folder: Path) -> Iterator[Terminal]:
    opened = Terminal(code, size, folder / "stamp")
    try:
        yield opened
    finally:
        opened.close()


def p95(times: Sequence[float]) -> float:
    return statistics.quantiles(times, n=20)[-1]


def starts(code: str, size: tuple[int, int], folder: Path, first: str) -> tuple[float, float]:
    """Median seconds from the program's own start, and from its process's, to the first paint."""
    own, whole = [], []
    for _ in range(STARTS):
        with terminal(code, size, folder) as each:
            painted = each.wait_for(first)
            own.append(painted - each.own_start_s())
            whole.append(painted - each.begun_s)
    return statistics.median(own), statistics.median(whole)


def report(what: str, seconds: float, base_s: float, budget_s: float | None = None) -> None:
    verdict = ""
    if budget_s is not None:
        held = "holds" if seconds <= budget_s else "BROKEN"
        verdict = f"   budget {budget_s * 1000:.0f} ms: {held}"
    ratio = seconds / base_s
    print(f"  {what:<46} {seconds * 1000:7.1f} ms  {ratio:5.2f} x empty{verdict}", flush=True)


def key_times(screen: Terminal, names: Sequence[str], keys: bytes, step: int) -> list[float]:
    return [screen.after(keys, names[i * step]) for i in range(1, STEPS + 1)]


def letter_times(screen: Terminal, shelf: Shelf, words: Sequence[str]) -> list[float]:
    times = []
    for word in words:
        screen.after(b"/", "Table")
        for end in range(1, len(word) + 1):
            (first,) = shelf.page(word[:end], "title", False, 0, 1)
            times.append(screen.after(word[end - 1].encode(), first.file_name))
        screen.after(b"\x1b", "Open")
        screen.after(b"\x1b", TAKEN_AWAY[:20])
    return times


def measure(size: tuple[int, int], folder: Path, shelf: Shelf, rows: int) -> None:
    width, height = size
    print(f"{rows:,} rows at {width} x {height}")
    names = [row.file_name for row in shelf.rows("", "title", limit=STEPS * height)]
    base_own, base_whole = starts(EMPTY, size, folder, "number 0")
    own, whole = starts(SHELF, size, folder, names[0])
    report("first paint, from the app's own start", own, base_own, FIRST_PAINT_S)
    report("first paint, from the process's start", whole, base_whole)
    with terminal(EMPTY, size, folder) as empty:
        empty.wait_for("number 0")
        key_base = p95([empty.after(DOWN, f"number {i}") for i in range(1, STEPS + 1)])
    with terminal(SHELF, size, folder) as screen:
        screen.wait_for(names[0])
        down = key_times(screen, names, DOWN, 1)
        screen.after(HOME, names[0])
        page = key_times(screen, names, PAGE_DOWN, height - 7)
        last = next(shelf.rows("", "title", True, 1)).file_name
        ends = [screen.after(*step) for step in ((END, last), (HOME, names[0])) * (STEPS // 6)]
        report("to the last row for the first time", ends[0], key_base)
        for what, times in {
            "a row down": down,
            "a page down": page,
            "to either end": ends,
            "any of these keys": [*down, *page, *ends],
        }.items():
            budget_s = KEY_S if times is not ends else None
            report(f"{what}, 95th percentile", p95(times), key_base, budget_s)
        letters = letter_times(screen, shelf, ("hafen", "licht", "nebel", "ree", "kai"))
        report("a letter of the filter, 95th percentile", p95(letters), key_base, LETTER_S)
        report("a letter of the filter, the slowest", max(letters), key_base)
        smallest = next(shelf.rows("", "blocks", False, 1)).file_name
        screen.after(b"s", "Sort by")
        by_blocks = DOWN * 4 + b"\r"
        report("sorted by blocks", screen.after(by_blocks, smallest), key_base)


def main() -> None:
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else ROWS
    rigs = list(built_in_rigs().values())
    with tempfile.TemporaryDirectory() as name:
        os.environ["LOADGLASS_HOME"] = name
        os.environ.pop("NO_COLOR", None)
        index, choices = open_index(home().index), open_choices(home().choices)
        fill_index(index, rigs, rows)
        shelf = Shelf(index, choices, rigs)
        for size in SIZES:
            measure(size, Path(name), shelf, rows)
        shelf.close()
        choices.close()


if __name__ == "__main__":
    main()
