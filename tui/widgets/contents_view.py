"""What a file or a block holds: one form of it at a time, made line by line as it shows."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from textual import events
from textual.binding import Binding, BindingType

from tui.widgets.columns import Cell
from tui.widgets.contents import BLOCK, HEXADECIMAL, Contents, bytes_in_row, hex_row
from tui.widgets.lettering import Lettering
from tui.widgets.line_view import Line, LineView, cells

MARGIN = " "
CONTINUED = "  "
"""In front of the later pieces of a line that is too long for the screen."""


class ContentsView(LineView, can_focus=True, inherit_bindings=False):
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up", "scroll_up", "Up", show=False, tooltip="One line up"),
        Binding("down", "scroll_down", "Down", show=False, tooltip="One line down"),
        Binding("pageup", "page_up", "Page up", show=False, tooltip="One page up"),
        Binding("pagedown", "page_down", "Page down", show=False, tooltip="One page down"),
        Binding("home", "scroll_home", "First", show=False, tooltip="To the first line"),
        Binding("end", "scroll_end", "Last", show=False, tooltip="To the last line"),
    ]

    def __init__(self, *, id: str | None = None):
        super().__init__(id=id)
        self.lettering = Lettering()
        self.form = ""
        self._file: Contents | None = None
        self._block: Contents | None = None
        self._pieces: list[tuple[str, int, int]] = []
        self._row_bytes = 16

    @property
    def forms(self) -> list[str]:
        """What can be shown now."""
        return [form for part in (self._file, self._block) if part for form in part.forms]

    @property
    def contents(self) -> Contents | None:
        """What is being shown, in the form that was chosen or the first there is."""
        parts = [part for part in (self._file, self._block) if part and part.forms]
        return next((p for p in parts if self.form in p.forms), parts[0] if parts else None)

    def show_file(self, contents: Contents | None) -> None:
        """Show another file from its start; None: no file is chosen."""
        self._file = contents
        if self.form != BLOCK:
            self.show_form(self.form)

    def show_block(self, contents: Contents) -> None:
        """Another block of the disk is under the map's cursor."""
        self._block = contents
        self.show_form(self.form)

    def show_form(self, form: str) -> None:
        self.form = form
        self.lay()
        self.scroll_to(y=0, animate=False)

    def next_form(self) -> None:
        forms = self.forms
        if forms:
            self.show_form(forms[(forms.index(self._form_shown) + 1) % len(forms)])

    @property
    def _form_shown(self) -> str:
        contents = self.contents
        if contents is None or self.form in contents.forms:
            return self.form
        return next(iter(contents.forms))

    def head(self) -> Sequence[Line]:
        contents, shown = self.contents, self._form_shown
        if contents is None:
            return [cells(MARGIN, ("reading …", "muted"))]
        tabs: list[Cell] = [Cell(MARGIN)]
        for form in self.forms:
            tabs += [Cell(f" {form} ", "chosen" if form == shown else "muted"), Cell(" ")]
        return [cells(MARGIN, (contents.title, "strong"), f"  {contents.about}"), tabs]

    def prepare(self) -> None:
        contents = self.contents
        self._pieces = []
        if contents is None:
            return
        self._row_bytes = bytes_in_row(self.line_width - len(MARGIN), contents.digits)
        width = max(self.line_width - len(MARGIN), 8)
        for text in contents.forms[self._form_shown] or ():
            self._pieces.append((text, 0, width))
            rest = width - len(CONTINUED)
            self._pieces += ((text, at, at + rest) for at in range(width, len(text), rest))

    def line_count(self) -> int:
        contents = self.contents
        if contents is not None and self._form_shown in HEXADECIMAL:
            return -(-len(contents.data) // self._row_bytes)
        return len(self._pieces)

    def line(self, index: int) -> Line:
        contents = self.contents
        if contents is not None and self._form_shown in HEXADECIMAL:
            address, row = hex_row(contents, index, self._row_bytes, self.lettering)
            return cells(MARGIN, (address, "muted"), row)
        text, start, end = self._pieces[index]
        return cells(MARGIN, CONTINUED if start else "", text[start:end])

    def on_click(self, event: events.Click) -> None:
        at = len(MARGIN)
        if event.y != 1:
            return
        for form in self.forms:
            if at <= event.x < at + len(form) + 2:
                self.show_form(form)
            at += len(form) + 3
