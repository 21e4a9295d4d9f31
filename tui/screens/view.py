"""What all views share: where one is at the top, work in hand and the keys at the bottom."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, ClassVar, NamedTuple

from textual.app import ComposeResult
from textual.screen import Screen

from loadglass.opened import Opened
from loadglass.shelf.rows import ShelfRow
from loadglass.timing.rig import Rig
from tui.widgets.key_bar import KeyBar
from tui.widgets.where_bar import WhereBar
from tui.widgets.work_line import WorkLine

if TYPE_CHECKING:
    from tui.app import LoadglassApp


class Subject(NamedTuple):
    """An image, and the slot of the chosen file; None: the disk as a whole."""

    opened: Opened
    slot: int | None


class View(Screen[None]):
    """A full view; subclasses give `view` and `compose_view`."""

    app: LoadglassApp
    view: ClassVar[str]
    """Its name among where_bar.VIEWS."""

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

    @property
    def holds(self) -> str:
        """What would be lost if the view were left; empty where nothing would."""
        return ""

    def compose(self) -> ComposeResult:
        yield WhereBar(self.view)
        yield from self.compose_view()
        yield WorkLine(markup=False)
        yield KeyBar()

    def compose_view(self) -> ComposeResult:
        yield from ()

    @property
    def where(self) -> WhereBar:
        return self.query_one(WhereBar)

    def refresh_appearance(self) -> None:
        """Draw anew after a change of options; views that keep drawn texts do more."""
        self.refresh(layout=True)
