"""Save to the computer, a file or a mended copy: where, under what name, whether to overwrite."""

from __future__ import annotations

import asyncio
from pathlib import Path

from rich.text import Text
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.widgets import Button, Static

from formats.mend import Mended
from formats.visible import visible
from loadglass.mending import save_copy
from loadglass.opened import Opened
from loadglass.saving import safe_name, save_file, target_of
from loadglass.sources import GZIP_SUFFIX
from tui.screens.ask import Question
from tui.screens.writing import Writing
from tui.wording import count_text


class Saving(Writing[str]):
    """Give the sentence that says what was saved, or None."""

    word = "Save"

    def __init__(self, title: str, suggested: str, details: str = ""):
        """suggested: the file's name; details: what a person should know before saving."""
        super().__init__(classes="saving")
        self._title = title
        self._suggested = suggested
        self._details = details

    def save(self, target: Path, overwrite: bool) -> str:
        """Save, in a thread, and give the sentence for it. Raises AlreadyThere, LoadglassError."""
        raise NotImplementedError

    def compose(self) -> ComposeResult:
        where = f"A file name, or a path. Without one it goes to {visible(str(Path.cwd()))}."
        with Vertical(classes="box"):
            yield Static(Text(self._title), classes="title")
            if self._details:
                with VerticalScroll(classes="details", can_focus=False):
                    yield Static(Text(self._details))
            yield from self.field(self._suggested, where)
            yield from self.buttons()

    async def use(self, text: str) -> None:
        self.dismiss(await asyncio.to_thread(self._save, text, self.overwrite))

    def _save(self, text: str, overwrite: bool) -> str:
        return self.save(target_of(text, self._suggested), overwrite)


class SaveFile(Saving):
    """A file of the image."""

    def __init__(self, opened: Opened, slot: int, title: str):
        """title: the file's name as it is shown on the view."""
        suggested = safe_name(opened.audit.by_slot[slot].entry)
        super().__init__(f"Save {title} to the computer", suggested)
        self._opened = opened
        self._slot = slot

    def save(self, target: Path, overwrite: bool) -> str:
        count = save_file(self._opened, self._slot, target, overwrite=overwrite)
        return f"saved {count_text(count, 'byte')} to {visible(str(target))}"


class NothingToMend(Question[None]):
    """A mended copy would be no better than the image."""

    def __init__(self, mended: Mended):
        super().__init__()
        self._mended = mended

    def compose(self) -> ComposeResult:
        left = ["What is wrong cannot be mended:", *self._mended.left] if self._mended.left else []
        with Vertical(classes="box"):
            yield Static("There is nothing to mend", classes="title")
            with VerticalScroll(can_focus=False):
                yield Static(
                    Text("\n".join([f"The image is {self._mended.before.verdict}.", *left]))
                )
            with Horizontal(classes="buttons"):
                yield Button("Close (esc)", compact=True)

    def on_mount(self) -> None:
        self.query_one(Button).focus()

    def on_button_pressed(self) -> None:
        self.dismiss(None)


class SaveMended(Saving):
    """A repaired copy of the image; shows first what it would do and what it would leave."""

    def __init__(self, opened: Opened, mended: Mended):
        path = Path(opened.source.member or opened.source.file)
        plain = path.with_suffix("") if path.suffix.lower() == GZIP_SUFFIX else path
        left = mended.left or ["nothing"]
        details = [
            f"before {mended.before.verdict}, after {mended.after.verdict}; "
            "the image itself stays as it is",
            "would be done:",
            *(f"  {sentence}" for sentence in mended.done),
            "would be left:",
            *(f"  {sentence}" for sentence in left),
        ]
        super().__init__(
            "Write a mended copy",
            visible(f"{plain.stem}-mended{plain.suffix}"),
            "\n".join(details),
        )
        self._opened = opened
        self._mended = mended

    def save(self, target: Path, overwrite: bool) -> str:
        save_copy(self._opened, self._mended, target, overwrite=overwrite)
        return f"the mended copy is written to {visible(str(target))}: {self._mended.after.verdict}"
