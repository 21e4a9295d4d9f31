"""What was planned, done or found on a card, as sentences and rows for a screen."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from formats.visible import visible
from loadglass.card.check import Checked
from loadglass.card.choose import LeftOut
from loadglass.card.fill import Filled
from loadglass.card.keep import Kept
from loadglass.card.manifest import Entry
from loadglass.card.plan import Pick, Plan, State
from tui.card_calls import (
    KEPT_OR_REPLACED,
    filled_text,
    how_good,
    pick_remark,
    plan_text,
    remarks,
    waiting_text,
)
from tui.tables import MARKS
from tui.wording import count_text

SAFE = "SAFE TO REMOVE: everything is flushed. Unmount the card, then take it out."
NOT_SAFE = "NOT SAFE TO REMOVE: the fill did not come to its end. F goes on from there."
STOPPED = "STOPPED: whole files only are on the card; F goes on from there."


@dataclass(frozen=True, slots=True)
class CardRow:
    """One image on the card, on its way there, or left out. All texts are harmless."""

    word: str
    """What becomes of it; rows of one word stand together."""
    meaning: str
    """Of the word, as a cell's."""
    name: str
    """On the card, or its path on the computer."""
    title: str = ""
    stock_s: float | None = None
    fast_s: float | None = None
    says: str = ""
    """In place of title and times."""
    is_copied: bool = False
    """A fill writes it."""
    path: str = ""
    """In full, where `name` is only the end of it."""


OF_MANY = {"stays": "stay"}
"""Words that are others of several rows."""


@dataclass(frozen=True)
class Outcome:
    """One answer about the card."""

    label: str
    """In a word: `Plan`, `Filled`, `Check`."""
    sums: tuple[str, ...]
    """Sentences, the most important first."""
    rows: tuple[CardRow, ...] = ()
    stock: str = ""
    fast: str = ""
    """The rigs that times are of."""

    @property
    def counts(self) -> str:
        """`12 new · 3 left out · 2 stay`."""
        counts: dict[str, int] = {}
        for row in self.rows:
            counts[row.word] = counts.get(row.word, 0) + 1
        return " · ".join(
            count_text(count, word, OF_MANY.get(word, word)) for word, count in counts.items()
        )


STATES = {
    State.NEW: ("new", "mark"),
    State.OTHER: ("newer", "mark"),
    State.CHANGED: ("changed", "odd"),
    State.THERE: ("there", "good"),
}


def plan_outcome(plan: Plan) -> Outcome:
    """What would be done; nothing has been yet."""
    sums = [
        plan_text(plan),
        f"waiting {waiting_text(plan.stock, plan.fast, plan.waiting)}",
    ]
    if plan.choice.limited:
        sums.append(how_good(plan))
    sums += [*remarks(plan), *plan.notes]
    order = list(STATES)
    picks = sorted(plan.picks, key=lambda pick: order.index(pick.state))
    rows = [
        *(_pick_row(plan, pick) for pick in picks),
        *_left_out_rows(plan.left_out),
        *_entry_rows(plan.removals, "removed", "odd", "it is not taken any more"),
        *_entry_rows(plan.changed, "changed", "odd", KEPT_OR_REPLACED[False]),
        *_staying_rows(plan),
    ]
    return Outcome("Plan", tuple(sums), tuple(rows), plan.stock, plan.fast)


def fill_outcome(plan: Plan, filled: Filled, stopped: bool = False) -> Outcome:
    """What a fill has done; it says "safe to remove" only if the fill says so."""
    sums = [
        SAFE if filled.safe_to_remove else STOPPED if stopped else NOT_SAFE,
        filled_text(plan, filled),
    ]
    if filled.changed:
        sums.append(
            f"a drive has changed {count_text(len(filled.changed), 'file')}, which stays: k copies "
            'to the computer, then the rule "Changed on the card" replaces'
        )
    rows = [
        *_left_out_rows(filled.left_out),
        *_entry_rows(filled.changed, "changed", "odd", "a drive has written into it: kept"),
        *(_listed_row(entry, "copied", "good") for entry in filled.copied),
        *(_listed_row(entry, "there", "good") for entry in filled.there),
        *_entry_rows(filled.removed, "removed", "muted", "it was not taken any more"),
        *_staying_rows(plan),
    ]
    return Outcome("Filled", tuple(sums), tuple(rows), plan.stock, plan.fast)


def check_outcome(checked: Checked) -> Outcome:
    """What was found; what needs looking at first."""
    bad = set(map(id, checked.damaged))
    rows = [
        *_entry_rows(checked.missing, "missing", "bad", "it is on the card's list, and not there"),
        *(
            CardRow(
                "changed",
                "odd",
                each.entry.target,
                says=f"now {MARKS[each.verdict]} {each.verdict.value}"
                + (f": {visible(each.says)}" if each.says else ""),
            )
            for each in checked.changed
        ),
        *_entry_rows(
            [entry for entry in checked.ok if id(entry) in bad],
            "damaged",
            "bad",
            "as it was when it was put there",
        ),
        *_entry_rows(
            checked.outdated,
            "outdated",
            "odd",
            "the shelf has another version of it, or none any more",
        ),
        *(
            CardRow("foreign", "note", visible(name), says="not put there by loadglass: left alone")
            for name in checked.foreign
        ),
        *(_listed_row(entry, "ok", "good") for entry in checked.ok if id(entry) not in bad),
    ]
    found = (
        f"{len(checked.ok):,} ok, {len(checked.missing):,} missing, "
        f"{len(checked.changed):,} changed, {len(checked.foreign):,} foreign, "
        f"{len(checked.damaged):,} damaged, {len(checked.outdated):,} outdated"
    )
    sums = [found]
    if checked.changed:
        sums.append("k brings what has changed back to the computer")
    if checked.missing:
        sums.append("F puts what is missing there again")
    if checked.unfinished:
        sums.append("a fill of this card did not come to its end: F goes on from there")
    card = checked.card_list
    return Outcome("Check", tuple(sums), tuple(rows), card.stock, card.fast)


def keep_outcome(kept: Kept) -> Outcome:
    """Where on the computer the changed files are."""
    rows = [
        *(
            CardRow("kept", "good", visible(target), says=f"is now {visible(str(path))} as well")
            for target, path in kept.copied
        ),
        *(
            CardRow("kept before", "good", visible(target), says=f"is {visible(str(path))}")
            for target, path in kept.there
        ),
        *(
            CardRow("too large", "bad", visible(target), says="larger than any image: left there")
            for target in kept.too_large
        ),
    ]
    says = f"{count_text(len(kept.copied), 'changed file')} brought back to the computer"
    if not rows:
        says = "nothing on the card has changed since it was filled"
    return Outcome("Kept", (says,), tuple(rows))


def _staying_rows(plan: Plan) -> Iterable[CardRow]:
    return _entry_rows(plan.staying, "stays", "muted", "put there earlier, not taken any more")


def _pick_row(plan: Plan, pick: Pick) -> CardRow:
    row = _listed_row(pick.entry, *STATES[pick.state])
    return replace(row, says=pick_remark(plan, pick), is_copied=plan.is_copied(pick))


def _listed_row(entry: Entry, word: str, meaning: str) -> CardRow:
    name, title = visible(entry.target), entry.shown_title
    return CardRow(word, meaning, name, title, entry.stock_s, entry.fast_s)


def _left_out_rows(left_out: Sequence[LeftOut]) -> Iterable[CardRow]:
    for each in left_out:
        path = visible(each.path)
        name = path.rpartition("/")[2]
        yield CardRow("left out", "odd", name, says=visible(each.why), path=path)


def _entry_rows(entries: Iterable[Entry], word: str, meaning: str, says: str) -> Iterable[CardRow]:
    return (CardRow(word, meaning, visible(entry.target), says=says) for entry in entries)
