"""What all views share: where one is at the top, work in hand and the keys at the bottom."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.screen import Screen

from tui.widgets.key_bar import KeyBar
from tui.widgets.where_bar import WhereBar
from tui.widgets.work_line import WorkLine

if TYPE_CHECKING:
    from tui.app import LoadglassApp


class View(Screen[None]):
    """A full view; subclasses give `view` and `compose_view`."""

    app: LoadglassApp
    view: ClassVar[str]
    """Its name among where_bar.VIEWS."""

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
