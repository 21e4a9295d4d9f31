"""The card in hand: what is wanted, the last answer about it, and the work that goes on.

It belongs to the application and not to the Card view: a fill goes on while one looks at
something else, and the view shows the same when one comes back.
"""

from __future__ import annotations

import asyncio
import os
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from textual.signal import Signal

from formats.errors import LoadglassError
from loadglass.card.asked import asked_for
from loadglass.card.check import Original, check_card
from loadglass.card.dest import open_card
from loadglass.card.device import CardTrouble, Device
from loadglass.card.fill import Filled, FillStopped, fill
from loadglass.card.keep import keep_changed
from loadglass.card.plan import Plan, make_plan
from loadglass.card.totals import Totals, totals_of
from loadglass.progress import Job, Progress, Stopped
from tui.card_order import CardOrder, order_of, unusual
from tui.card_outcomes import (
    NOT_SAFE,
    Outcome,
    check_outcome,
    fill_outcome,
    keep_outcome,
    plan_outcome,
)
from tui.progress_line import byte_figures, count_figures
from tui.session import Session
from tui.works import Work

if TYPE_CHECKING:
    from tui.app import LoadglassApp

BUSY = "something is being done to the card already: x stops it"
BUSY_FOLDER = "work on the card is going on: name another folder after it"
NO_FOLDER = "the card's folder is not named yet"

AnswerT = TypeVar("AnswerT")


class CardDesk:
    """Work is started from the screen's thread and done in another, one piece at a time."""

    def __init__(self, app: LoadglassApp):
        self.changed: Signal[None] = Signal(app, "card")
        """Published when there is something else to show."""
        self.order = order_of(app.settings)
        self.pane = "basket"
        """The pane of the view that has the keys."""
        self.totals: Totals | None = None
        self.outcome: Outcome | None = None
        self.is_stale = False
        """Picks, rules or the card have changed since the outcome's plan was made."""
        self.work: Work | None = None
        self._app = app
        self._plan: Plan | None = None
        self._planned_on: Session | None = None
        if self.order.rig not in self.rigs:
            self.order.rig = self.rigs[0]

    @property
    def rigs(self) -> list[str]:
        """Those that read from a card, other than stock."""
        rigs = self._app.session.rigs
        return [name for name in self._app.session.rivals if rigs[name].drive == "card"]

    @property
    def stock(self) -> str:
        return self._app.session.stock_of(self.order.rig)

    @property
    def plan(self) -> Plan | None:
        """The plan, if it still is what would be done."""
        is_shown = self.outcome is not None and self.outcome.label == "Plan"
        is_current = not self.is_stale and self._planned_on is self._app.session
        return self._plan if is_shown and is_current else None

    @property
    def has_folder(self) -> bool:
        return bool(self.order.folder)

    def change(self, name: str, value: Any) -> None:
        """Change a rule, for other evenings too.

        What was said of one folder, SAFE TO REMOVE above all, is never shown beside another's name.
        """
        if name == "folder" and value != self.order.folder:
            if self.work is not None:
                self._app.warn(BUSY_FOLDER)
                return
            self.outcome = None
        setattr(self.order, name, value)
        setattr(self._app.settings, f"card_{name}", value)
        self.shelf_changed()

    def as_usual(self) -> int:
        """Take every rule back to what it was before anybody changed it; how many that were."""
        changed = unusual(self.order)
        for name, value in changed.items():
            self.change(name, value)
        return len(changed)

    def shelf_changed(self) -> None:
        """Picks, images or rules are no longer what the plan was made of."""
        self.is_stale = True
        self.changed.publish(None)

    # Work

    async def count(self) -> None:
        """Add the basket up."""
        session = self._app.session
        rig = session.rigs[self.order.rig]
        try:
            self.totals = await asyncio.to_thread(
                totals_of,
                *(session.shelf, self.stock, rig, self.order.even_damaged, self.order.every_copy),
            )
        except LoadglassError as error:
            self._app.warn(str(error))
        self.changed.publish(None)

    async def make_plan(self) -> Plan | None:
        """Plan the card, and show it. None: it could not be planned."""
        session, order = self._app.session, replace(self.order)
        self.is_stale = False
        plan = await self._do(
            "planning the card", partial(_plan, session, order), "The card cannot be planned"
        )
        if plan is None:
            self.is_stale = True
            return None
        self._plan, self._planned_on = plan, session
        self.outcome = await asyncio.to_thread(plan_outcome, plan)
        self.changed.publish(None)
        return plan

    async def fill(self, plan: Plan) -> None:
        """Carry the plan out, and show what was done."""
        what = partial(_fill, plan)
        done = await self._do(
            "filling the card", what, "The fill has ended", byte_figures, (NOT_SAFE,)
        )
        self.is_stale = True
        if done is not None:
            filled, stopped = done
            self.outcome = await asyncio.to_thread(fill_outcome, plan, filled, stopped)
        self.changed.publish(None)

    async def check(self) -> None:
        """Compare the card with its list and the shelf."""
        what = partial(_check, self._app.session, self.order.folder)
        checked = await self._do("checking the card", what, "The card is not checked", byte_figures)
        if checked is not None:
            self._show(await asyncio.to_thread(check_outcome, checked))

    async def keep(self, folder: str) -> None:
        """Bring what drives have changed back to the computer."""

        def what(job: Job) -> Any:
            return keep_changed(_device(self.order.folder), Path(os.path.expanduser(folder)), job)

        kept = await self._do("bringing changed files back", what, "Not brought back")
        if kept is not None:
            self._show(keep_outcome(kept))

    async def _do(
        self,
        name: str,
        what: Callable[[Job], AnswerT],
        failed: str,
        figures: Callable[[Progress], str] = count_figures,
        if_failed: tuple[str, ...] = (),
    ) -> AnswerT | None:
        """One piece of work in another thread; None: it failed or was stopped, which is said."""
        if self.work is not None:
            self._app.notify(BUSY)
            return None
        try:
            with self._app.works.going_on(name, figures=figures) as work:
                self.work = work
                self.changed.publish(None)
                return await asyncio.to_thread(what, work.job)
        except Stopped:
            self._app.notify("Stopped.")
        except LoadglassError as error:
            top = self._app.top_view
            if top is None or top.view != "card":  # which shows it itself
                self._app.warn(str(error), failed)
            self.outcome = Outcome("Trouble", (*if_failed, f"{failed}: {error}"))
        finally:
            self.work = None
            self.changed.publish(None)
        return None

    def _show(self, outcome: Outcome) -> None:
        self.outcome = outcome
        self.changed.publish(None)


def _device(folder: str) -> Device:
    """Raises CardTrouble."""
    if not folder:
        raise CardTrouble(NO_FOLDER)
    return open_card(os.path.expanduser(folder))


def _plan(session: Session, order: CardOrder, job: Job) -> Plan:
    device = _device(order.folder)
    opened = session.opened
    candidates = asked_for(opened.shelf, opened.index, opened.choices, None, order.whole_sets)
    if not candidates:
        raise CardTrouble("the shelf is empty: survey a folder of images first")
    rules = order.rules(session.rigs[order.rig])
    surveyed = opened.index.roots()
    return make_plan(device, candidates, rules, order.wishes(), surveyed=surveyed, job=job)


def _fill(plan: Plan, job: Job) -> tuple[Filled, bool]:
    """What was done, and whether the person stopped it."""
    try:
        return fill(open_card(plan.dest), plan, job), False
    except FillStopped as stopped:
        return stopped.filled, True


def _check(session: Session, folder: str, job: Job) -> Any:
    device = _device(folder)
    rows = [*session.shelf.rows(""), *session.shelf.rows("gone:yes")]
    originals = {row.path: Original(row.sha256, row.gone) for row in rows}
    return check_card(device, originals.get, job)
