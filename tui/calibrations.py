"""How a calibration is said: old figures beside new ones, residuals, a plot, the demerit figure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from loadglass.bench.calibrate import Calibration, Comparison
from loadglass.timing.rig import Figure, Rig
from tui import json_out
from tui.readings import Prediction, timed_text
from tui.scatter import Mark, scatter
from tui.tables import Column
from tui.wording import count_text, seconds_text

FIGURE_COLUMNS = [
    Column("Figure"),
    Column("Before", right=True),
    Column("Spread", right=True),
    Column("Now", right=True),
    Column("Spread", right=True),
]
COMPARISON_COLUMNS = [
    Column("Id", right=True),
    Column("Timed", wraps=True),
    Column("Reading", right=True),
    Column("Before", right=True),
    Column("90 % range", right=True),
    Column("Now", right=True),
    Column("90 % range", right=True),
    Column("Off by", right=True),
    Column(""),
]
BRIEF_COLUMNS = [
    Column("Timed"),
    Column("Reading", right=True),
    Column("Range before", right=True),
    Column("Range now", right=True),
    Column("Off by", right=True),
    Column(""),
]
BRIEF_NAME_CELLS = 16
BEFORE, NOW, LEFT_OUT = "o", "x", "!"
"""Signs in the plot."""
PLOT_SAYS = (
    f"reading against prediction: {BEFORE} before, {NOW} now, {LEFT_OUT} left out (at the edge if "
    "beyond it); on the dotted line both are the same"
)
DEMERIT_SAYS = (
    "the demerit figure: root mean square distance of readings and predictions, as a share of "
    "their mean"
)


SPREAD_SAYS = "readings tell whole loads: all figures of a load share the spread that is left of it"


@dataclass(frozen=True, slots=True)
class FigureChange:
    name: str
    before: Figure
    now: Figure

    @property
    def cells(self) -> list[str]:
        return [
            self.name,
            f"{self.before.value:.4g} {self.before.unit}",
            f"{self.before.spread:.1%}",
            f"{self.now.value:.4g} {self.now.unit}",
            f"{self.now.spread:.1%}",
        ]


def changes(before: Rig, now: Rig) -> list[FigureChange]:
    """The figures whose value or spread is another."""
    return [
        FigureChange(name, was, now.figures[name])
        for name, was in before.figures.items()
        if (was.value, was.spread) != (now.figures[name].value, now.figures[name].spread)
    ]


def title(calibration: Calibration) -> str:
    """`my-fast-card: fast-card fitted to 4 of 5 readings`."""
    used = f"{len(calibration.comparisons) - len(calibration.left_out)} of "
    by = count_text(len(calibration.comparisons), "reading")
    fitted_to = f"{used if calibration.left_out else ''}{by}"
    return f"{calibration.rig.name}: {calibration.base.name} fitted to {fitted_to}"


def comparison_cells(comparison: Comparison) -> list[str]:
    before, now = Prediction.of(comparison.before), Prediction.of(comparison.after)
    seconds = comparison.reading.seconds
    return [
        str(comparison.reading.id),
        timed_text(comparison.reading.timed),
        seconds_text(seconds),
        seconds_text(before.seconds),
        before.range_text,
        seconds_text(now.seconds),
        now.range_text,
        now.off_text(seconds),
        "left out" if comparison.left_out else now.word(seconds),
    ]


def brief_cells(comparison: Comparison) -> list[str]:
    """A row of BRIEF_COLUMNS, for a screen of 80 cells."""
    _, name, seconds, _, before, _, now, off, word = comparison_cells(comparison)
    if len(name) > BRIEF_NAME_CELLS:
        name = name[: BRIEF_NAME_CELLS - 1] + "…"
    return [name, seconds, before, now, off, word]


def width_sentence(calibration: Calibration) -> str:
    """How much narrower or wider the ranges of these loads have become."""
    comparisons = calibration.comparisons
    before = sum(each.before.high - each.before.low for each in comparisons) / len(comparisons)
    now = sum(each.after.high - each.after.low for each in comparisons) / len(comparisons)
    return (
        f"the ranges of these loads were {seconds_text(before)} wide on average and are now "
        f"{seconds_text(now)}"
    )


def demerit_text(calibration: Calibration) -> str:
    before, now = calibration.demerit_before, calibration.demerit_after
    return f"predictions were off by {before:.1%} of a load on the whole, and are now by {now:.1%}"


def plot(calibration: Calibration, width: int, height: int) -> list[str]:
    """Readings upwards, predictions to the right, before and now."""
    marks = []
    for each in calibration.comparisons:
        seconds = each.reading.seconds
        now = LEFT_OUT if each.left_out else NOW
        if not each.left_out:
            marks.append(Mark(each.before.seconds, seconds, BEFORE))
        marks.append(Mark(each.after.seconds, seconds, now, each.left_out))
    return scatter(marks, width, height)


def record(calibration: Calibration, path: str | None) -> dict[str, Any]:
    """The keys of `loadglass bench calibrate --json`; `path` is null where nothing is written."""
    return {
        "name": calibration.rig.name,
        "base": calibration.base.name,
        "path": path,
        "fitted": list(calibration.fitted),
        "figures": {
            name: {
                "unit": figure.unit,
                "before": _figure(calibration.base.figures[name]),
                "now": _figure(figure),
            }
            for name, figure in calibration.rig.figures.items()
        },
        "readings": _readings(calibration.comparisons),
        "demerit": {
            "before": json_out.seconds(calibration.demerit_before),
            "now": json_out.seconds(calibration.demerit_after),
        },
        "notes": list(calibration.notes),
    }


def _figure(figure: Figure) -> dict[str, float]:
    return {"value": figure.value, "spread": figure.spread}


def _readings(comparisons: Sequence[Comparison]) -> list[dict[str, Any]]:
    return [
        {
            "id": each.reading.id,
            "seconds": json_out.seconds(each.reading.seconds),
            "before": json_out.range_of(each.before),
            "now": json_out.range_of(each.after),
            "off": json_out.seconds(each.off_s),
            "left_out": each.left_out,
        }
        for each in comparisons
    ]
