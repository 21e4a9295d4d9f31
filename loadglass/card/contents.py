"""A list of what is on a card, to print or to publish: plain text, HTML, CSV."""

from __future__ import annotations

import csv
import html
import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from formats.visible import visible
from loadglass.card.device import Device, sentences
from loadglass.card.manifest import CardList, Entry, no_list, read_list
from loadglass.shelf.rows import shown_title
from loadglass.spreadsheet import harmless_cell

NO_TIME = "–"


@dataclass(frozen=True, slots=True)
class Line:
    title: str
    folder: str
    name: str
    stock_s: float | None
    fast_s: float | None
    mended: bool

    @property
    def saved_s(self) -> float | None:
        if self.stock_s is None or self.fast_s is None:
            return None
        return self.stock_s - self.fast_s


@dataclass(frozen=True)
class Contents:
    lines: tuple[Line, ...]
    stock: str
    fast: str
    """The rigs that the times are of: of every program in a row."""

    @property
    def saved_s(self) -> float:
        return sum(line.saved_s or 0.0 for line in self.lines)


def contents_of(card_list: CardList) -> Contents:
    """What a card's list says, by title."""
    lines = [_line(entry) for entry in card_list.files]
    lines.sort(key=lambda line: (line.title.casefold(), line.folder, line.name))
    return Contents(tuple(lines), card_list.stock, card_list.fast)


def as_text(contents: Contents) -> str:
    """Columns of plain text."""
    heads = ("Title", "Folder", "File", "Stock", "Fast", "Saved")
    rows = [heads, *(_cells(line) for line in contents.lines)]
    widths = [max(len(row[i]) for row in rows) for i in range(len(heads))]
    lines = [
        "  ".join(
            cell.rjust(width) if i >= 3 else cell.ljust(width)
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]
    return "\n".join([*lines, "", _summary(contents), ""])


def as_html(contents: Contents) -> str:
    """One page that needs nothing else."""
    rows = "\n".join(
        "<tr>" + "".join(_html_cell(i, cell) for i, cell in enumerate(_cells(line))) + "</tr>"
        for line in contents.lines
    )
    return _PAGE.format(
        rows=rows,
        summary=html.escape(_summary(contents)),
        stock=html.escape(contents.stock),
        fast=html.escape(contents.fast),
    )


def as_csv(contents: Contents) -> str:
    """Seconds as plain numbers; nothing that a spreadsheet would work out."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(
        ["title", "folder", "file", "stock_s", "fast_s", "saved_s", "mended", "stock", "fast"]
    )
    for line in contents.lines:
        numbers = [line.stock_s, line.fast_s, line.saved_s]
        writer.writerow(
            [
                *(harmless_cell(text) for text in (line.title, line.folder, line.name)),
                *("" if number is None else f"{number:.1f}" for number in numbers),
                "yes" if line.mended else "no",
                harmless_cell(contents.stock),
                harmless_cell(contents.fast),
            ]
        )
    return out.getvalue()


FORMATS: dict[str, Callable[[Contents], str]] = {
    "text": as_text,
    "html": as_html,
    "csv": as_csv,
}


def read_contents(device: Device) -> Contents:
    """From the list on the card. Raises CardTrouble, OSError."""
    with sentences(device.dest, "read"):
        card_list = read_list(device)
    if card_list == CardList():
        raise no_list(device)
    return contents_of(card_list)


def _line(entry: Entry) -> Line:
    folder, _, name = entry.target.rpartition("/")
    title = shown_title(visible(entry.title).strip(), name)
    return Line(title, folder, name, entry.stock_s, entry.fast_s, entry.mended)


def _cells(line: Line) -> Sequence[str]:
    title = f"{line.title} (mended copy)" if line.mended else line.title
    times = (line.stock_s, line.fast_s, line.saved_s)
    return (title, line.folder, line.name, *map(_seconds, times))


def _seconds(seconds: float | None) -> str:
    return NO_TIME if seconds is None else f"{seconds:.1f} s"


def _summary(contents: Contents) -> str:
    count = len(contents.lines)
    titles = "1 image" if count == 1 else f"{count:,} images"
    return (
        f"{titles}; loading every program of each once, {contents.fast or 'the fast loader'} "
        f"saves {contents.saved_s / 60:,.1f} minutes against {contents.stock or 'the stock loader'}"
    )


def _html_cell(column: int, text: str) -> str:
    kind = ' class="time"' if column >= 3 else ""
    return f"<td{kind}>{html.escape(text)}</td>"


_PAGE = """\
<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<title>Contents of the card</title>
<style>
body {{ font: 16px/1.4 sans-serif; margin: 2em auto; max-width: 60em; padding: 0 1em; }}
table {{ border-collapse: collapse; width: 100%; }}
th, td {{ border-bottom: 1px solid #ccc; padding: 0.25em 0.75em 0.25em 0; text-align: left; }}
th.time, td.time {{ text-align: right; white-space: nowrap; }}
td {{ overflow-wrap: anywhere; }}
thead {{ display: table-header-group; }}
tr {{ break-inside: avoid; }}
</style>
</head>
<body>
<h1>Contents of the card</h1>
<p>{summary}.</p>
<table>
<thead><tr><th>Title</th><th>Folder</th><th>File</th>
<th class="time">{stock}</th><th class="time">{fast}</th><th class="time">Saved</th></tr></thead>
<tbody>
{rows}
</tbody>
</table>
</body>
</html>
"""
