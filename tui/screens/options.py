"""Options: each line is a setting; choosing it goes on to its next value, at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.text import Text
from textual.app import ComposeResult
from textual.containers import Vertical
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from tui import themes
from tui.screens.ask import Question
from tui.settings import CHOICES

if TYPE_CHECKING:
    from tui.app import LoadglassApp

LABELS = {"theme": "Colours", "glyphs": "Glyphs", "motion": "Motion"}
VALUE_WORDS = {
    **themes.SAYS,
    "full": "full: the machine's block graphics",
    "plain": "plain: for fonts without them",
    "on": "on: a chosen chain lights up as it is read",
    "off": "off: everything is shown at once",
}


class Options(Question[None]):
    app: LoadglassApp

    def compose(self) -> ComposeResult:
        with Vertical(classes="box"):
            yield Static(Text("Options"), classes="title")
            yield OptionList(*(Option(self._line(name), name) for name in LABELS))
            yield Static(Text("enter goes on to the next, escape leaves"), classes="hint")

    def _line(self, name: str) -> Text:
        value = getattr(self.app.settings, name)
        return Text(f"{LABELS[name]:<9}{VALUE_WORDS[value]}")

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        name = event.option_id or ""
        values = CHOICES[name]
        before = values.index(getattr(self.app.settings, name))
        setattr(self.app.settings, name, values[(before + 1) % len(values)])
        self.app.apply_settings()
        event.option_list.replace_option_prompt(name, self._line(name))
