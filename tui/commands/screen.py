"""The full screen on the shelf, or on these images and folders."""

from __future__ import annotations

import argparse
import sys

from formats.visible import visible
from tui.calls import BAD, FINE, WrongCall
from tui.progress_line import shown_job
from tui.rig_calls import known_rigs
from tui.shelves import kept_shelf, scratch_shelf
from tui.tables import warn


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("paths", metavar="PATH", nargs="*", help="images, archives, folders")


def run(args: argparse.Namespace) -> int:
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise WrongCall(
            "the full screen needs a terminal: in a pipe use `loadglass shelf`, `look` or `audit`"
        )
    from tui.full_screen import show  # Textual only where there is a screen

    rigs = list(known_rigs().rigs.values())
    if not args.paths:
        with kept_shelf(rigs) as opened:
            show(opened, rigs, "shelf")
        return FINE
    with shown_job() as job, scratch_shelf(args.paths, rigs, job, own_choices=True) as opened:
        problems = opened.surveyed.problems if opened.surveyed else []
        if not opened.shelf.count(""):
            for problem in problems:
                warn(problem)
            if not problems:
                warn(f"there are no images below {', '.join(map(visible, args.paths))}")
            return BAD
        show(opened, rigs, ", ".join(map(visible, args.paths)), kept=False)
    return FINE
