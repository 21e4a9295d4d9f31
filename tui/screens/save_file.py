"""Save to the computer, a file or a mended copy: where, under what name, whether to overwrite."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import ClassVar

from rich.text import Text
from textual import on, work
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.screen import ModalScreen
from textual.widgets import Button, Input, Static

from formats.errors import LoadglassError
from formats.mend import Mended
from formats.visible import visible
from loadglass.mending import save_copy
from loadglass.opened import Opened
from loadglass.saving import AlreadyThere, safe_name, save_file, target_of
from loadglass.sources import GZIP_SUFFIX
from tui.screens.ask import LEAVE
from tui.wording import count_text


class Saving(ModalScreen[str | None]):
    """Give the sentence that says what was saved, or None."""

    BINDINGS: ClassVar[list[BindingType]] = [LEAVE]

    def __init__(self, title: str, suggested: str, details: str = ""):
        """suggested: the file's name; details: what a person should know before saving."""
        super().__init__(classes="saving")
        self._title = title
        self._suggested = suggested
        self._details = details
        self._overwrite = False

    def save(self, target: Path, overwrite: bool) -> str:
        """Save, in a thread, and give the sentence for it. Raises AlreadyThere, LoadglassError."""
        raise NotImplementedError

    def compose(self) -> ComposeResult:
        with Vertical(classes="box"):
            yield Static(Text(self._title), classes="title")
            if self._details:
                with VerticalScroll(classes="details", can_focus=False):
                    yield Static(Text(self._details))
            yield Input(self._suggested, select_on_focus=False)
            yield Static(
                Text(f"A file name, or a path. Without one it goes to {visible(str(Path.cwd()))}."),
                classes="hint",
            )
            yield Static(id="trouble", markup=False)
            with Horizontal(classes="buttons"):
                yield Button("Save (enter)", id="save", compact=True)
                yield Button("Cancel (esc)", id="cancel", compact=True)

    def on_mount(self) -> None:
        self.query_one("#trouble").display = False
        self.query_one(Input).focus()

    @on(Input.Changed)
    def _typed(self) -> None:
        self._ask_to_overwrite(False)

    @on(Input.Submitted)
    def _entered(self) -> None:
        if not self._overwrite:  # overwriting needs the button
            self._save()

    @on(Button.Pressed, "#save")
    def _pressed(self) -> None:
        self._save()

    @on(Button.Pressed, "#cancel")
    def action_leave(self) -> None:
        self.dismiss(None)

    def _save(self) -> None:
        self._save_in_thread(self.query_one(Input).value)

    @work(exclusive=True)
    async def _save_in_thread(self, text: str) -> None:
        try:
            target = target_of(text, self._suggested)
            says = await asyncio.to_thread(self.save, target, self._overwrite)
        except AlreadyThere as error:
            self._ask_to_overwrite(True, f"{error}. Overwrite it?")
        except LoadglassError as error:
            self._ask_to_overwrite(False, f"{error}.")
        else:
            self.dismiss(says)

    def _ask_to_overwrite(self, asked: bool, says: str = "") -> None:
        self._overwrite = asked
        save, cancel = self.query_one("#save", Button), self.query_one("#cancel", Button)
        save.label = "Overwrite" if asked else "Save (enter)"
        trouble = self.query_one("#trouble", Static)
        trouble.update(Text(says))
        trouble.display = bool(says)
        if asked:
            cancel.focus()


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


class SaveMended(Saving):
    """A repaired copy of the image; shows first what it would do and what it would leave."""

    def __init__(self, opened: Opened, mended: Mended):
        path = Path(opened.source.member or opened.source.file)
        plain = path.with_suffix("") if path.suffix.lower() == GZIP_SUFFIX else path
        done = mended.done or ["nothing"]
        left = mended.left or ["nothing"]
        details = [
            f"before {mended.before.verdict}, after {mended.after.verdict}; "
            "the image itself stays as it is",
            "would be done:",
            *(f"  {sentence}" for sentence in done),
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
