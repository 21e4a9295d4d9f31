"""The columns of the shelf, for the loader that is set against stock."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from formats.findings import Verdict
from loadglass.shelf.rows import ShelfRow
from loadglass.timing.rig import Rig
from tui.tables import MARKS
from tui.widgets.columns import Cell, Column
from tui.widgets.lettering import Lettering
from tui.wording import NOTHING, saved_text, time_text

DRIVE_WORDS = {"card": "SD card", "spinning": "spinning drive"}
VERDICT_MEANINGS = {
    Verdict.SOUND: "good",
    Verdict.QUIRKY: "odd",
    Verdict.DAMAGED: "bad",
    Verdict.UNREADABLE: "bad",
}
OWN = "own"
PICKED = "■"
"""In front of an image that is picked for the card."""


def verdict_cell(verdict: Verdict) -> Cell:
    """Mark and word, and a colour to go with them."""
    return Cell(f"{MARKS[verdict]} {verdict.value}", VERDICT_MEANINGS[verdict])


def loader_word(rig: Rig) -> str:
    """`stock` and `fast` for the rigs we bring, `own` for one of the user's."""
    return rig.loader if rig.name == rig.like else OWN


def times_of(rig: Rig) -> str:
    """What stands above the times on a rig: its drive; of the user's own rigs the name."""
    return DRIVE_WORDS[rig.drive] if rig.name == rig.like else rig.name


def shelf_columns(rival: Rig, plain_glyphs: bool) -> list[Column[ShelfRow]]:
    """All columns; `rival` is set against the stock loader on its own drive."""
    stock = f"stock-{rival.drive}"
    above = times_of(rival).removesuffix(" drive")
    is_own = above == rival.name  # too long a name for all of the groups
    title = partial(_title, Lettering(plain=plain_glyphs))
    columns = [
        Column("picked for the card", "", _picked, width=1, rank=1, sort="picked"),
        Column("title", "title", title, width=16, rank=0, sort="title", most=18),
        Column("file name", "file name", _file_name, width=14, rank=9, sort="file", most=28),
        Column("verdict", "verdict", _verdict, width=12, rank=2, sort="verdict"),
        Column("number of files", "files", _files, width=5, rank=5, sort="files", right=True),
        Column("blocks", "blocks", _blocks, width=6, rank=6, sort="blocks", right=True),
    ]
    for load, says, rank in LOADS:
        columns += [
            Column(
                f"{says}, {rig}",
                label,
                _seconds(load, rig),
                width=8,
                rank=rank,
                sort=f"{load}:{rig}",
                group=load if load == "start" and is_own else f"{load}, {above}",
                right=True,
            )
            for rig, label in ((stock, "stock"), (rival.name, loader_word(rival)))
        ]
    columns += [
        Column(
            f"saved by {rival.name}, all programs",
            "saved",
            lambda row: saved_text(row, stock, rival.name),
            width=8,
            rank=4,
            sort=f"saved:{rival.name}",
            group=f"all, {above}",
            right=True,
        ),
        Column("rating", "rating", _rating, width=8, rank=10, sort="rating", right=True),
        Column("tags", "tags", _tags, width=6, rank=11, most=24),
    ]
    return columns


LOADS = (("start", "first program", 8), ("all", "all programs", 3))
"""What is loaded: its key, its words, and the rank of its columns."""


def _seconds(load: str, rig: str) -> Callable[[ShelfRow], str]:
    return lambda row: time_text(row, load, rig)


def _picked(row: ShelfRow) -> Cell:
    return Cell(PICKED if row.picked else " ", "mark")


def _title(lettering: Lettering, row: ShelfRow) -> str | Cell:
    title = lettering.sentence(row.shown_title)
    if row.gone or row.off:
        return Cell(f"{title} ({'gone' if row.gone else 'off'})", "muted")
    return title if row.title.strip() else Cell(title, "muted")


def _file_name(row: ShelfRow) -> str:
    return row.file_name


def _verdict(row: ShelfRow) -> Cell:
    return verdict_cell(row.verdict)


def _files(row: ShelfRow) -> str:
    return f"{row.files:,}"


def _blocks(row: ShelfRow) -> str:
    return f"{row.blocks:,}"


def _rating(row: ShelfRow) -> str | Cell:
    return Cell(NOTHING, "muted") if row.rating is None else f"{row.rating} of 5"


def _tags(row: ShelfRow) -> str:
    return " ".join(row.tags)
