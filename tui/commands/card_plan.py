"""Show what would go onto a card, and where; changes nothing.

What does not go there is listed with the reason.
"""

from __future__ import annotations

import argparse

from loadglass.card.plan import Plan
from tui import json_out
from tui.calls import FINE, json_option
from tui.card_calls import (
    dest_argument,
    left_out_records,
    pick_record,
    plan_options,
    planned,
    print_plan,
)


def arguments(parser: argparse.ArgumentParser) -> None:
    dest_argument(parser)
    plan_options(parser)
    json_option(parser)


def run(args: argparse.Namespace) -> int:
    _, plan = planned(args)
    if args.json:
        json_out.emit(plan_record(plan))
    else:
        print_plan(plan)
    return FINE


def plan_record(plan: Plan) -> dict[str, object]:
    return {
        "dest": plan.dest,
        "picks": [
            {
                **pick_record(pick.candidate.path, pick.entry),
                "state": pick.state.value,
                "nothing_to_load": pick.candidate.why,
            }
            for pick in plan.picks
        ],
        "bytes": plan.bytes,
        "left_out": left_out_records(plan.left_out),
        "removals": [entry.target for entry in plan.removals],
        "changed": [entry.target for entry in plan.changed],
        "copied_bytes": plan.copied_bytes,
        "free_bytes": plan.room.free_bytes,
        "waiting": {
            "stock": json_out.seconds(plan.waiting.stock_s),
            "fast": json_out.seconds(plan.waiting.fast_s),
            "saved": json_out.seconds(plan.waiting.saved_s),
            "unknown": plan.waiting.unknown,
        },
        "titles": plan.choice.titles,
        "more_titles_at_most": plan.choice.more_titles,
        "more_rating_at_most": plan.choice.more_rating,
    }
