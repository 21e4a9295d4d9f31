"""What all views share: where one is at the top, work in hand and the keys at the bottom."""

from __future__ import annotations

import asyncio
import os
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, ClassVar, NamedTuple, TypeVar

from textual.app import ComposeResult
from textual.screen import Screen

from formats.audit import FileAudit
from formats.visible import visible
from loadglass.opened import Opened
from loadglass.shelf.rows import ShelfRow
from loadglass.sources import CannotRead
from loadglass.timing.rig import Rig
from tui.widgets.key_bar import KeyBar
from tui.widgets.say_line import SayLine
from tui.widgets.where_bar import WhereBar
from tui.widgets.work_line import WorkLine

if TYPE_CHECKING:
    from tui.app import LoadglassApp

AnswerT = TypeVar("AnswerT")


class Subject(NamedTuple):
    """An image, and the slot of the chosen file; None: the disk as a whole."""

    opened: Opened
    slot: int | None


class View(Screen[None]):
    """A full view; subclasses give `view` and `compose_view`."""

    app: LoadglassApp
    view: ClassVar[str]
    """Its name among where_bar.VIEWS."""

    work_line: ClassVar[type[WorkLine]] = WorkLine

    leave_warned = False
    """Whether the person knows what `holds` says, and may leave all the same."""

    @property
    def subject(self) -> Subject | None:
        """What the view is of, where that is one image: another view of it shows the same."""
        return None

    @property
    def row_at_hand(self) -> ShelfRow | None:
        """The image under the cursor, where the view lists images of the shelf."""
        return None

    def take_subject(self, subject: Subject) -> None:
        """Show that file of the image, as chosen on another view."""

    def take_rigs(self, rigs: Sequence[Rig]) -> None:
        """Show times on these rigs from now on."""

    def go_by_settings(self) -> None:
        """Go by the rig that is remembered for the view."""

    @property
    def holds(self) -> str:
        """What would be lost if the view were left; empty where nothing would."""
        return ""

    def compose(self) -> ComposeResult:
        yield WhereBar(self.view)
        yield from self.compose_view()
        yield from self.compose_foot()

    def compose_foot(self) -> ComposeResult:
        yield SayLine(markup=False)
        yield self.work_line(markup=False)
        yield KeyBar()

    def compose_view(self) -> ComposeResult:
        yield from ()

    async def look_for(self, typed: str, exists: Callable[[str], bool] = os.path.exists) -> None:
        """See that a path which was typed is there. Raises CannotRead."""
        if not typed:
            raise CannotRead("name a folder")
        path = os.path.expanduser(typed)
        if not await self.in_image_thread(exists, path):
            raise CannotRead(f"there is no folder {visible(path)}: check the path")

    async def in_image_thread(
        self, function: Callable[..., AnswerT], *arguments: object
    ) -> AnswerT:
        """Ask in one of the threads that may touch files: a drive that hangs holds up no other."""
        loop = asyncio.get_running_loop()
        return await loop.run_in_executor(self.app.image_threads, function, *arguments)

    @property
    def where(self) -> WhereBar:
        return self.query_one(WhereBar)

    def refresh_appearance(self) -> None:
        """Draw anew after a change of options; views that keep drawn texts do more."""
        self.refresh(layout=True)


class ImageView(View):
    """A view of one image, and of the chosen file on it."""

    opened: Opened
    slot: int | None
    """Of the chosen file; None: the disk as a whole, all its programs in a row."""

    @property
    def file(self) -> FileAudit | None:
        return None if self.slot is None else self.opened.audit.by_slot[self.slot]

    @property
    def subject(self) -> Subject:
        return Subject(self.opened, self.slot)

    def take_subject(self, subject: Subject) -> None:
        self.choose(subject.slot)

    def choose(self, slot: int | None) -> None:
        """Show that file, or the whole."""
        raise NotImplementedError
