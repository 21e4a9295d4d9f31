"""Fill a card: show the plan, ask, copy and compare every byte.

Only what loadglass itself has put on a card is ever replaced or removed, and of that only what
the drive has not changed since. Running it again goes on where it stopped, and repairs.
"""

from __future__ import annotations

import argparse
import sys

from formats.visible import visible
from loadglass.card.dest import open_card
from loadglass.card.fill import Filled, FillStopped, fill
from loadglass.card.plan import Plan
from tui import json_out
from tui.calls import BAD, FINE, STOPPED, WrongCall, json_option
from tui.card_calls import (
    CAUTION,
    dest_argument,
    filled_text,
    left_out_records,
    pick_record,
    plan_options,
    planned,
    print_left_out,
    print_plan,
)
from tui.progress_line import bytes_text, shown_job
from tui.tables import say, warn

SHOWN_LINES = 20
"""Of each list of the plan before it asks."""


def arguments(parser: argparse.ArgumentParser) -> None:
    dest_argument(parser)
    plan_options(parser)
    parser.add_argument("--yes", action="store_true", help="do not ask")
    json_option(parser)


def run(args: argparse.Namespace) -> int:
    if not args.yes and not sys.stdin.isatty():
        open_card(args.dest)  # a folder that is not there is said first
        raise WrongCall("this is no terminal to ask on: say --yes to fill the card as planned")
    device, plan = planned(args)
    if not args.json:
        print_plan(plan, None if args.yes else SHOWN_LINES)
    if not args.yes and not _agreed(plan):
        warn("nothing was changed")
        return BAD
    status = FINE
    try:
        with shown_job(bytes_text) as job:
            filled = fill(device, plan, job)
    except FillStopped as stopped:
        filled, status = stopped.filled, STOPPED
        warn("stopped; what was finished is on the card, and filling it again goes on from there")
    if args.json:
        json_out.emit(_record(plan, filled))
    else:
        _print(plan, filled)
    return BAD if status is FINE and filled.left_out else status


def _agreed(plan: Plan) -> bool:
    sys.stdout.flush()
    sys.stderr.write(f"Fill {visible(plan.dest)} like this? [y/N] ")
    sys.stderr.flush()
    return sys.stdin.readline().strip().lower() in ("y", "yes")


def _record(plan: Plan, filled: Filled) -> dict[str, object]:
    return {
        "dest": plan.dest,
        "picks": [pick_record(entry.source, entry) for entry in filled.on_card],
        "bytes": sum(entry.bytes for entry in filled.on_card),
        "left_out": left_out_records([*plan.left_out, *filled.left_out, *filled.kept]),
        "copied": [entry.target for entry in filled.copied],
        "removed": [entry.target for entry in filled.removed],
        "changed": [entry.target for entry in filled.changed],
        "safe_to_remove": filled.safe_to_remove,
    }


def _print(plan: Plan, filled: Filled) -> None:
    print_left_out([*filled.left_out, *filled.kept])
    if filled.changed:
        say("")
        say("A drive has written into these since they were put there; they are as they were:")
        for entry in filled.changed:
            say(f"  {entry.target}")
        say(
            f"`loadglass card keep {visible(plan.dest)} FOLDER` brings them to the computer; then "
            "--replace-changed puts the shelf's images in their place"
        )
    say("")
    say(filled_text(plan, filled))
    if filled.safe_to_remove:
        say(f"Everything is flushed: {visible(plan.dest)} is safe to remove, once you unmount it.")
    say(CAUTION)
