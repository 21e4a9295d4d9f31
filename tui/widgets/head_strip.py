"""The way of the head in one load: time to the right, tracks upwards."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from loadglass.timing.timeline import Leg, head_way
from tui.widgets.columns import Cell
from tui.widgets.line_view import Line, cells
from tui.wording import count_text, seconds_text

LABEL_CELLS = 8
MOST_ROWS = 8
LEAST_ROWS, LEAST_CELLS = 2, 24
"""Less room shows no way."""
NO_HEAD = "an SD card has no head: the tracks in the order they are read"
STAYS = "the head stays on its track"
UNDER = "side 2 lies under side 1"


class Marks(NamedTuple):
    """What a leg is drawn with; the glyphs alone tell them apart."""

    now: str
    gone: str
    ahead: str
    way: str
    here: str


FULL = Marks("█", "━", "─", "│", "▲")
PLAIN = Marks("#", "=", "-", "|", "^")


def head_text(legs: Sequence[Leg], cursor: int) -> str:
    """`head: 3 of 12 moves, 7 of 34 tracks, 0.28 of 1.79 s`: up to a leg, and in all."""
    gone, whole = head_way(legs[: cursor + 1]), head_way(legs)
    under = f"; {UNDER}" if any(leg.track not in (None, leg.cylinder) for leg in legs) else ""
    if not whole.moves:
        turns = any(leg.stages["spin_up"] or leg.stages["rotate"] for leg in legs)
        return (STAYS if turns else NO_HEAD) + under
    moves, tracks = count_text(whole.moves, "move"), count_text(whole.tracks, "track")
    return (
        f"head: {gone.moves} of {moves}, {gone.tracks} of {tracks}, "
        f"{gone.seconds:.2f} of {whole.seconds:.2f} s{under}"
    )


def move_text(leg: Leg) -> str:
    """`+3  95 ms`: how far the head goes for a leg, and how long it takes to."""
    return f"{leg.moved:+d}{leg.move_s * 1000:>5,.0f} ms" if leg.moved else ""


def strip(legs: Sequence[Leg], cursor: int, width: int, rows: int, plain: bool) -> list[Line]:
    """Lines that show where the head stands, the highest track first, and a line of time.

    rows: of the whole picture, at the most; none where there is no room for it.
    """
    room, rows = width - LABEL_CELLS, min(rows - 1, MOST_ROWS)
    if not legs or rows < LEAST_ROWS or room < LEAST_CELLS:
        return []
    marks = PLAIN if plain else FULL
    lowest = min(leg.cylinder for leg in legs)
    span = max(leg.cylinder for leg in legs) - lowest + 1
    band = -(-span // rows)
    """Tracks a row."""
    grid = [[Cell(" ")] * room for _ in range(-(-span // band))]
    scale = room / (legs[-1].start_s + legs[-1].seconds)
    for number in [*range(len(legs) - 1, -1, -1), cursor]:  # that of the cursor covers others
        leg = legs[number]
        row = (leg.cylinder - lowest) // band
        start = min(int(leg.start_s * scale), room - 1)
        end = max(min(round((leg.start_s + leg.seconds) * scale), room), start + 1)
        look = Cell(marks.ahead, "muted")
        if number <= cursor:
            look = Cell(marks.now, "mark") if number == cursor else Cell(marks.gone, "strong")
        grid[row][start:end] = [look] * (end - start)
        before = (legs[number - 1].cylinder - lowest) // band if number else row
        for between in range(min(row, before) + 1, max(row, before)):
            grid[between][start] = Cell(marks.way, "muted" if number > cursor else "strong")
    lines = [
        cells((_label(lowest + row * band, min(band, span - row * band)), "muted"), *line)
        for row, line in enumerate(grid)
    ]
    return [*reversed(lines), _axis(legs, cursor, room, scale, marks)]


def _label(first: int, tracks: int) -> str:
    """The tracks of a row."""
    text = f"{first}" if tracks == 1 else f"{first}–{first + tracks - 1}"
    return f"{text:>{LABEL_CELLS - 1}} "


def _axis(legs: Sequence[Leg], cursor: int, room: int, scale: float, marks: Marks) -> Line:
    """Where the leg under the cursor begins, between the ends of the load."""
    start_s = legs[cursor].start_s
    at = min(int(start_s * scale), room - 1)
    end = seconds_text(legs[-1].start_s + legs[-1].seconds)
    here = f"{marks.here} {seconds_text(start_s)}"
    if at + len(here) > room - len(end) - 1:
        here = f"{seconds_text(start_s)} {marks.here}"
        at = max(at - len(here) + 1, 0)
        end = "" if at + len(here) >= room - len(end) else end
    left = " " * (LABEL_CELLS + at)
    gap = " " * (room - at - len(here) - len(end))
    return cells(left, (here, "mark"), gap, (end, "muted"))
