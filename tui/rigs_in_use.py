"""Which rigs there are while the screen runs, and which of them each view goes by."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from typing import TYPE_CHECKING

from formats.errors import LoadglassError
from formats.visible import visible
from loadglass.progress import Stopped
from loadglass.shelf.clocks import reclock
from loadglass.timing.rig import Rig
from tui.settings import Settings
from tui.wording import and_text

if TYPE_CHECKING:
    from tui.app import LoadglassApp

RIG_SETTINGS = {"rig": "Shelf", "card_rig": "Card", "bench_rig": "Bench"}
"""Where it is remembered which rig a view goes by; the Clock and the Disk go by the Shelf's."""
STOPPED_CLOCKING = (
    "stopped: what is not clocked has no time on the new rig until the program starts again"
)


def views_of(rig: Rig) -> list[str]:
    """The views that can go by a rig; what the stock loader takes is compared with, not by."""
    if rig.loader == "stock":
        return ["Bench"]
    return ["Shelf", "Clock", *(["Card"] if rig.drive == "card" else []), "Bench"]


class RigsInUse:
    def __init__(self, app: LoadglassApp):
        self._app = app

    def pass_over_gone(self) -> list[str]:
        """Go by another rig where the one that is remembered is gone; a sentence if there is."""
        settings = self._app.settings
        remembered = {getattr(settings, field) for field in RIG_SETTINGS}
        gone = sorted(remembered - set(self._app.session.rigs))
        for field in RIG_SETTINGS:
            if getattr(settings, field) in gone:
                setattr(settings, field, getattr(Settings(), field))
        names = ", ".join(map(visible, gone))
        return [f"the rig {names} is gone: what went by it goes by {Settings.rig}"] if gone else []

    def add(self, rig: Rig, everywhere: bool) -> None:
        """Take up a rig that was written while the screen runs, or written anew.

        everywhere: all views go by it as soon as the shelf is clocked on it.
        """
        self._take({**self._app.session.rigs, rig.name: rig})
        self.clock(rig.name if everywhere else None)

    def remove(self, name: str) -> None:
        """Do without a rig; what went by it goes by the one that we bring in its place."""
        rigs = dict(self._app.session.rigs)
        instead = rigs.pop(name).like
        self._remember(instead, in_place_of=name)
        self._take(rigs)
        self._go_by_settings()
        self.clock()

    def clock(self, then_use: str | None = None) -> None:
        """Clock what is not yet clocked on the rigs there are now, and show it.

        then_use: the rig that all views go by once it is done.
        """
        self._app.run_worker(self._clock(then_use), exclusive=True, group="clock shelf")

    async def _clock(self, then_use: str | None) -> None:
        app, session = self._app, self._app.session
        rigs = list(session.rigs.values())
        clocked = 0
        with app.works.going_on("clocking the shelf") as work:
            try:
                clocked = await asyncio.to_thread(reclock, session.opened.index, rigs, work.job)
            except LoadglassError as error:
                app.warn(str(error), "The shelf is not clocked")
                return
            except asyncio.CancelledError:
                work.job.stop()
                raise
            except Stopped:
                app.notify(STOPPED_CLOCKING)
                then_use = None
        if then_use is not None:
            self._remember(then_use)
            self._go_by_settings()
            views = and_text(views_of(session.rigs[then_use]))
            app.notify(f"{views} go by {then_use}: d on each of them chooses another rig")
        if clocked:
            app.shelf_changed()

    def _take(self, rigs: Mapping[str, Rig]) -> None:
        self._app.replace_rigs(rigs)
        for view in self._app.built_views:
            view.take_rigs(list(rigs.values()))

    def _remember(self, name: str, in_place_of: str | None = None) -> None:
        """in_place_of: only where that one was remembered."""
        settings, views = self._app.settings, views_of(self._app.session.rigs[name])
        for field, view in RIG_SETTINGS.items():
            if view in views and in_place_of in (None, getattr(settings, field)):
                setattr(settings, field, name)

    def _go_by_settings(self) -> None:
        self._app.card_goes_by(self._app.settings.card_rig)
        for view in self._app.built_views:
            view.go_by_settings()
