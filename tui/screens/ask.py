"""Small questions in front of a view: choose one of a list, type a text."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from inspect import isawaitable
from typing import ClassVar, TypeVar

from rich.text import Text
from textual import on, work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.events import Key
from textual.screen import ModalScreen
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option

from formats.errors import LoadglassError
from tui.progress_line import SHOWN_AFTER_S

AnswerT = TypeVar("AnswerT")

Check = Callable[[str], object]
"""Raises LoadglassError for what cannot be used; awaitable where it has to look at a disk."""

LEAVE = Binding("escape", "leave", "Leave", tooltip="Leave things as they are")
LOOKING = "looking …"


class Question(ModalScreen[AnswerT | None]):
    """Escape leaves it, with None; what does not fit into it scrolls, whatever has the focus."""

    BINDINGS: ClassVar[list[BindingType]] = [
        LEAVE,
        Binding("up", "scroll(-1)", "Up", show=False, tooltip="Scroll up"),
        Binding("down", "scroll(1)", "Down", show=False, tooltip="Scroll down"),
        Binding("pageup", "scroll(-10)", "Page up", show=False, tooltip="Scroll up a page"),
        Binding("pagedown", "scroll(10)", "Page down", show=False, tooltip="Scroll down a page"),
    ]

    def action_leave(self) -> None:
        self.dismiss(None)

    def action_scroll(self, lines: int) -> None:
        for part in self.query(VerticalScroll):
            part.scroll_relative(y=lines, animate=False)


class ChooseOne(Question[str]):
    """Give the key of the line that was chosen, or None."""

    def __init__(self, title: str, lines: Sequence[tuple[str, str]], current: str | None = None):
        """lines: a key and what is shown for it, drawn as it is."""
        super().__init__()
        self._title = title
        self._lines = lines
        self._current = current

    def compose(self) -> ComposeResult:
        with Vertical(classes="box"):
            yield Static(Text(self._title), classes="title")
            yield OptionList(*(Option(Text(shown), key) for key, shown in self._lines))
            yield Static(Text("enter chooses, escape leaves"), classes="hint")

    def on_mount(self) -> None:
        keys = [key for key, _ in self._lines]
        if self._current in keys:
            self.query_one(OptionList).highlighted = keys.index(self._current)

    def on_key(self, event: Key) -> None:
        """A line whose key is one character is chosen by typing it."""
        if event.character in [key for key, _ in self._lines]:
            event.stop()
            self.dismiss(event.character)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        self.dismiss(event.option_id)


class Entry(Question[AnswerT]):
    """Something is typed; what cannot be used stays, with the sentence that says why."""

    def __init__(self, *, classes: str | None = None):
        super().__init__(classes=classes)
        self.is_free = asyncio.Event()
        """Not while a text is being looked at, unless that takes longer than a moment."""
        self.is_free.set()

    def field(self, text: str = "", hint: str = "", placeholder: str = "") -> ComposeResult:
        """The line to type into, what may be typed, and what was wrong with it."""
        yield Input(text, placeholder, select_on_focus=False)
        yield Static(Text(hint), classes="hint")
        yield Static(classes="trouble", markup=False)

    async def use(self, text: str) -> None:
        """Do what the text asks for, or dismiss with it. Raises LoadglassError."""
        raise NotImplementedError

    def refused(self, error: LoadglassError) -> None:
        """Say why the text cannot be used."""
        self.say_trouble(f"{error}.")

    def say_trouble(self, says: str) -> None:
        trouble = self.query_one(".trouble", Static)
        trouble.update(Text(says))
        trouble.display = bool(says)

    def on_mount(self) -> None:
        self.say_trouble("")
        self.query_one(Input).focus()

    @on(Input.Changed)
    def _edited(self) -> None:
        self.workers.cancel_group(self, "use")
        self.edited()

    def edited(self) -> None:
        """Another text is there: what was said of the last one is over."""
        self.say_trouble("")

    @on(Input.Submitted)
    def _entered(self) -> None:
        self.entered()

    def entered(self) -> None:
        self.submit()

    @work(exclusive=True, group="use")
    async def submit(self) -> None:
        self.is_free.clear()
        looking = self.set_timer(SHOWN_AFTER_S, self._takes_long)
        try:
            await self.use(self.query_one(Input).value.strip())
        except LoadglassError as error:
            self.refused(error)
        finally:
            looking.stop()
            self.is_free.set()

    def _takes_long(self) -> None:
        self.say_trouble(LOOKING)
        self.is_free.set()


class AskText(Entry[str]):
    """Give the text that was typed, or None."""

    def __init__(self, title: str, hint: str, text: str = "", check: Check = str):
        super().__init__()
        self._title = title
        self._hint = hint
        self._text = text
        self._check = check

    def compose(self) -> ComposeResult:
        with Vertical(classes="box"):
            yield Static(Text(self._title), classes="title")
            yield from self.field(self._text, self._hint)

    async def use(self, text: str) -> None:
        checked = self._check(text)
        if isawaitable(checked):
            await checked
        self.dismiss(text)
