"""Card: the basket of picks, the rules, the plan, filling the card and checking it."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from functools import partial
from typing import Any, ClassVar

import humanize
from rich.text import Text
from textual import events, on, work
from textual.app import ComposeResult, CSSPathType
from textual.binding import BindingType
from textual.containers import Horizontal, Vertical
from textual.widget import Widget
from textual.widgets import Static

from formats.visible import visible
from loadglass.card.asked import PICKED
from loadglass.card.dest import open_card
from loadglass.shelf.rows import ShelfRow
from tui import keys
from tui.calls import WrongCall
from tui.card_calls import waiting_text
from tui.card_desk import BUSY_FOLDER, NO_FOLDER, CardDesk
from tui.card_order import FOLDER, RIG, Rule, unusual
from tui.card_outcomes import SAFE
from tui.messages import ImageChosen, ShelfChanged
from tui.progress_line import SHOWN_AFTER_S, bar_text
from tui.screens.ask import AskText, ChooseOne
from tui.screens.choosing import Choosing
from tui.screens.fill_card import FillCard
from tui.screens.save_contents import SaveContents
from tui.session import Session
from tui.settings import MENDED
from tui.widgets.card_list import CardList
from tui.widgets.card_rules import CardRules
from tui.widgets.page_table import PageTable
from tui.widgets.pages import Query
from tui.widgets.part_tabs import PartTabs
from tui.widgets.picks_bars import uncounted_text
from tui.widgets.row_list import RowList
from tui.widgets.shelf_columns import shelf_columns
from tui.widgets.where_bar import WhereBar
from tui.widgets.work_line import WorkLine
from tui.wording import count_text
from tui.works import Work

WIDE_FROM_CELLS = 120
TALL_FROM_LINES = 34
BAR_EDGES = 4
"""Its brackets, and the gaps beside it."""
COUNT_AFTER_S = 0.15
"""Picks closer together than this are added up together."""
CAUTION = "Power off before plugging in or out. Pull the card only when SAFE TO REMOVE."
NO_PICKS = """\
Nothing is picked, so every sound or quirky image of
the shelf that has something to load goes onto the card.

+      adds all that a filter shows
1      to the shelf; space picks there"""
ALL_TAKEN = "none, so every sound or quirky image with something to load is taken"
STALE = "picks, rules or the card have changed since: p plans again"
CHOOSING = frozenset({"pick", "rate", "tag", "sort"})
"""Actions on the image under the basket's cursor."""
CARD_WORK = frozenset({"plan", "fill", "check", "keep", "contents"})
"""One at a time."""


class OtherWorkLine(WorkLine):
    """The view shows the card's own work above the list, with more room."""

    def is_shown_elsewhere(self, work: Work) -> bool:
        return work is self.app.card_desk.work


class CardScreen(Choosing):
    view = "card"
    work_line = OtherWorkLine
    CSS_PATH: ClassVar[CSSPathType | None] = ["../styles/disk.tcss", "../styles/card.tcss"]
    BINDINGS: ClassVar[list[BindingType]] = [*keys.CARD]

    def __init__(self, desk: CardDesk, session: Session):
        super().__init__()
        self.desk = desk
        self.session = session
        self._shows_work = desk.work is not None

    def compose(self) -> ComposeResult:
        with Horizontal(id="top"):
            yield WhereBar(self.view)
            yield PartTabs()
        yield Static(id="card-for", markup=False)
        yield Static(id="totals", markup=False)
        with Horizontal(id="card-panes"):
            with Vertical(id="card-left"):
                yield PageTable(self.session.shelf, [], self.app.index_thread, id="basket")
                yield CardRules(self.desk.order, id="rules")
            with Vertical(id="card-right"):
                yield Static(id="sums", markup=False)
                yield CardList(id="card")
                yield Static(id="detail", markup=False)
        yield Static(CAUTION, id="caution", markup=False)
        yield from self.compose_foot()

    @property
    def table(self) -> PageTable[ShelfRow]:
        return self.query_one("#basket", PageTable)

    @property
    def rules(self) -> CardRules:
        return self.query_one(CardRules)

    @property
    def list(self) -> CardList:
        return self.query_one(CardList)

    def on_mount(self) -> None:
        self._panes: dict[str, Widget] = {
            "basket": self.table,
            "rules": self.rules,
            "card": self.list,
        }
        self.desk.changed.subscribe(self, lambda _none: self._show())
        self.app.works.changed.subscribe(self, self._work_changed)
        self.table.nothing_here = NO_PICKS
        self._set_columns()
        self.table.show(Query(PICKED, "title", False))
        self._show()
        self.show_pane(self.desk.pane)
        self._count()

    # Panes

    def on_resize(self) -> None:
        self._arrange()

    def show_pane(self, name: str) -> None:
        """Show a pane and give it the keys."""
        self.desk.pane = name
        self._arrange()
        self._panes[name].focus()

    def _arrange(self) -> None:
        width, height = self.app.size
        wide, tall = width >= WIDE_FROM_CELLS, height >= TALL_FROM_LINES
        self.set_class(wide, "wide")
        self.set_class(wide and tall, "tall")
        pane = self.desk.pane
        left = "rules" if pane == "rules" else "basket"
        shown = {"basket", "rules", "card"} if wide and tall else {left, "card"}
        if not wide:
            shown = {pane}
        for name, part in self._panes.items():
            part.display = name in shown
        self.query_one("#card-left").display = bool(shown & {"basket", "rules"})
        self.query_one("#card-right").display = "card" in shown
        self.query_one(PartTabs).active = pane

    def action_pane_on(self, panes: int) -> None:
        names = [*self._panes]
        self.show_pane(names[(names.index(self.desk.pane) + panes) % len(names)])

    @on(PartTabs.Asked)
    def _tab_asked(self, message: PartTabs.Asked) -> None:
        self.show_pane(message.pane)

    @on(events.DescendantFocus)
    def _focused(self, event: events.DescendantFocus) -> None:
        for name, part in self._panes.items():
            if part is event.widget and name != self.desk.pane:
                self.desk.pane = name
                self._arrange()

    # What is shown

    def _show(self) -> None:
        """Take over all that the desk has."""
        desk, order = self.desk, self.desk.order
        outcome = desk.outcome
        card = f"in {visible(order.folder)}" if order.folder else f"{NO_FOLDER}: f names it"
        self._say("#card-for", Text.assemble(f"For {order.rig}  ", (card, "bold")))
        self._say("#totals", Text(f"Picks  {self._totals_text()}"))
        self.list.show(outcome)
        self._say("#sums", self._sums())
        self.query_one(PartTabs).labels = {
            "basket": "Basket",
            "rules": "Rules",
            "card": outcome.label if outcome else "Plan",
        }
        self.table.border_title, self.rules.border_title = "Basket", "Rules"
        self.query_one("#card-right").border_title = outcome.label if outcome else "Plan"
        if desk.work is None:
            self._shows_work = False
            self.list.follow(None)
        elif not self._shows_work:
            self.set_timer(SHOWN_AFTER_S, self._show_work)
        self.rules.lay()
        self._show_detail()
        self.refresh_bindings()

    def _say(self, part: str, says: Text) -> None:
        static = self.query_one(part, Static)
        static.update(says)
        static.display = bool(says.plain)

    def _totals_text(self) -> str:
        totals, desk = self.desk.totals, self.desk
        if totals is None:
            return "…"
        if not totals.picks:
            return ALL_TAKEN
        parts = (
            f"{count_text(totals.images, 'image')}, {humanize.naturalsize(totals.bytes)}",
            waiting_text(desk.stock, desk.order.rig, totals.waiting),
            uncounted_text(totals, desk.order.damaged == MENDED),
        )
        return "; ".join(filter(None, parts))

    def _sums(self) -> Text:
        outcome, work = self.desk.outcome, self.desk.work
        if work is not None and self._shows_work:
            return self._work_text(work)
        text = Text()
        if outcome is None:
            return text
        for number, says in enumerate(outcome.sums):
            text.append("\n" if number else "").append(says, "bold reverse" if says == SAFE else "")
        if outcome.rows:
            text.append(f"\n{outcome.counts}", "bold")
        if outcome.label == "Plan" and self.desk.plan is None:
            text.append(f"\n{STALE}", "italic")
        return text

    def _show_work(self) -> None:
        """What takes longer than a moment shows how far it has come."""
        self._shows_work = self.desk.work is not None
        self._say("#sums", self._sums())

    def _work_text(self, work: Work) -> Text:
        """What is done to the card now, and how far it has come."""
        text = Text(f"{work.name} …  x stops it", "bold")
        progress = work.progress
        if progress is not None:
            bar = bar_text(progress, max(self.list.size.width - BAR_EDGES, 12))
            lines = (bar, work.figures(progress), visible(progress.what))
            text.append("".join(f"\n{line}" for line in lines if line), "not bold")
        return text

    @on(RowList.Highlighted, "#card")
    def _show_detail(self) -> None:
        """The row under the cursor in full, for it may be cut in its line."""
        row = self.list.row
        text = Text()
        if row is not None:
            text.append(row.path or row.name, "bold").append(f"  {row.says or row.title}")
        self._say("#detail", text)

    def _work_changed(self, work: Work | None) -> None:
        """A fill says which file it writes: its row says so too."""
        if work is not None and work is self.desk.work and work.progress is not None:
            self.list.follow(visible(work.progress.what))
            self._show_detail()
            self._say("#sums", self._sums())

    def _set_columns(self) -> None:
        rig = self.session.rigs[self.desk.order.rig]
        self.table.columns = shelf_columns(rig, self.app.plain_glyphs)

    def go_by_settings(self) -> None:
        self._set_columns()
        self._count()

    def refresh_appearance(self) -> None:
        super().refresh_appearance()
        self._set_columns()

    # The basket

    @on(ShelfChanged)
    def _shelf_changed(self) -> None:
        self.table.reload()
        self.set_timer(COUNT_AFTER_S, self._count)

    @work(exclusive=True, group="count")
    async def _count(self) -> None:
        await self.desk.count()

    @on(PageTable.Chosen)
    def _chosen(self, message: PageTable.Chosen) -> None:
        self.post_message(ImageChosen(message.row))

    @on(PageTable.Refused)
    def _refused(self, message: PageTable.Refused) -> None:
        self.app.warn(str(message.error))

    @on(PageTable.SortAsked)
    def _sort_asked(self, message: PageTable.SortAsked) -> None:
        before = self.table.query_shown
        turned = before.sort == message.sort and not before.descending
        self.table.show(Query(PICKED, message.sort, turned))

    def action_sort(self) -> None:
        columns = [(c.sort, c.name) for c in self.table.columns if c.sort is not None]

        def sort(by: str | None) -> None:
            if by is not None:
                self.post_message(PageTable.SortAsked(by))

        self.app.push_screen(ChooseOne("Sort by", columns, self.table.query_shown.sort), sort)

    def action_pick(self) -> None:
        """Take back; the row goes, and the next one comes to the cursor."""
        self._pick(self.table.marked, self.table.query_shown)
        self.table.action_unmark()

    def action_add(self) -> None:
        rows: Sequence[ShelfRow] = []

        def add(text: str | None) -> None:
            if text is not None:
                self._add(rows)

        async def check(text: str) -> None:
            nonlocal rows
            if not text:
                raise WrongCall("type a filter: it says which images are added")
            rows = await self._in_index_thread(self._not_picked, text)
            if not rows:
                raise WrongCall("there is no image that this adds to the basket")

        hint = "a filter as on the shelf, like verdict:sound tag:demo; all that it shows is picked"
        self.app.push_screen(AskText("Add which images?", hint, check=check), add)

    @work(group="choices")
    async def _add(self, rows: Sequence[ShelfRow]) -> None:
        pick = partial(self.session.opened.choices.pick, picked=True)
        await self._change(rows, "picking", pick, lambda row: row)

    def _not_picked(self, text: str) -> Sequence[ShelfRow]:
        """What a filter shows that could be picked. Raises LoadglassError."""
        return [row for row in self.session.shelf.rows(text) if row.sha256 and not row.picked]

    # The rules

    @on(RowList.Chosen, "#rules")
    def _rule_chosen(self) -> None:
        self._change_rule(self.rules.rule)

    def _change_rule(self, rule: Rule) -> None:
        if rule is RIG:
            self.action_drive()
        elif rule.typed is not None:
            self._ask_for(rule)
        else:
            self._set(rule, rule.next(getattr(self.desk.order, rule.name)))

    def _set(self, rule: Rule, value: Any) -> None:
        self.desk.change(rule.name, value)
        self._count()

    def _ask_for(self, rule: Rule, then: Callable[[], None] | None = None) -> None:
        """Ask for what a rule says; then: what goes on once there is something."""

        async def check(text: str) -> None:
            if rule is FOLDER and self.desk.work is not None:
                raise WrongCall(BUSY_FOLDER)
            if rule is FOLDER and text:
                await self.in_image_thread(open_card, os.path.expanduser(text))
            elif rule.typed is not None and text:
                rule.typed(text)

        def take(text: str | None) -> None:
            if text is not None:
                self._set(rule, text)
            if text and then is not None:
                then()

        now = getattr(self.desk.order, rule.name)
        self.app.push_screen(AskText(rule.label, rule.hint, visible(now), check), take)

    def action_as_usual(self) -> None:
        count = self.desk.as_usual()
        self._count()
        self.notify(f"{count_text(count, 'rule')} of the card as usual again")

    def action_folder(self) -> None:
        self._ask_for(FOLDER)

    def action_drive(self) -> None:
        rigs = self.session.rigs
        lines = [(name, f"{name}  {rigs[name].description}") for name in self.desk.rigs]

        def take(name: str | None) -> None:
            if name is not None:
                self._set(RIG, name)
                self.go_by_settings()

        self.app.push_screen(
            ChooseOne("Which rig is the card for?", lines, self.desk.order.rig), take
        )

    # The card

    def _with_folder(self, then: Callable[[], None]) -> None:
        """Go on once the card's folder is known."""
        if self.desk.has_folder:
            then()
        else:
            self._ask_for(FOLDER, then)

    def action_plan(self) -> None:
        self._with_folder(lambda: self._work(self.desk.make_plan()))

    def action_fill(self) -> None:
        self._with_folder(lambda: self._work(self._fill()))

    async def _fill(self) -> None:
        """Show the plan and ask; only then anything is written."""
        plan = self.desk.plan or await self.desk.make_plan()
        outcome = self.desk.outcome
        if plan is None or outcome is None:
            return

        def take(agreed: bool | None) -> None:
            if agreed:
                self._work(self.desk.fill(plan))

        self.app.push_screen(FillCard(plan, outcome), take)

    def action_check(self) -> None:
        self._with_folder(lambda: self._work(self.desk.check()))

    def action_keep(self) -> None:
        def ask() -> None:
            title = "Bring what the machine changed on the card to which folder?"
            hint = "images with a new high score, say; each gets a new name, nothing is overwritten"
            self.app.push_screen(
                AskText(title, hint, "~", check=partial(self.look_for, exists=os.path.isdir)),
                lambda text: self._work(self.desk.keep(text)) if text else None,
            )

        self._with_folder(ask)

    def action_contents(self) -> None:
        def ask() -> None:
            self.app.push_screen(
                SaveContents(self.desk.order.folder),
                lambda saved: self.notify(saved) if saved else None,
            )

        self._with_folder(ask)

    def _work(self, coroutine: Any) -> None:
        """Work of the card goes on though the view is left."""
        self.show_pane("card")
        self.app.run_worker(coroutine, group="card")

    def action_part(self) -> None:
        self.list.go_to_next_part()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action in CHOOSING:
            return self.desk.pane == "basket" and self.table.row_count > 0
        if action == "part":
            return self.desk.pane == "card" and bool(self.list.rows)
        if action in CARD_WORK:
            return self.desk.work is None
        if action == "as_usual":
            return bool(unusual(self.desk.order))
        return super().check_action(action, parameters)
