"""What a file or a block holds: one form of it at a time, made line by line as it shows."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence

from textual import events, work

from formats.audit import FileAudit
from loadglass.opened import Opened
from tui.widgets.columns import Cell
from tui.widgets.contents import (
    BLOCK,
    HEXADECIMAL,
    Contents,
    block_contents,
    bytes_in_row,
    file_contents,
    hex_row,
)
from tui.widgets.lettering import Lettering
from tui.widgets.line_view import Line, LineView, cells

MARGIN = " "
CONTINUED = "  "
"""In front of the later pieces of a line that is too long for the screen."""


class ContentsView(LineView, can_focus=True):
    def __init__(self, opened: Opened, *, id: str | None = None):
        super().__init__(id=id)
        self.opened = opened
        self.lettering = Lettering()
        self.form = ""
        self._wanted: tuple[FileAudit | None, int, Lettering] | None = None
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

    def look_at(self, file: FileAudit | None, block: int, lettering: Lettering) -> None:
        """Show a file, if one is chosen, and a block, each in its own forms."""
        before, self._wanted = self._wanted, (file, block, lettering)
        if self._wanted == before:
            return
        self.lettering = lettering
        if before is None or before[1:] != (block, lettering):
            self._block = block_contents(self.opened.image, block, lettering)
            self.show_form(self.form)
        if before is None or before[::2] != (file, lettering):
            self._read(file, lettering)

    @work(exclusive=True)
    async def _read(self, file: FileAudit | None, lettering: Lettering) -> None:
        self._file = None
        if file is not None:
            self._file = await asyncio.to_thread(file_contents, self.opened, file, lettering)
        if self.form != BLOCK:
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
