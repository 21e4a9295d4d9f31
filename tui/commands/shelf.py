"""Query the index: one line for each image that the filter lets through.

Without a filter every image is listed. The filter, in one screen:

{help}
Ratings, tags and picks are kept by an image's content, so they survive a moved file.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence

from loadglass.shelf.choices import BadChoice
from loadglass.shelf.filters import HELP, FilterError
from loadglass.shelf.query import DEFAULT_SORT, SortError
from loadglass.shelf.rows import ShelfRow
from tui import json_out
from tui.calls import FINE, WrongCall, json_option
from tui.rig_calls import chosen_rigs, rig_option
from tui.shelf_table import print_csv, print_shelf, record
from tui.shelves import OpenShelf, kept_shelf
from tui.tables import say, warn
from tui.wording import count_text

__doc__ = (__doc__ or "").format(help=HELP)


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("filter", metavar="FILTER", nargs="*", help="words and comparisons")
    parser.add_argument(
        "--sort",
        default=DEFAULT_SORT,
        metavar="ORDER",
        help="title, file, files, blocks, verdict, rating, start:RIG, all:RIG or saved:RIG",
    )
    parser.add_argument("--descending", action="store_true", help="the largest first")
    parser.add_argument("--limit", type=int, metavar="N", help="at most so many images")
    parser.add_argument(
        "--times", choices=["start", "all"], default="all", help="which time the table shows"
    )
    rig_option(parser)
    parser.add_argument("--csv", action="store_true", help="comma-separated values")
    json_option(parser)
    changes = parser.add_argument_group("of all images that the filter lets through")
    changes.add_argument("--rate", metavar="1..5", help="rate them; 0 takes ratings back")
    changes.add_argument("--tag", metavar="TAG", action="append", default=[], help="tag them")
    changes.add_argument("--untag", metavar="TAG", action="append", default=[])
    changes.add_argument("--pick", action="store_true", help="choose them for the card")
    changes.add_argument("--unpick", action="store_true", help="take them back")


def run(args: argparse.Namespace) -> int:
    if args.limit is not None and args.limit < 0:
        raise WrongCall(f"--limit {args.limit}: name a number of images, 0 or more")
    if args.csv and args.json:
        raise WrongCall("--csv and --json: ask for one of them")
    rigs = chosen_rigs(args.rig)
    with kept_shelf(rigs) as opened:
        try:
            rows = list(
                opened.shelf.rows(" ".join(args.filter), args.sort, args.descending, args.limit)
            )
        except (FilterError, SortError) as error:
            raise WrongCall(str(error)) from error
        if _change(args, opened, rows):
            warn(f"{count_text(len(rows), 'image')} changed")
            rows = [row for row in map(opened.shelf.row, [row.id for row in rows]) if row]
        empty = not opened.shelf.count("")
    if args.json:
        for row in rows:
            json_out.emit(record(row))
    elif args.csv:
        print_csv(rows, rigs)
    elif empty:
        warn("the shelf is empty: `loadglass survey DIR` fills it, `loadglass demo` shows samples")
    else:
        print_shelf(rows, rigs, args.times)
        say("")
        say(count_text(len(rows), "image"))
    return FINE


def _change(args: argparse.Namespace, opened: OpenShelf, rows: Sequence[ShelfRow]) -> bool:
    """Carry out what was asked of the images; gives whether anything was."""
    contents = [row.sha256 for row in rows if row.sha256]
    choices = opened.choices
    try:
        if args.rate is not None:
            choices.rate(contents, _rating(args.rate))
        for tag in args.tag:
            choices.tag(contents, tag)
        for tag in args.untag:
            choices.tag(contents, tag, wanted=False)
    except BadChoice as error:
        raise WrongCall(str(error)) from error
    if args.pick or args.unpick:
        choices.pick(contents, picked=args.pick)
    return bool(args.rate is not None or args.tag or args.untag or args.pick or args.unpick)


def _rating(text: str) -> int | None:
    if not text.isdecimal():
        raise WrongCall(f"--rate {text}: give 1 to 5, or 0 to take a rating back")
    return int(text) or None
