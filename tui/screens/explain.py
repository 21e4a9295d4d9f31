"""One finding in full: what was found, what the drive does, what mends it."""

from __future__ import annotations

from typing import ClassVar, Literal, get_args

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.widgets import Button, Static

from formats.findings import Finding
from tui.screens.ask import Question
from tui.widgets.lettering import Lettering

Wish = Literal["map", "files", "beside"]
"""The pane to go to next, or the twins."""


class Explain(Question[Wish]):
    """Give where the person wants to look next, or None."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("m", "go('map')", "Map", tooltip="See the block on the map"),
        Binding("f", "go('files')", "Files", tooltip="See the file in the directory"),
        Binding("y", "go('beside')", "Twins", tooltip="See its sound twin"),
    ]

    def __init__(self, finding: Finding, subject: str, lettering: Lettering, sound_twin: str = ""):
        """sound_twin: the sentence that says where the file can be had whole."""
        super().__init__()
        self._sound_twin = sound_twin
        self._finding = finding
        self._subject = subject
        self._lettering = lettering

    def compose(self) -> ComposeResult:
        with Vertical(classes="box"):
            yield Static(Text(self._title()), classes="title")
            with VerticalScroll(can_focus=False):
                yield Static(self._text(), markup=False)
            with Horizontal(classes="buttons"):
                if self._finding.place is not None:
                    yield Button("Map (m)", id="map", compact=True)
                if self._finding.slot is not None:
                    yield Button("File (f)", id="files", compact=True)
                if self._sound_twin:
                    yield Button("Twins (y)", id="beside", compact=True)
                yield Button("Close (esc)", id="close", compact=True)

    def on_mount(self) -> None:
        self.query(Button).first().focus()

    def _title(self) -> str:
        finding = self._finding
        place = f" at {finding.place}" if finding.place else ""
        return f"{finding.severity.value}: {self._subject}{place}"

    def _text(self) -> Text:
        row = self._finding.row
        text = Text()
        for head, says in (
            ("Found", self._lettering.sentence(self._finding.says)),
            ("What the hardware does", row.drive),
            ("What mends it", row.mends),
        ):
            text.append(f"\n{head}\n", "bold")
            text.append(f"{says[0].upper()}{says[1:]}{'' if says.endswith('.') else '.'}\n")
        if self._sound_twin:
            text.append("\nA sound twin\n", "bold")
            text.append(f"{self._sound_twin}\n")
        text.append(f"\ncode {row.code}", "dim")
        return text

    def on_button_pressed(self, event: Button.Pressed) -> None:
        if event.button.id == "close":
            self.dismiss(None)
        else:
            self.action_go(event.button.id or "")

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action == "go" and parameters == ("beside",):
            return bool(self._sound_twin)
        if action == "go":
            what = self._finding.place if parameters == ("map",) else self._finding.slot
            return what is not None
        return True

    def action_go(self, pane: str) -> None:
        self.dismiss(next(wish for wish in get_args(Wish) if wish == pane))
