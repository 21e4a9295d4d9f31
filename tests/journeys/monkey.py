"""A monkey at the keyboard and the mouse: steps by chance, what must hold after each of them,
and the fewest steps that still show a fault.

A step is a word: `x`, `ctrl+p`, `type:fog`, `paste:fog`, `click:12,5`, `wheel:12,5`, `size:80x24`,
`wait`. The same steps on the same collection are the same evening, so that the words alone make
a regression test.
"""

from __future__ import annotations

import asyncio
import random
import traceback
import unicodedata
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from tempfile import mkdtemp
from typing import Any

from rich.cells import cell_len
from textual import events
from textual.app import App
from textual.command import CommandPalette
from textual.geometry import Size
from textual.keys import (
    REPLACED_KEYS,
    _character_to_key,
    _get_unicode_name_from_key,
)
from textual.widgets import Input

from tests.journeys.cage import Cage, caged, collection, session_on
from tests.tui.driving import screen_lines
from tui.app import LoadglassApp
from tui.screens.view import View
from tui.widgets.where_bar import VIEWS

START_SIZE = (80, 24)
SIZES = ((80, 24), (140, 45), (100, 30), (60, 20), (40, 10), (200, 60), (20, 6), (1, 1), (79, 23))
HANGS_S = 60.0
"""The application has not answered for so long."""
WAIT_S = 0.08
HARMFUL = frozenset(
    chr(code)
    for first, end in ((0, 32), (127, 160), (0x200E, 0x2010), (0x202A, 0x202F), (0x2066, 0x206A))
    for code in range(first, end)
)
"""Controls, and marks that turn the direction of writing: none may reach a terminal."""

MOVES = ("up", "down", "left", "right", "pageup", "pagedown", "home", "end", "tab", "shift+tab")
COMMON = ("enter", "escape", "space", "1", "2", "3", "4", "5", "wait", *MOVES)
LETTERS = tuple("abcdefghiklmnoprstuvwxyzCDFMPS/?+.,*#-<>0")
RARE = (
    *("backspace", "delete", "insert", "f1", "f5", "shift+up", "shift+down", "shift+end"),
    *("ctrl+home", "ctrl+end", "ctrl+right", "ctrl+left", "ctrl+a", "ctrl+c", "ctrl+d", "ctrl+e"),
    *("ctrl+f", "ctrl+k", "ctrl+l", "ctrl+n", "ctrl+o", "ctrl+p", "ctrl+r", "ctrl+s", "ctrl+u"),
    *("ctrl+v", "ctrl+w", "ctrl+x", "ctrl+z", "ctrl+backslash", "alt+x", "q", "ctrl+q", "j", "ü"),
)
TEXTS = (
    *(
        "fog",
        "boje",
        "verdict:damaged",
        "fast-card<20s",
        "blocks>",
        "(",
        '"',
        "-",
        "-tag:",
        "a:b:c",
    ),
    *("[red]x[/", "~", ".", "images", "../card", "../images", "new/folder", "2:3", "92.4", "1e999"),
    *("nan", "-1", "0", "999999999999", "港の灯台の霧笛", "tag demo", "-demo", "a" * 300, "{}%s"),
    *(
        "out.txt",
        "card.html",
        "card.csv",
        "5s",
        "30min",
        "8",
        "16",
        "\\",
        "''; --",
        "*",
        "finding:x",
    ),
)
PHRASES: tuple[tuple[str, ...], ...] = (
    ("slash", "type:boje", "enter"),
    ("slash", "type:verdict:damaged", "enter"),
    ("escape", "escape", "1", "wait"),
    ("4", "wait", "space", "wait", "wait", "space", "k", "wait"),
    ("4", "wait", "plus", "type:12.5", "enter", "wait"),
    ("4", "wait", "plus", "type:92.4", "enter", "wait", "C", "wait", "enter", "wait"),
    ("4", "wait", "f", "end", "enter", "wait", "plus", "type:30.1", "enter", "wait"),
    ("5", "wait", "f", "type:../card", "enter", "wait", "p", "wait"),
    ("5", "wait", "F", "wait", "y", "wait"),
    ("5", "wait", "a", "wait", "n", "k", "type:/kept", "enter", "wait"),
    ("5", "wait", "c", "enter", "wait", "down", "enter", "wait"),
    ("u", "type:../images", "enter", "wait"),
    ("ctrl+p", "wait", "type:spin", "wait", "enter", "wait"),
    ("2", "wait", "a", "enter", "wait", "m"),
    ("2", "wait", "m", "space", "wait", "enter", "n", "n", "l"),
    ("2", "wait", "M", "wait", "enter", "wait"),
    ("2", "wait", "ctrl+s", "wait", "enter", "wait"),
    ("3", "wait", "tab", "d", "tab", "D", "f", "down", "enter", "wait"),
    ("1", "wait", "P", "wait", "r", "3", "g", "type:tag", "enter", "wait"),
    ("1", "h", "v", "d", "s", "down", "enter", "S", "wait"),
    ("w", "wait", "wait", "w", "wait"),
    ("o", "enter", "down", "enter", "escape"),
)


@dataclass(frozen=True)
class Evening:
    """What a monkey is let loose on."""

    images: int
    seed: int

    def files(self) -> dict[str, bytes]:
        return collection(self.images, self.seed)


@dataclass(frozen=True)
class Fault:
    says: str
    """What happened, in full."""
    kind: str
    """What a fault with fewer steps has to have in common with it."""


class Broken(Exception):
    """Something does not hold that must."""


def steps_by_chance(seed: int, count: int) -> list[str]:
    dice = random.Random(seed)
    steps: list[str] = []
    while len(steps) < count:
        what = dice.random()
        if what < 0.38:
            steps.append(dice.choice(COMMON))
        elif what < 0.62:
            steps.append(dice.choice(LETTERS))
        elif what < 0.72:
            steps.append(dice.choice(RARE))
        elif what < 0.78:
            steps.append(f"{dice.choice(('type', 'type', 'paste'))}:{dice.choice(TEXTS)}")
        elif what < 0.86:
            mouse = dice.choice(("click", "click", "click", "double", "wheel", "wheel-up", "hover"))
            y = dice.choice((0, dice.randrange(45), dice.randrange(24), 23))
            steps.append(f"{mouse}:{dice.randrange(dice.choice((20, 80, 140)))},{y}")
        elif what < 0.89:
            steps.append("size:{}x{}".format(*dice.choice(SIZES)))
        else:
            steps += dice.choice(PHRASES)
    return steps[:count]


# --- one step ------------------------------------------------------------------------------------


def _key(word: str) -> events.Key:
    """The event of a key by its name, as the toolkit's own pilot makes it."""
    key = _character_to_key(word) if len(word) == 1 and not word.isalnum() else word
    original = REPLACED_KEYS.get(key, key)
    try:
        character = unicodedata.lookup(_get_unicode_name_from_key(original))
    except KeyError:
        character = word if len(word) == 1 else None
    return events.Key(key, character)


CLICK = (events.MouseDown, events.MouseUp)
MOUSE: dict[str, tuple[type[events.MouseEvent], ...]] = {
    "click": CLICK,
    "double": CLICK * 2,
    "wheel": (events.MouseScrollDown,) * 3,
    "wheel-up": (events.MouseScrollUp,) * 3,
    "hover": (events.MouseMove,),
}


def _mouse(app: App[Any], kinds: Sequence[type[events.MouseEvent]], x: int, y: int) -> None:
    width, height = app.size
    if x < width and y < height and app._driver is not None:
        for kind in kinds:
            button = 1 if kind in CLICK else 0
            app._driver.send_message(kind(None, x, y, 0, 0, button, False, False, False, x, y))


async def _answers(app: App[Any]) -> None:
    """Wait until the application and its screen have taken what was sent."""
    for node in (app, app.screen):
        done = asyncio.Event()
        if node.call_later(done.set):
            ends = [asyncio.create_task(each.wait()) for each in (done, app._exception_event)]
            finished, left = await asyncio.wait(
                ends, timeout=HANGS_S, return_when=asyncio.FIRST_COMPLETED
            )
            for task in left:
                task.cancel()
            if not finished and node.is_running and app.is_running:
                raise Broken("the application does not answer any more")
    await asyncio.sleep(0)


def _leads_out(app: App[Any], cage: Cage) -> bool:
    """Whether a question holds a path that is none of the monkey's business."""
    if isinstance(app.screen, View | CommandPalette):
        return False
    return any(not cage.holds(each.value) for each in app.screen.query(Input))


async def take_step(app: LoadglassApp, cage: Cage, step: str) -> None:
    word, _, rest = step.partition(":")
    driver = app._driver
    assert driver is not None
    if word in ("enter", "space", "click", "double") and _leads_out(app, cage):
        word = "escape"
    if word == "wait":
        await asyncio.sleep(WAIT_S)
    elif word == "type" and rest:
        for character in rest:
            driver.send_message(_key(character))
    elif word == "paste":
        driver.send_message(events.Paste(rest))
    elif word == "size":
        width, height = map(int, rest.split("x"))
        driver._size = size = Size(width, height)
        app.post_message(events.Resize(size, size))
    elif word in MOUSE and rest:
        x, y = map(int, rest.split(","))
        _mouse(app, MOUSE[word], x, y)
    else:
        driver.send_message(_key(word))
    await _answers(app)


# --- what must hold ------------------------------------------------------------------------------


def look(app: LoadglassApp, cage: Cage) -> None:
    """Raise Broken for what must not be on a screen or on the disk."""
    if cage.escapes:
        raise Broken(f"written outside: {cage.escapes[0]}")
    screen = app.screen
    width = app.size.width
    if any(each.size != app.size for each in (*app.screen_stack, screen._compositor)):
        return  # a new size is only being taken up
    lines = screen_lines(app)
    for number, line in enumerate(lines):
        harmful = HARMFUL & set(line)
        if harmful:
            raise Broken(f"line {number} has {harmful} in it: {line!r}")
        if cell_len(line) != width:
            raise Broken(f"line {number} is {cell_len(line)} cells wide, not {width}: {line!r}")
    if isinstance(screen, View) and screen.view in VIEWS and width >= 40 and screen.is_mounted:
        key, label = VIEWS[screen.view]
        says = screen.where.render().plain
        if f" {key} {label} " not in says:
            raise Broken(f"the top line does not say that this is {label}: {says!r}")
        if f"{key} {label}" not in lines[0]:
            raise Broken(f"where one is does not show: {lines[0]!r}")


def _kind(error: BaseException) -> str:
    frames = traceback.extract_tb(error.__traceback__)
    place = f"{Path(frames[-1].filename).name}:{frames[-1].name}" if frames else ""
    if isinstance(error, Broken):
        place = str(error)[:12]
    return f"{type(error).__name__} {place}"


def _fault(error: BaseException, at: str) -> Fault:
    trace = "".join(traceback.format_exception(error))
    return Fault(f"at step {at}:\n{trace}", _kind(error))


# --- an evening ----------------------------------------------------------------------------------


async def play(evening: Evening, steps: Sequence[str]) -> Fault | None:
    """Take the steps, starting the application again whenever it was left."""
    trouble: list[Fault] = []

    def loop_trouble(_loop: asyncio.AbstractEventLoop, context: dict[str, Any]) -> None:
        error = context.get("exception")
        if error is not None:
            trouble.append(_fault(error, "?"))

    loop = asyncio.get_running_loop()
    loop.set_exception_handler(loop_trouble)
    try:
        with caged(Path(mkdtemp(prefix="monkey-")), evening.files()) as cage:
            at = 0
            while at < len(steps):
                at, fault = await _sitting(cage, steps, at)
                if fault or trouble:
                    return fault or trouble[0]
            changed = cage.changed_images()
            if changed:
                return Fault(f"images have changed: {changed}", "images have changed")
    finally:
        loop.set_exception_handler(None)
    return None


async def _sitting(cage: Cage, steps: Sequence[str], at: int) -> tuple[int, Fault | None]:
    """From one start of the application to its end; the next step's number."""
    with session_on(cage) as session:
        app = LoadglassApp(session)
        app.animation_level = "none"
        try:
            async with app.run_test(size=START_SIZE, notifications=True):
                while at < len(steps) and not app._exit:
                    at += 1
                    await take_step(app, cage, steps[at - 1])
                    if app._exception is not None:
                        raise app._exception
                    if not app._exit:
                        look(app, cage)
                if not app._exit:
                    await take_step(app, cage, "wait")
            if app._exit and app.return_code != 0:
                raise Broken(f"it has ended with status {app.return_code}")
        except Exception as error:
            return at, _fault(error, f"{at} ({steps[at - 1]})")
        finally:
            app.works.stop_all()
            app.close()
    return at, None


# --- the fewest steps ----------------------------------------------------------------------------


async def reduced(
    steps: Sequence[str], still_fails: Callable[[Sequence[str]], Awaitable[bool]], tries: int = 300
) -> list[str]:
    """Steps of which none can be left out, by delta debugging (Zeller and Hildebrandt,
    *Simplifying and Isolating Failure-Inducing Input*, IEEE TSE 28(2), 2002, from memory)."""
    left = list(steps)
    parts = 2
    while len(left) > 1 and tries > 0:
        size = -(-len(left) // parts)
        for first in range(0, len(left), size):
            without = left[:first] + left[first + size :]
            tries -= 1
            if without and await still_fails(without):
                left, parts = without, max(parts - 1, 2)
                break
        else:
            if size == 1:
                break
            parts = min(parts * 2, len(left))
    return left


async def let_loose(evening: Evening, count: int) -> None:
    """Play so many steps by chance; fails with the seed, the fewest steps and what happened."""
    steps = steps_by_chance(evening.seed, count)
    fault = await play(evening, steps)
    if fault is None:
        return

    async def still_fails(fewer: Sequence[str]) -> bool:
        again = await play(evening, fewer)
        return again is not None and again.kind == fault.kind

    if not await still_fails(steps):
        raise AssertionError(f"{evening}, {count} steps, once and not again: {fault.says}")
    few = await reduced(steps, still_fails)
    raise AssertionError(f"{evening}, fewest steps {few}:\n{fault.says}")
