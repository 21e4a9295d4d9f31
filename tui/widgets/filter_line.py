"""The line that filters the shelf while one types."""

from __future__ import annotations

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
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", "Table", tooltip="Back to the table"),
        Binding("down", "leave", "Table", show=False, tooltip="Back to the table"),
        Binding("up", "bring_back", "Last", show=False, tooltip="Bring the last filter back"),
    ]
    last = ""
    """The filter that was taken away."""

    def check_consume_key(self, key: str, character: str | None) -> bool:
        """Whether a key is typed here; the toolkit does not know which character slash is."""
        return super().check_consume_key(key, "/" if key == "slash" else character)

    def action_leave(self) -> None:
        self.post_message(FilterLine.Left())

    def action_bring_back(self) -> None:
        self.value = self.last or self.value
        self.action_end()


class FilterLine(Vertical):
    """What is typed, how many rows that leaves, and under it why it cannot be understood."""

    @dataclass
    class Changed(Message):
        """Rows are to be filtered by this."""

        text: str

    class Left(Message):
        """Typing is over: the keys belong to the table."""

    def __init__(self, text: str = "") -> None:
        super().__init__()
        self._start = text
        self._trouble = ""

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
        self.input.value = text

    def clear(self) -> None:
        """Take the filter away, and say how it comes back."""
        self.input.last = self.text
        self.input.placeholder = TAKEN_AWAY.format(self.text)
        self.input.value = ""

    def say_counts(self, text: str) -> None:
        self.query_one(".counts", Static).update(Text(text), layout=False)
        self._say_trouble("")

    def refuse(self, error: LoadglassError) -> None:
        """Show why the filter cannot be used."""
        self._say_trouble(str(error))

    def _say_trouble(self, text: str) -> None:
        if text == self._trouble:
            return
        self._trouble = text
        trouble = self.query_one(".trouble", Static)
        trouble.update(Text(text))
        trouble.display = bool(text)

    def on_mount(self) -> None:
        self.query_one(".trouble").display = False

    def on_input_changed(self, event: Input.Changed) -> None:
        event.stop()
        self.post_message(self.Changed(self.text))

    def on_input_submitted(self, event: Input.Submitted) -> None:
        event.stop()
        self.post_message(self.Left())
