"""What the screen works on: a shelf, the rigs, and where things are kept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from loadglass.home import Home
from loadglass.shelf.rows import ShelfView
from loadglass.timing.rig import Rig


@dataclass(frozen=True)
class Session:
    shelf: ShelfView
    rigs: Mapping[str, Rig]
    """By name: the four we bring first, then the user's own."""
    home: Home
    name: str
    """What the shelf is called on screen: `shelf`, `samples`, a path."""
    kept: bool = True
    """Whether this is the shelf that is kept; a scratch one is gone at the end."""

    @property
    def rivals(self) -> list[str]:
        """Rigs that can be set against the stock loader on their own drive."""
        return [name for name, rig in self.rigs.items() if self.stock_of(name) != name]

    def stock_of(self, rig: str) -> str:
        """The stock loader's rig on the same drive."""
        return f"stock-{self.rigs[rig].drive}"
