"""What the last survey did, and everything that it could not read."""

from __future__ import annotations

from rich.text import Text
from textual.app import ComposeResult
from textual.containers import Vertical, VerticalScroll
from textual.widgets import Static

from loadglass.shelf.survey import SurveyResult
from tui.screens.ask import Question
from tui.wording import count_text, seconds_text

COUNTS = {
    "added": "new on the shelf",
    "changed": "changed, read again",
    "unchanged": "as before, not opened",
    "gone": "no longer there",
    "failed": "not to be read as images",
    "passed_over": "passed over as no images",
}


def in_a_sentence(result: SurveyResult) -> str:
    """`1,204 images in 3.1 s: 12 new on the shelf, 1,192 as before, not opened; 2 problems`."""
    counts = [
        f"{getattr(result, name):,} {says}"
        for name, says in COUNTS.items()
        if getattr(result, name)
    ]
    took = f"{count_text(result.images, 'image')} in {seconds_text(result.seconds)}"
    sentence = f"{took}: {'; '.join(counts)}" if counts else took
    if result.problems:
        sentence += f"; {count_text(len(result.problems), 'problem')}, i lists them"
    return sentence


class Report(Question[None]):
    def __init__(self, result: SurveyResult):
        super().__init__()
        self._result = result

    def compose(self) -> ComposeResult:
        with Vertical(classes="box"):
            yield Static(Text("The last survey"), classes="title")
            with VerticalScroll():
                yield Static(self._text(), markup=False)
            yield Static(Text("arrows scroll, escape leaves"), classes="hint")

    def _text(self) -> Text:
        result = self._result
        lines = [f"{result.images:>9,} images in {seconds_text(result.seconds)}", ""]
        lines += [f"{getattr(result, name):>9,} {says}" for name, says in COUNTS.items()]
        lines += ["", count_text(len(result.problems), "problem") if result.problems else ""]
        return Text("\n".join([*lines, *result.problems]))
