"""The question before anything is written to a card: the plan, and whether to carry it out."""

from __future__ import annotations

from typing import ClassVar

from rich.text import Text
from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.widgets import Button, Static

from formats.visible import visible
from loadglass.card.plan import Plan, State
from tui.card_outcomes import Outcome
from tui.screens.ask import Question
from tui.wording import count_text

LINES = 200
"""Of each list at the most; the plan behind the question has all."""
PARTS = {
    "removed": "To be removed, for it is not taken any more:",
    "left out": "Left out:",
    "new": "New on the card:",
    "newer": "In place of an older version:",
    "changed": "Changed on the card since:",
}


class FillCard(Question[bool]):
    """Give whether the card is to be filled like this."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("y", "fill", "Fill", tooltip="Fill the card as planned"),
        Binding("n", "leave", "Leave", tooltip="Leave the card as it is"),
    ]

    def __init__(self, plan: Plan, outcome: Outcome):
        super().__init__()
        self._plan = plan
        self._outcome = outcome

    def compose(self) -> ComposeResult:
        with Vertical(classes="box"):
            yield Static(Text(f"Fill {visible(self._plan.dest)} like this?"), classes="title")
            with VerticalScroll(can_focus=False):
                yield Static(self._text(), markup=False)
            with Horizontal(classes="buttons"):
                yield Button("Fill it (y)", id="fill", compact=True)
                yield Button("Leave it (esc)", id="leave", compact=True)

    def on_mount(self) -> None:
        self.query_one("#leave" if self._takes_away else "#fill", Button).focus()

    @property
    def _takes_away(self) -> bool:
        """Whether something on the card will not be there any more."""
        plan = self._plan
        is_newer = any(pick.state is State.OTHER for pick in plan.picks)
        return bool(plan.removals) or is_newer or plan.replace_changed

    def _text(self) -> Text:
        text = Text("\n".join(self._outcome.sums))
        text.append(f"\n{self._outcome.counts}\n")
        if self._plan.replace_changed:
            says = "What a drive has changed on the card is replaced by the shelf's images."
            text.append(f"\n{says}\n", "bold")
        for word, says in PARTS.items():
            rows = [row for row in self._outcome.rows if row.word == word]
            if rows:
                text.append(f"\n{says}\n", "bold")
                for row in rows[:LINES]:
                    why = f": {row.says}" if row.says and word != "removed" else ""
                    text.append(f"  {row.name}{why}\n")
                if len(rows) > LINES:
                    more = count_text(len(rows) - LINES, "more", "more")
                    text.append(f"  and {more}, in the plan behind this question\n")
        return text

    @on(Button.Pressed, "#fill")
    def action_fill(self) -> None:
        self.dismiss(True)

    @on(Button.Pressed, "#leave")
    def _leave_pressed(self) -> None:
        self.action_leave()
