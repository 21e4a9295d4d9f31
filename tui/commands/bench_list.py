"""The readings in the bench log, beside what was predicted for them.

`off by` is how much longer than predicted a load took; `in` and `OUT` say whether that is in
the 90 % range, as 9 of 10 readings are on a rig whose figures are right. A thumb on a stopwatch
is allowed to be off by 0.4 s.
"""

from __future__ import annotations

import argparse
import sys

from loadglass.bench.sheet import to_csv
from tui import json_out
from tui.bench_calls import kept_readings
from tui.calls import FINE, WrongCall, json_option
from tui.readings import COLUMNS, Prediction, of_rig, record, row
from tui.rig_calls import known_rigs, named_rig
from tui.tables import print_table, say, warn
from tui.wording import count_text


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--rig", metavar="R", help="only readings of this rig")
    parser.add_argument(
        "--csv", action="store_true", help="comma-separated values, which `bench import` takes"
    )
    json_option(parser)


def run(args: argparse.Namespace) -> int:
    if args.csv and args.json:
        raise WrongCall("--csv and --json: ask for one of them")
    readings = kept_readings()
    if args.rig is not None:
        if not any(reading.rig == args.rig for reading in readings):
            named_rig(known_rigs(), args.rig)  # readings of a rig that is gone are still there
        readings = of_rig(readings, args.rig)
    if args.json:
        for reading in readings:
            json_out.emit(record(reading))
    elif args.csv:
        sys.stdout.write(to_csv(readings).replace("\r\n", "\n"))
    elif readings:
        print_table(COLUMNS, [row(reading) for reading in readings])
        outside = sum(not Prediction.then(r).holds(r.seconds) for r in readings)
        say("")
        say(f"{count_text(len(readings), 'reading')}, {outside:,} outside the range")
    else:
        warn("there are no readings yet: `loadglass bench start IMAGE --rig R` takes one")
    return FINE
