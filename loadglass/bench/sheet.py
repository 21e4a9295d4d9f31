"""Readings as CSV: out for a spreadsheet, in from one or from a list kept by hand.

What goes out comes in again, image at hand or not, for the block places go along. A list by hand
needs only `path`, `rig` and `seconds`; `file` names the file that was timed, or `what` says
`start` or `all`.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache

from formats.errors import LoadglassError
from formats.petscii import from_text
from formats.visible import visible
from loadglass.bench.reading import (
    BadReading,
    Reading,
    Timed,
    parse_seconds,
    take_reading,
    timed_all,
    timed_file,
    timed_start,
)
from loadglass.bench.record import from_record, to_record
from loadglass.opened import Opened, open_and_audit
from loadglass.timing.rig_files import Rigs

COLUMNS = (
    "id",
    "when",
    "path",
    "what",
    "file",
    "slot",
    "rig",
    "seconds",
    "predicted",
    "low",
    "high",
    "remark",
    "title",
    "file_hex",
    "sha256",
    "places",
)
NEEDED = ("path", "rig", "seconds")
LIMIT_BYTES = 64 * 1024 * 1024
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
"""A spreadsheet takes a cell that starts so for a formula; names on images may start so too."""
SHIELD = "'"


class BadSheet(LoadglassError):
    """A CSV file whose rows cannot be told."""


@dataclass(frozen=True)
class SheetContents:
    """What a CSV file would add to the log."""

    readings: tuple[Reading, ...]
    """New ones, without ids."""
    known: int
    """Rows that are in the log already."""
    problems: tuple[str, ...]
    """One sentence for each row that cannot be a reading; if any, nothing should be added."""


def to_csv(readings: Iterable[Reading]) -> str:
    """All readings as CSV with a row of headings."""
    text = io.StringIO()
    writer = csv.DictWriter(text, COLUMNS, extrasaction="ignore", lineterminator="\r\n")
    writer.writeheader()
    for reading in readings:
        record = to_record(reading) | {"path": visible(reading.timed.path)}
        writer.writerow({name: _shielded(record[name]) for name in COLUMNS})
    return text.getvalue()


def from_csv(data: bytes, rigs: Rigs, known: Iterable[Reading] = ()) -> SheetContents:
    """The readings of a CSV file; commas, semicolons or tabs between the columns.

    known: what the log has, so that a row is not taken twice. Raises BadSheet where the columns
    are wrong; a row that is wrong becomes a problem.
    """
    headings, rows = _table(data)
    _check_headings(headings)
    at_a_time, at_any_time = set(), set()
    for reading in known:
        at_a_time.add((reading.when, _identity(reading)))
        at_any_time.add(_identity(reading))
    open_image = cache(open_and_audit)
    readings: list[Reading] = []
    problems: list[str] = []
    known_rows = 0
    for number, row in rows:
        try:
            cells = _cells(headings, row)
            reading = _reading(cells, rigs, open_image)
        except LoadglassError as error:
            problems.append(f"row {number}: {error}")
            continue
        identity = _identity(reading)
        if (reading.when, identity) in at_a_time or (
            "when" not in cells and identity in at_any_time
        ):
            known_rows += 1
        else:
            readings.append(reading)
    return SheetContents(tuple(readings), known_rows, tuple(problems))


def _identity(reading: Reading) -> tuple[object, ...]:
    timed = reading.timed
    return (timed.sha256, timed.what, timed.slot, reading.rig, reading.seconds)


def _table(data: bytes) -> tuple[list[str], list[tuple[int, list[str]]]]:
    """The headings, and every other row that is not empty with its number from 1."""
    if len(data) > LIMIT_BYTES:
        raise BadSheet(f"{len(data):,} bytes are too many for a list of readings")
    try:
        text = data.decode("utf-8-sig")
        delimiter = max(",;\t", key=text.partition("\n")[0].count)
        table = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter))
    except UnicodeDecodeError:
        raise BadSheet("the CSV file is not UTF-8: save it with that encoding") from None
    except csv.Error as error:
        raise BadSheet(f"the CSV file cannot be read: {error}") from None
    headings = [cell.strip().lower() for cell in table[0]] if table else []
    rows = [(i, row) for i, row in enumerate(table, start=1) if any(map(str.strip, row))]
    return headings, rows[1:]


def _check_headings(headings: Sequence[str]) -> None:
    missing = [f"lacks {name}" for name in NEEDED if name not in headings]
    unknown = [f'has "{visible(name)[:40]}"' for name in headings if name not in COLUMNS]
    twice = [f"has {name} twice" for name in COLUMNS if headings.count(name) > 1]
    for wrong in (*missing, *unknown, *twice):
        raise BadSheet(
            f"the first row of the CSV file {wrong}: it must name {', '.join(NEEDED)}, and may "
            f"name {', '.join(name for name in COLUMNS if name not in NEEDED)}"
        )


def _cells(headings: Sequence[str], row: Sequence[str]) -> dict[str, str]:
    """What is not empty of a row, by its heading. Raises BadReading."""
    if any(map(str.strip, row[len(headings) :])):
        raise BadReading("it has more cells than the first row")
    cells = {
        heading: _unshielded(cell.strip())
        for heading, cell in zip(headings, row, strict=False)
        if cell.strip()
    }
    for name in NEEDED:
        if name not in cells:
            raise BadReading(f"its {name} is empty")
    return cells


def _reading(cells: Mapping[str, str], rigs: Rigs, open_image: Callable[[str], Opened]) -> Reading:
    seconds = parse_seconds(cells["seconds"])
    if "places" in cells:
        return _as_it_went_out(cells, seconds)
    rig = rigs.named(cells["rig"])
    timed = _timed(cells, open_image(cells["path"]))
    return take_reading(timed, rig, seconds, cells.get("remark", ""), cells.get("when"))


def _as_it_went_out(cells: Mapping[str, str], seconds: float) -> Reading:
    numbers = {
        name: _number(name, cells[name]) for name in ("predicted", "low", "high") if name in cells
    }
    slot = {"slot": _slot(cells["slot"])} if "slot" in cells else {}
    record = {**cells, **numbers, **slot, "seconds": seconds, "id": 1}
    return replace(from_record(record), id=0)


def _timed(cells: Mapping[str, str], opened: Opened) -> Timed:
    """What the row says was timed, on its image. Raises BadReading."""
    what = cells.get("what", "file" if "file" in cells or "slot" in cells else "start")
    if what == "start":
        return timed_start(opened)
    if what == "all":
        return timed_all(opened)
    if what != "file":
        raise BadReading(f'its what is "{visible(what)[:40]}"; it must be file, start or all')
    if "slot" in cells:
        slot = _slot(cells["slot"])
        if slot not in opened.audit.by_slot:
            raise BadReading(f"there is no file in slot {slot} on {visible(opened.path)}")
        return timed_file(opened, slot)
    return timed_file(opened, _file_named(cells.get("file", ""), opened))


def _file_named(name: str, opened: Opened) -> int:
    """The slot of the first file of that name, as it is shown or as it is typed."""
    for file in opened.audit.files:
        if name == file.entry.text:
            return file.entry.slot
    typed = from_text(name)
    for file in opened.audit.files:
        if typed == file.entry.name:
            return file.entry.slot
    raise BadReading(f'there is no file "{visible(name)[:40]}" on {visible(opened.path)}')


def _slot(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 5):
        raise BadReading(f'its slot is "{visible(text)[:40]}"; it must be a whole number')
    return int(text)


def _number(name: str, text: str) -> float:
    try:
        return float(text.replace(",", "."))
    except ValueError:
        raise BadReading(f'its {name} is "{visible(text)[:40]}"; it must be a number') from None


def _shielded(value: object) -> str:
    text = "" if value is None else str(value)
    return SHIELD + text if text.startswith((*FORMULA_STARTS, SHIELD)) else text


def _unshielded(text: str) -> str:
    return text[1:] if text.startswith(SHIELD) else text
