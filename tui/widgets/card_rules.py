"""The rules of the card as lines: each says what holds now; enter changes it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from textual.binding import Binding, BindingType

from formats.visible import visible
from tui.card_order import NOT_RULES, RULES, CardOrder, Rule, unusual
from tui.widgets.columns import GAP_CELLS
from tui.widgets.line_view import Line, cells
from tui.widgets.row_list import RowList

AS_USUAL = "  =  takes all rules back to what they usually are"
LABEL_CELLS = max(len(rule.label) for rule in RULES) + GAP_CELLS


class CardRules(RowList):
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "choose", "Change", tooltip="Change this rule"),
    ]

    def __init__(self, order: CardOrder, *, id: str | None = None):
        super().__init__(id=id)
        self.order = order

    @property
    def rule(self) -> Rule:
        """The one under the cursor."""
        return RULES[self.cursor]

    def row_count(self) -> int:
        return len(RULES)

    def tail(self) -> Sequence[Line]:
        return [cells((AS_USUAL, "muted"))] if unusual(self.order) else ()

    def row_lines(self, row: int) -> Sequence[Line]:
        rule = RULES[row]
        value = getattr(self.order, rule.name)
        is_usual = rule.name not in (*NOT_RULES, *unusual(self.order))
        says = visible(rule.words(value))
        return [
            cells((rule.label.ljust(LABEL_CELLS), "muted"), (says, "" if is_usual else "strong"))
        ]
