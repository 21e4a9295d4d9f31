"""From a shelf to the full screen on it."""

from __future__ import annotations

from collections.abc import Sequence

from loadglass.home import home
from loadglass.timing.rig import Rig
from tui.app import run
from tui.session import Session
from tui.shelves import OpenShelf


def show(opened: OpenShelf, rigs: Sequence[Rig], name: str, *, kept: bool = True) -> None:
    """Show the full screen until the person leaves it."""
    by_name = {rig.name: rig for rig in rigs}
    run(Session(opened, by_name, home(), name, kept))
