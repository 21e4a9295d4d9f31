"""Bring what a drive wrote back to the computer: saved games, high scores.

Every image that has changed on the card since it was put there is copied into FOLDER under a
new name. Nothing is overwritten, and the card stays as it is.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from formats.visible import visible
from loadglass.card.dest import open_card
from loadglass.card.keep import Kept, keep_changed
from tui import json_out
from tui.calls import BAD, FINE, json_option
from tui.card_calls import dest_argument
from tui.progress_line import shown_job
from tui.tables import say, warn


def arguments(parser: argparse.ArgumentParser) -> None:
    dest_argument(parser)
    parser.add_argument("folder", metavar="FOLDER", help="a folder of the computer")
    json_option(parser)


def run(args: argparse.Namespace) -> int:
    with shown_job() as job:
        kept = keep_changed(open_card(args.dest), Path(args.folder), job)
    for target in kept.too_large:
        warn(f"{visible(target)} is larger than any disk image: left where it is")
    if args.json:
        json_out.emit(_record(args.dest, kept))
    else:
        _print(kept)
    return BAD if kept.too_large else FINE


def _record(dest: str, kept: Kept) -> dict[str, object]:
    return {
        "dest": dest,
        "kept": [{"target": target, "path": str(path)} for target, path in kept.copied],
        "there": [{"target": target, "path": str(path)} for target, path in kept.there],
    }


def _print(kept: Kept) -> None:
    for target, path in kept.copied:
        say(f"{target} is now {visible(str(path))} as well")
    for target, path in kept.there:
        say(f"{target} was brought back before: {visible(str(path))}")
    if not kept.copied and not kept.there and not kept.too_large:
        say("nothing on the card has changed since it was filled")
