"""Add readings from a CSV file: all of them, or none if a row is wrong.

The first row names the columns: path, rig and seconds at the least; file names the file that was
timed, otherwise it was the first program, and `all` in the column what means all programs. What
`bench list --csv` prints can be taken back; a row that is in the log already is passed over.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from formats.errors import LoadglassError
from formats.visible import visible
from loadglass.bench.sheet import from_csv
from tui import json_out
from tui.bench_calls import kept_log, kept_readings
from tui.calls import BAD, FINE, json_option
from tui.readings import COLUMNS, record, row
from tui.rig_calls import known_rigs
from tui.tables import print_table, say, warn
from tui.wording import count_text


class CannotReadSheet(LoadglassError):
    """The CSV file cannot be read."""


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE.csv", help="comma-separated values, UTF-8")
    parser.add_argument("--dry-run", action="store_true", help="only say what it would do")
    json_option(parser)


def run(args: argparse.Namespace) -> int:
    try:
        data = Path(args.file).read_bytes()
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or error
        raise CannotReadSheet(f"cannot read {visible(args.file)}: {why}") from error
    found = from_csv(data, known_rigs(), kept_readings())
    if found.problems:
        for problem in found.problems:
            warn(problem)
        warn(f"nothing is added: put {visible(args.file)} right first")
        return BAD
    readings = found.readings
    if not args.dry_run:
        readings = tuple(kept_log().add(readings)) if readings else ()
    if args.json:
        for reading in readings:
            json_out.emit(record(reading))
        return FINE
    if readings:
        print_table(COLUMNS, [row(reading) for reading in readings])
        say("")
    would = "would be " if args.dry_run else ""
    say(
        f"{count_text(len(readings), 'reading')} {would}added; "
        f"{count_text(found.known, 'row')} in the log already"
    )
    return FINE
