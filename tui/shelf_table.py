"""The shelf as a table for people, as JSON and as CSV."""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterable, Mapping, Sequence

from loadglass.shelf.rows import ShelfRow
from loadglass.spreadsheet import harmless_cell
from loadglass.timing.rig import Rig
from tui import json_out
from tui.tables import Cell, Column, print_table, verdict_cell
from tui.wording import time_text


def record(row: ShelfRow) -> dict[str, object]:
    """The keys of `loadglass shelf --json`."""
    return {
        "path": row.path,
        "title": row.title,
        "verdict": row.verdict.value,
        "files": row.files,
        "blocks": row.blocks,
        "sha256": row.sha256,
        "start": _seconds(row.start_s),
        "all": _seconds(row.all_s),
        "all_at_least": row.is_bound("all"),
        "rating": row.rating,
        "tags": list(row.tags),
        "picked": row.picked,
    }


def _seconds(times: Mapping[str, float | None]) -> dict[str, float | None]:
    return {rig: None if s is None else json_out.seconds(s) for rig, s in times.items()}


def print_shelf(rows: Iterable[ShelfRow], rigs: Sequence[Rig], which: str) -> None:
    """A line an image, with its time on each rig; which: `start` or `all`."""
    columns = [
        Column("Title"),
        Column("Image", wraps=True),
        Column("Verdict"),
        Column("Files", right=True),
        Column("Blocks", right=True),
        *(Column(f"{which}, {rig.name}", right=True, wraps=True) for rig in rigs),
    ]
    print_table(columns, [_cells(row, rigs, which) for row in rows])


def _cells(row: ShelfRow, rigs: Sequence[Rig], which: str) -> list[str | Cell]:
    return [
        row.shown_title,
        row.file_name,
        verdict_cell(row.verdict),
        str(row.files),
        str(row.blocks),
        *(time_text(row, which, rig.name) for rig in rigs),
    ]


def print_csv(rows: Iterable[ShelfRow], rigs: Sequence[Rig]) -> None:
    """Comma-separated values with a line of column names; times in seconds."""
    names = [rig.name for rig in rigs]
    writer = csv.writer(sys.stdout, lineterminator="\n")
    writer.writerow(
        ["path", "title", "verdict", "files", "blocks", "sha256", "rating", "tags"]
        + [f"start {name} s" for name in names]
        + [f"all {name} s" for name in names]
    )
    for row in rows:
        texts = [row.path.encode("utf-8", "backslashreplace").decode(), row.title]
        writer.writerow(
            [*map(harmless_cell, texts), row.verdict.value, row.files, row.blocks, row.sha256]
            + [row.rating or "", " ".join(row.tags)]
            + [_number(times.get(name)) for times in (row.start_s, row.all_s) for name in names]
        )


def _number(seconds: float | None) -> str:
    return "" if seconds is None else f"{seconds:.3f}"
