"""The line that filters the shelf while one types."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.message import Message
from textual.widgets import Input, Static

from formats.errors import LoadglassError

TAKEN_AWAY = "/ and arrow up bring back: {}"
EXAMPLES = "words, or: verdict:sound  files=1  fast-card<20s  tag:demo"


class FilterInput(Input):
    def check_consume_key(self, key: str, character: str | None) -> bool:
        """Whether a key is typed here; the toolkit does not know which character slash is."""
        return super().check_consume_key(key, "/" if key == "slash" else character)


class FilterLine(Vertical):
    """What is typed, how many rows that leaves, and under it why it cannot be understood.

    What is refused filters nothing and is not remembered; the line is not left with it.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "give_up", "Table", tooltip="To the table, without a wrong filter"),
        Binding("down", "leave", "Table", show=False, tooltip="Back to the table"),
        Binding("up", "bring_back", "Last", show=False, tooltip="Bring the last filter back"),
    ]

    @dataclass
    class Changed(Message):
        """Rows are to be filtered by this."""

        text: str

    class Left(Message):
        """Typing is over: the keys belong to the table."""

    def __init__(self, text: str, check: Callable[[str], str]) -> None:
        """check: what is to be said of a filter; raises LoadglassError if it is refused."""
        super().__init__()
        self._start = text
        self._check = check
        self._trouble = ""
        self._before = text
        """The filter that typing began with."""
        self._last = ""
        """The one that was taken away."""

    def compose(self) -> ComposeResult:
        with Horizontal():
            yield Static("Filter", classes="label")
            yield FilterInput(
                self._start, placeholder=EXAMPLES, compact=True, select_on_focus=False
            )
            yield Static(classes="counts", markup=False)
        yield Static(classes="trouble", markup=False)

    @property
    def input(self) -> FilterInput:
        return self.query_one(FilterInput)

    @property
    def text(self) -> str:
        return self.input.value.strip()

    def put(self, text: str) -> None:
        """Filter by this, as if it had been typed."""
        self._before = self.input.value = text

    def clear(self) -> None:
        """Take the filter away, and say how it comes back."""
        self._last = self._before if self._is_refused() else self.text
        self.input.placeholder = TAKEN_AWAY.format(self._last) if self._last else EXAMPLES
        self._before = self.input.value = ""

    def action_leave(self) -> None:
        if not self._is_refused():
            self._before = self.text
            self.post_message(self.Left())

    def action_give_up(self) -> None:
        if self._is_refused():
            self.put(self._before)
        self.action_leave()

    def action_bring_back(self) -> None:
        self.put(self._last or self.text)
        self.input.action_end()

    def say_counts(self, text: str) -> None:
        self.query_one(".counts", Static).update(Text(text), layout=False)

    def say_trouble(self, text: str, is_note: bool = False) -> None:
        """Show why the filter cannot be used, or a note on what it means; empty: neither."""
        if text == self._trouble:
            return
        self._trouble = text
        trouble = self.query_one(".trouble", Static)
        trouble.set_class(is_note, "note")
        trouble.update(Text(text))
        trouble.display = bool(text)

    def on_mount(self) -> None:
        self.query_one(".trouble").display = False
        if self._is_refused():
            self._before = ""

    def _is_refused(self) -> bool:
        try:
            note = self._check(self.text)
        except LoadglassError as error:
            self.say_trouble(str(error))
            return True
        self.say_trouble(note, is_note=True)
        return False

    def on_input_changed(self, event: Input.Changed) -> None:
        event.stop()
        if not self._is_refused():
            self.post_message(self.Changed(self.text))

    def on_input_submitted(self, event: Input.Submitted) -> None:
        event.stop()
        self.action_leave()
