"""A scratch shelf of the sample images, full screen; nothing is kept.

Without a terminal it prints the shelf and ends.
"""

from __future__ import annotations

import argparse
import sys

from sample_images import folder
from tui import json_out
from tui.calls import FINE, json_option
from tui.rig_calls import known_rigs
from tui.shelf_table import print_shelf, record
from tui.shelves import scratch_shelf
from tui.tables import say, warn
from tui.wording import count_text


def arguments(parser: argparse.ArgumentParser) -> None:
    json_option(parser)


def run(args: argparse.Namespace) -> int:
    rigs = list(known_rigs().rigs.values())
    with scratch_shelf([str(folder())], rigs) as opened:
        for problem in opened.surveyed.problems if opened.surveyed else ():
            warn(problem)
        if args.json:
            for row in opened.shelf.rows():
                json_out.emit(record(row))
        elif sys.stdin.isatty() and sys.stdout.isatty():
            from tui.full_screen import show  # Textual only where there is a screen

            show(opened, rigs, "samples", kept=False)
        else:
            rows = list(opened.shelf.rows())
            print_shelf(rows, rigs, "all")
            say("")
            say(f"{count_text(len(rows), 'image')}; times are of all programs in a row")
    return FINE
