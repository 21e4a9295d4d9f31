"""What-if in words and bars: other interleaves, and one rig beside another."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any, NamedTuple

from loadglass.timing.estimate import Estimate
from loadglass.timing.prices import STAGES
from loadglass.timing.whatif import Comparison, WhatIf
from tui import json_out
from tui.calls import WrongCall
from tui.tables import Cell, Column, range_text
from tui.wording import NOTHING, seconds_text

RANGE = re.compile(r"(\d{1,3})(?:\.\.(\d{1,3}))?")
SURE, UNSURE = "█", "▒"
BARS_SAY = "bars: solid up to the low end of the 90 % range, shaded up to its high end"
TODAY = "today"


def parse_interleaves(text: str) -> range:
    """`4..12`, or one number. Raises WrongCall."""
    typed = RANGE.fullmatch(text.strip())
    if typed is None or int(typed[2] or typed[1]) < int(typed[1]):
        raise WrongCall(f"--interleave {text}: give two numbers like 4..12, or one")
    return range(int(typed[1]), int(typed[2] or typed[1]) + 1)


class Bar(NamedTuple):
    """How long the file would take at one interleave, or takes today."""

    label: str
    estimate: Estimate
    note: str

    def drawn(self, width: int, longest_s: float) -> str:
        """A bar to its range and through it; `width` cells at the most."""
        low, high = (
            round(end / longest_s * width) for end in (self.estimate.low, self.estimate.high)
        )
        return SURE * low + UNSURE * max(high - low, 1)


def bars(whatif: WhatIf, rig: str) -> list[Bar]:
    """Today's layout, then every interleave; none where the rig does not mount the image."""
    today = whatif.today[rig]
    if today is None:
        return []
    gap = "" if whatif.gap is None else f"usually {whatif.gap} apart"
    best = whatif.best(rig)
    found = [Bar(TODAY, today, gap)]
    for interleave, times in whatif.laid.items():
        estimate = times[rig]
        if estimate is not None:
            note = "soonest" if interleave == best else ""
            found.append(Bar(str(interleave), estimate, note))
    return found


def longest_s(found: Iterable[Bar]) -> float:
    return max(bar.estimate.high for bar in found)


INTERLEAVE_COLUMNS = [
    Column("Interleave", right=True),
    Column("Time", right=True),
    Column("90 % range", right=True),
    Column(""),
    Column(""),
]


def interleave_rows(found: list[Bar], width: int) -> list[list[str | Cell]]:
    longest = longest_s(found)
    return [
        [
            bar.label,
            seconds_text(bar.estimate.seconds),
            range_text(bar.estimate),
            bar.note,
            bar.drawn(width, longest),
        ]
        for bar in found
    ]


def makes_no_difference(found: list[Bar]) -> bool:
    """Whether every layout takes the same time, to a tenth of a second."""
    return len({round(bar.estimate.seconds, 1) for bar in found}) < 2


def interleave_record(whatif: WhatIf) -> dict[str, Any]:
    """The key `interleave` of a file of `loadglass clock --json`."""
    rigs = list(whatif.says)
    return {
        "today": whatif.gap,
        "best": {rig: whatif.best(rig) for rig in rigs},
        "laid": {str(gap): json_out.times(times) for gap, times in whatif.laid.items()},
        "says": whatif.says,
    }


# One rig beside another


def comparison_columns(before: str, after: str) -> list[Column]:
    return [
        Column("Stage"),
        Column(before, right=True),
        Column(after, right=True),
        Column("Saved", right=True),
        Column("Remains", right=True),
    ]


def comparison_rows(before: Estimate, after: Estimate, compared: Comparison) -> list[list[str]]:
    """A row a stage, and one for the whole load."""
    rows = [
        [
            stage.replace("_", "-"),
            _seconds(change.before_s),
            _seconds(change.after_s),
            _seconds(change.saved_s),
            NOTHING if change.remains is None else f"{change.remains:.0%}",
        ]
        for stage, change in compared.stages.items()
        if change.before_s or change.after_s
    ]
    whole = [before.seconds, after.seconds, compared.saved_s]
    remains = f"{after.seconds / before.seconds:.0%}"
    return [*rows, ["all of it", *(f"{seconds:.2f} s" for seconds in whole), remains]]


def _seconds(seconds: float) -> str:
    return f"{seconds:.2f} s" if seconds else NOTHING


def slower_text(before: str, after: str, compared: Comparison) -> str:
    """`fast-card takes 0.4 s longer than stock-card, for its own start takes 0.9 s`."""
    lost_s, start = -compared.saved_s, compared.stages["setup"]
    why = f", for its own start takes {seconds_text(start.after_s)}"
    is_why = start.after_s - start.before_s >= lost_s
    return f"{after} takes {seconds_text(lost_s)} longer than {before}{why if is_why else ''}"


def comparison_text(before: str, after: str, compared: Comparison) -> str:
    """`fast-card saves 78.2 s, 7.2 × as fast; most of what remains is transfer`."""
    left = max(STAGES, key=lambda stage: compared.stages[stage].after_s)
    share = compared.stages[left].after_s / sum(c.after_s for c in compared.stages.values())
    most = f"most of what remains is {left.replace('_', '-')}, {share:.0%}"
    if abs(compared.saved_s) < 0.05:
        return f"{after} is as fast as {before}; {most}"
    if compared.saved_s < 0:
        return f"{slower_text(before, after, compared)}; {most}"
    factor = f"{compared.factor:.1f} × as fast as {before}"
    return f"{after} saves {seconds_text(compared.saved_s)}, {factor}; {most}"


def comparison_record(before: str, after: str, compared: Comparison) -> dict[str, Any]:
    """The key `compare` of a file of `loadglass clock --json`."""
    return {
        "before": before,
        "after": after,
        "saved": json_out.seconds(compared.saved_s),
        "factor": round(compared.factor, 3),
        "stages": {
            stage: {
                "before": json_out.seconds(change.before_s),
                "after": json_out.seconds(change.after_s),
                "saved": json_out.seconds(change.saved_s),
                "remains": None if change.remains is None else round(change.remains, 4),
            }
            for stage, change in compared.stages.items()
        },
    }
