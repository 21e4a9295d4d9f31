"""Tables and sentences for people: rich on a terminal, plain aligned columns when piped."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from formats.findings import Severity, Verdict

if TYPE_CHECKING:  # a command that clocks nothing loads no clock
    from loadglass.timing.estimate import Clocking, Estimate

MARKS = {
    Verdict.SOUND: "o",
    Verdict.QUIRKY: "~",
    Verdict.DAMAGED: "X",
    Verdict.UNREADABLE: "?",
}
"""A mark beside each verdict, so that nothing hangs on colour alone."""
STYLES = {
    Verdict.SOUND: "green",
    Verdict.QUIRKY: "yellow",
    Verdict.DAMAGED: "bold red",
    Verdict.UNREADABLE: "bold magenta",
    Severity.DAMAGE: "bold red",
    Severity.ODDITY: "yellow",
    Severity.NOTE: "cyan",
}


@dataclass(frozen=True, slots=True)
class Column:
    title: str
    right: bool = False
    wraps: bool = False
    """May break over lines on a narrow terminal; other columns keep their words whole."""


@dataclass(frozen=True, slots=True)
class Cell:
    """A text with a meaning that a terminal may colour."""

    text: str
    meaning: Verdict | Severity | None = None


def verdict_cell(verdict: Verdict) -> Cell:
    return Cell(f"{MARKS[verdict]} {verdict.value}", verdict)


def on_terminal() -> bool:
    return sys.stdout.isatty()


def print_table(columns: Sequence[Column], rows: Sequence[Sequence[str | Cell]]) -> None:
    """One row a line; on a terminal as wide as it is, in a pipe as wide as the words are."""
    if on_terminal():
        _print_rich(columns, rows)
    else:
        for line in plain_lines(columns, rows):
            sys.stdout.write(line + "\n")


def say(text: str, meaning: Verdict | Severity | None = None) -> None:
    """A sentence on standard output."""
    if meaning is not None and on_terminal():
        from rich.console import Console

        Console(highlight=False).print(text, style=STYLES[meaning], markup=False, soft_wrap=True)
    else:
        sys.stdout.write(text + "\n")


def warn(text: str) -> None:
    """A message on standard error."""
    sys.stdout.flush()
    sys.stderr.write(f"loadglass: {text}\n")


def _text(cell: str | Cell) -> str:
    return cell.text if isinstance(cell, Cell) else cell


def plain_lines(columns: Sequence[Column], rows: Sequence[Sequence[str | Cell]]) -> list[str]:
    """Titles and rows, aligned, as wide as the words are."""
    lines = [[column.title for column in columns], *([_text(c) for c in row] for row in rows)]
    widths = [max(len(line[i]) for line in lines) for i in range(len(columns))]
    return [
        "  ".join(
            text.rjust(width) if column.right else text.ljust(width)
            for text, width, column in zip(line, widths, columns, strict=True)
        ).rstrip()
        for line in lines
    ]


def _print_rich(columns: Sequence[Column], rows: Sequence[Sequence[str | Cell]]) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1, 0, 0))
    for column in columns:
        table.add_column(
            Text(column.title),
            justify="right" if column.right else "left",
            overflow="fold",
            no_wrap=not column.wraps,
        )
    for row in rows:
        table.add_row(
            *(
                Text(cell.text, style=STYLES[cell.meaning] if cell.meaning else "")
                if isinstance(cell, Cell)
                else Text(cell)
                for cell in row
            )
        )
    Console(highlight=False).print(table)


def seconds_text(estimate: Estimate | None) -> str:
    """`71.3 s`, or a dash where there is no time."""
    return f"{estimate.seconds:.1f} s" if estimate else "-"


def range_text(estimate: Estimate | None) -> str:
    """`68.0-75.1 s`, or a dash."""
    return f"{estimate.low:.1f}–{estimate.high:.1f} s" if estimate else "-"


def print_totals(clocking: Clocking) -> None:
    """The first program and all of them, on each rig."""
    if not any(clocking.start.values()):
        return
    columns = [
        Column("Rig"),
        Column("First program", right=True),
        Column("90 % range", right=True),
        Column("All programs", right=True),
        Column("90 % range", right=True),
    ]
    rows = []
    for rig, start in clocking.start.items():
        whole = clocking.all[rig]
        rows.append(
            [rig, seconds_text(start), range_text(start), seconds_text(whole), range_text(whole)]
        )
    print_table(columns, rows)
