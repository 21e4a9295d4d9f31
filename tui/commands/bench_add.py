"""Add a reading that was taken with another stopwatch.

S is the time from RETURN to READY, or to the title's own start: 92.4 or 1:32.4. Without NAME it
is the first program that was timed. A name is typed as on the machine: letters in either case,
* and ? as there.
"""

from __future__ import annotations

import argparse

from loadglass.bench.reading import BadReading, parse_seconds
from loadglass.opened import open_and_audit
from tui.bench_calls import keep, reading_of, timed_arguments, timed_of
from tui.calls import FINE, WrongCall, json_option
from tui.rig_calls import known_rigs, named_rig


def arguments(parser: argparse.ArgumentParser) -> None:
    timed_arguments(parser)
    parser.add_argument("--seconds", metavar="S", required=True, help="the reading")
    json_option(parser)


def run(args: argparse.Namespace) -> int:
    known = known_rigs()
    rig = named_rig(known, args.rig)
    try:
        seconds = parse_seconds(args.seconds)
    except BadReading as error:
        raise WrongCall(str(error)) from error
    opened = open_and_audit(args.image)
    reading = reading_of(timed_of(args, opened), rig, seconds, args.remark)
    keep(reading, known, opened.audit, as_json=args.json)
    return FINE
