"""The real application in a pseudo-terminal: it starts, answers, and leaves the terminal whole."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.loadglass.card.evening import image
from tests.tui.harbour import HOSTILE_FILE_NAME, IMAGES, write_images

pexpect = pytest.importorskip("pexpect", reason="there are no pseudo-terminals here")

START = [sys.executable, "-m", "tui"]
ROOT = Path(__file__).parents[2]
ALTERNATE_ON, ALTERNATE_OFF, CURSOR_SHOWN = "\x1b[?1049h", "\x1b[?1049l", "\x1b[?25h"
WAIT_S = 30
IMAGES_OF_A_FILL = 300
"""More than are copied in the time that a signal takes."""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    images = tmp_path / "images"
    images.mkdir()
    write_images(images)
    (images / HOSTILE_FILE_NAME).write_bytes(IMAGES["evil-name.d64"])
    return images


class Terminal:
    def __init__(self, folder: Path, *arguments: str, **environment: str):
        kept = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "COLUMNS", "LINES")}
        own = {"LOADGLASS_HOME": str(folder.parent / "home"), "PYTHONPATH": str(ROOT)}
        self.child = pexpect.spawn(
            START[0],
            [*START[1:], *arguments],
            cwd=str(folder.parent),
            env={**kept, "TERM": "xterm-256color", **own, **environment},
            dimensions=(24, 80),
            encoding="utf-8",
            codec_errors="replace",
            timeout=WAIT_S,
        )
        self.child.delaybeforesend = None
        self.shown = ""
        """All that has come from the application."""

    def sees(self, *texts: str) -> None:
        for text in texts:
            self.child.expect_exact(text)
            self.shown += self.child.before + self.child.after

    def press(self, keys: str) -> None:
        self.child.send(keys)

    def resize(self, columns: int, lines: int) -> None:
        self.child.setwinsize(lines, columns)

    def ends(self) -> int:
        """The status at its end, the negative of a signal's number included."""
        self.child.expect(pexpect.EOF)
        self.shown += self.child.before
        self.child.close()
        signalled = self.child.signalstatus
        return -signalled if signalled else self.child.exitstatus

    def is_restored(self) -> bool:
        on, off = self.shown.rfind(ALTERNATE_ON), self.shown.rfind(ALTERNATE_OFF)
        cursor = self.shown.rfind(CURSOR_SHOWN)
        return 0 <= on < off and on < cursor and "Traceback" not in self.shown


@pytest.fixture
def terminals() -> Iterator[list[Terminal]]:
    started: list[Terminal] = []
    yield started
    for terminal in started:
        terminal.child.close(force=True)


def test_all_views_sizes_and_the_way_out(folder: Path, terminals: list[Terminal]) -> None:
    terminal = Terminal(folder)
    terminals.append(terminal)
    terminal.sees("The shelf is empty")
    terminal.press("u")
    terminal.sees("Survey which folder?")
    terminal.press("images\r")
    for columns, lines in ((140, 45), (40, 10), (80, 24)):  # while the survey goes on
        terminal.resize(columns, lines)
        time.sleep(0.15)
    terminal.sees("FOG HORN")
    for key, says in (("2", "blocks free"), ("3", "Compare"), ("4", "RETURN"), ("5", "Power off")):
        terminal.press(key)
        terminal.sees(says)
    terminal.press("?")
    terminal.sees("arrows scroll, escape leaves")
    terminal.press("\x1b")
    time.sleep(0.3)
    terminal.press("1")
    terminal.sees("verdict")
    terminal.press("q")
    assert terminal.ends() == 0
    assert terminal.is_restored()
    assert "\x1b]0;owned" not in terminal.shown and "\u202e" not in terminal.shown


@pytest.mark.parametrize(
    "environment",
    [
        {"TERM": "dumb"},
        {"NO_COLOR": "1"},
        {"TERM": "xterm-16color"},
        {"LANG": "C", "LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"},
    ],
    ids=["dumb", "no colour", "16 colours", "plain locale"],
)
def test_poor_terminals_are_no_trouble(
    folder: Path, terminals: list[Terminal], environment: dict[str, str]
) -> None:
    terminal = Terminal(folder, "images", **environment)
    terminals.append(terminal)
    terminal.sees("FOG HORN")
    terminal.press("q")
    assert terminal.ends() == 0
    assert terminal.is_restored()
    if "NO_COLOR" in environment:
        assert "\x1b[38;2" not in terminal.shown and "\x1b[48;2" not in terminal.shown


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP], ids=["term", "hang up"])
def test_a_signal_leaves_images_as_they_are(
    folder: Path, terminals: list[Terminal], number: signal.Signals
) -> None:
    before = {path: path.read_bytes() for path in folder.iterdir()}
    terminal = Terminal(folder)
    terminals.append(terminal)
    terminal.sees("The shelf is empty")
    terminal.press("uimages\r")
    terminal.child.kill(number)
    assert terminal.ends() == 128 + number
    assert terminal.is_restored()
    assert {path: path.read_bytes() for path in folder.iterdir()} == before
    again = Terminal(folder, "images")
    terminals.append(again)
    again.sees("FOG HORN")
    again.press("\x03")  # is no way out by itself, and says so
    again.sees("ctrl+q")
    again.press("\x11")
    assert again.ends() == 0 and again.is_restored()


def test_a_signal_during_a_fill_leaves_whole_files_and_the_next_fill_goes_on(
    tmp_path: Path, terminals: list[Terminal]
) -> None:
    folder, card = tmp_path / "club", tmp_path / "card"
    folder.mkdir()
    card.mkdir()
    images = {image(f"DISK {seed}".encode(), seed) for seed in range(IMAGES_OF_A_FILL)}
    for seed, data in enumerate(images):
        (folder / f"disk {seed}.d64").write_bytes(data)

    def on_card() -> list[Path]:
        return [path for path in card.rglob("*.d64") if not path.name.startswith(".")]

    def call(*arguments: str) -> None:
        environment = {**os.environ, "LOADGLASS_HOME": str(tmp_path / "home")}
        done = subprocess.run(
            [*START, *arguments], cwd=ROOT, env=environment, capture_output=True, timeout=60
        )
        assert done.returncode == 0, done.stderr

    call("survey", str(folder))
    terminal = Terminal(folder)
    terminals.append(terminal)
    terminal.sees("DISK 1")
    terminal.press("5")
    terminal.sees("Power off")
    terminal.press("f")
    terminal.sees("Card folder")
    terminal.press(f"{card}\r")
    terminal.sees("in /")
    terminal.press("F")
    terminal.sees("Fill it (y)")
    terminal.press("y")
    ends_s = time.monotonic() + WAIT_S
    while len(on_card()) < 5 and time.monotonic() < ends_s:
        time.sleep(0.001)
    terminal.child.kill(signal.SIGTERM)
    assert terminal.ends() == 128 + signal.SIGTERM
    assert terminal.is_restored()
    placed = {path: path.stat().st_ino for path in on_card()}
    assert 5 <= len(placed) < IMAGES_OF_A_FILL, "it was in the midst of it"
    assert {path.read_bytes() for path in placed} <= images, "whole files only"
    assert not list(card.rglob("*.tmp")), "nothing half is left"
    call("card", "fill", str(card), "--yes")
    assert {path.read_bytes() for path in on_card()} == images
    assert placed.items() <= {path: path.stat().st_ino for path in on_card()}.items(), "kept"


def test_without_a_terminal_it_says_what_to_do(folder: Path) -> None:
    done = subprocess.run(
        START,
        cwd=ROOT,
        env={**os.environ, "LOADGLASS_HOME": str(folder.parent / "home")},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=WAIT_S,
        check=False,
    )
    assert done.returncode == 2 and done.stdout == ""
    assert "needs a terminal" in done.stderr and "Traceback" not in done.stderr
