"""How the person wants the card: rules of the choice, layout, folder; and what each may be."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any

from loadglass.card.choose import Rules
from loadglass.card.folders import ENTRIES_LIMIT, Arrangement, Layout
from loadglass.card.plan import Wishes
from loadglass.timing.rig import Rig
from tui.amounts import byte_amount, entry_amount, second_amount
from tui.settings import EVEN_DAMAGED, LEFT_OUT, MENDED, MENDED_OR_TAKEN, TAKEN, Settings

NO_LIMIT = "no limit"


@dataclass
class CardOrder:
    """Amounts are kept as they were typed; empty: no limit, or as the card is already."""

    folder: str = ""
    rig: str = ""
    damaged: str = LEFT_OUT
    every_copy: bool = False
    whole_sets: bool = False
    longest: str = ""
    budget_bytes: str = ""
    budget_time: str = ""
    by_rating: bool = False
    layout: str = ""
    entries: str = ""
    remove_unpicked: bool = False
    replace_changed: bool = False

    @property
    def even_damaged(self) -> bool:
        return self.damaged in EVEN_DAMAGED

    def rules(self, rig: Rig) -> Rules:
        return Rules(
            rig=rig,
            even_damaged=self.even_damaged,
            longest_s=second_amount("", self.longest or None),
            every_copy=self.every_copy,
            whole_sets=self.whole_sets,
            budget_bytes=byte_amount("", self.budget_bytes or None),
            budget_s=second_amount("", self.budget_time or None),
            by_rating=self.by_rating,
        )

    def wishes(self) -> Wishes:
        return Wishes(
            self._arrangement(),
            self.remove_unpicked,
            self.damaged in (MENDED, MENDED_OR_TAKEN),
            self.replace_changed,
        )

    def _arrangement(self) -> Arrangement | None:
        if not self.layout and not self.entries:
            return None
        return Arrangement(Layout(self.layout or Layout.FLAT), int(self.entries or ENTRIES_LIMIT))


NOT_RULES = ("folder", "rig")
"""What the card is, and not how it is filled."""


def order_of(settings: Settings) -> CardOrder:
    """As it was left on the last evening."""
    return CardOrder(
        **{each.name: getattr(settings, f"card_{each.name}") for each in fields(CardOrder)}
    )


def unusual(order: CardOrder) -> dict[str, Any]:
    """What each rule usually is, of those that are otherwise now."""
    usual = asdict(CardOrder())
    return {
        name: usual[name]
        for name, value in asdict(order).items()
        if name not in NOT_RULES and value != usual[name]
    }


@dataclass(frozen=True)
class Rule:
    """One line of the rules: a field of the order, and what it may be."""

    name: str
    label: str
    values: Mapping[Any, str]
    """What it may be, and the words for that; of a typed one only the words for nothing."""
    typed: Callable[[str], object] | None = None
    """Takes the text that was typed, or raises WrongCall; None: it goes from value to value."""
    hint: str = ""
    """What to type."""

    def words(self, value: Any) -> str:
        return self.values.get(value, str(value))

    def next(self, value: Any) -> Any:
        values = list(self.values)
        return values[(values.index(value) + 1) % len(values)]


def _any_text(text: str) -> str:
    return text


FOLDER = Rule(
    "folder",
    "Card folder",
    {"": "not named yet"},
    _any_text,
    "the folder where the card is mounted; nothing is written before you are asked",
)
RIG = Rule("rig", "Card is for", {})
"""Its values are the rigs there are."""
RULES = (
    FOLDER,
    RIG,
    Rule(
        "damaged",
        "Damaged images",
        {
            LEFT_OUT: "left out",
            MENDED: "mended, where that helps",
            MENDED_OR_TAKEN: "mended, or taken as they are",
            TAKEN: "taken as they are",
        },
    ),
    Rule("every_copy", "Same content", {False: "one of each", True: "every copy"}),
    Rule(
        "whole_sets",
        "Sets of disks",
        {False: "each disk for itself", True: "all disks of a title, or none"},
    ),
    Rule(
        "longest",
        "Longest load",
        {"": NO_LIMIT},
        lambda text: second_amount("Longest load", text),
        "all programs of an image in a row, like 90s or 5min; empty: no limit",
    ),
    Rule(
        "budget_bytes",
        "Room to use",
        {"": "all that is free"},
        lambda text: byte_amount("Room to use", text),
        "like 500MB or 2GiB; empty: all that is free",
    ),
    Rule(
        "budget_time",
        "Waiting in total",
        {"": NO_LIMIT},
        lambda text: second_amount("Waiting in total", text),
        "all programs of all images, like 2h or 90min; empty: no limit",
    ),
    Rule(
        "by_rating",
        "If not all fit",
        {False: "the most titles", True: "the highest ratings together"},
    ),
    Rule(
        "layout",
        "Layout",
        {
            "": "as the card is; flat if it is new",
            Layout.FLAT.value: "flat: one folder",
            Layout.LETTER.value: "a folder for each first letter",
            Layout.TAG.value: "a folder for each of your tags",
        },
    ),
    Rule(
        "entries",
        "Images a folder",
        {"": f"{ENTRIES_LIMIT} at the most"},
        lambda text: entry_amount("Images a folder", text),
        f"at most so many; empty: {ENTRIES_LIMIT}",
    ),
    Rule(
        "remove_unpicked",
        "Put there earlier",
        {False: "stays, though not picked any more", True: "goes, if not picked any more"},
    ),
    Rule(
        "replace_changed",
        "Changed on the card",
        {False: "kept as it is", True: "replaced by the shelf's image"},
    ),
)
