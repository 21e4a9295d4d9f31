"""Remove a reading from the bench log.

It counts no more; its line stays in the log's file.
"""

from __future__ import annotations

import argparse

from tui import json_out
from tui.bench_calls import kept_log
from tui.calls import FINE, json_option
from tui.readings import record, timed_text
from tui.tables import say
from tui.wording import seconds_text


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("id", metavar="ID", type=int, help="as `loadglass bench list` shows it")
    json_option(parser)


def run(args: argparse.Namespace) -> int:
    removed = kept_log().remove(args.id)
    if args.json:
        json_out.emit(record(removed))
    else:
        say(
            f"reading {removed.id} is removed: {timed_text(removed.timed)}, "
            f"{seconds_text(removed.seconds)} on {removed.rig}"
        )
    return FINE
