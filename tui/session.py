"""What the screen works on: a shelf, the rigs, and where things are kept."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import ExitStack
from dataclasses import dataclass, replace

from loadglass.home import Home
from loadglass.shelf.query import Shelf
from loadglass.timing.rig import Rig
from tui.shelves import OpenShelf, kept_shelf, scratch_shelf


@dataclass(frozen=True)
class Session:
    opened: OpenShelf
    rigs: Mapping[str, Rig]
    """By name: the four we bring first, then the user's own."""
    home: Home
    name: str
    """What the shelf is called on screen: `shelf`, `samples`, a path; harmless text."""
    kept: bool = True
    """Whether this is the shelf that is kept; a scratch one is gone at the end."""

    @property
    def shelf(self) -> Shelf:
        return self.opened.shelf

    @property
    def rivals(self) -> list[str]:
        """Rigs that can be set against the stock loader on their own drive, by drive."""
        names = [name for name in self.rigs if self.stock_of(name) != name]
        return sorted(names, key=lambda name: self.rigs[name].drive)

    def stock_of(self, rig: str) -> str:
        """The stock loader's rig on the same drive."""
        return f"stock-{self.rigs[rig].drive}"


def open_session(stack: ExitStack, beside: Session, kept: bool) -> Session:
    """The kept shelf, or one of the samples, beside a session; closed with the stack.

    Raises LoadglassError.
    """
    rigs = list(beside.rigs.values())
    if kept:
        opened = stack.enter_context(kept_shelf(rigs))
    else:
        from sample_images import folder

        opened = stack.enter_context(scratch_shelf([str(folder())], rigs))
    return replace(beside, opened=opened, name="shelf" if kept else "samples", kept=kept)
