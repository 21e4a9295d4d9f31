"""Query the index: one line for each image that the filter lets through.

Without a filter every image is listed. The filter, in one screen:

{help}
Ratings, tags, picks and sets are kept by an image's content, so they survive a moved file.
Which disks belong to one title is told by names and titles, until you say it better.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence

from loadglass.shelf.beside import beside
from loadglass.shelf.choices import BadChoice
from loadglass.shelf.corrections import Title, go_by_names, put_into, take_out, title_called
from loadglass.shelf.filters import HELP, FilterError
from loadglass.shelf.query import DEFAULT_SORT, SortError
from loadglass.shelf.rows import ShelfRow
from loadglass.shelf.sets import disk_sets
from tui import json_out
from tui.calls import FINE, WrongCall, json_option
from tui.rig_calls import chosen_rigs, rig_option
from tui.shelf_sets import beside_record, print_beside, print_sets, set_record
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
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--sets", action="store_true", help="their sets: disks of one title")
    what.add_argument("--twins", action="store_true", help="set and twins of each of them")
    json_option(parser)
    changes = parser.add_argument_group("of all images that the filter lets through")
    changes.add_argument("--rate", metavar="1..5", help="rate them; 0 takes ratings back")
    changes.add_argument("--tag", metavar="TAG", action="append", default=[], help="tag them")
    changes.add_argument("--untag", metavar="TAG", action="append", default=[])
    changes.add_argument("--pick", action="store_true", help="choose them for the card")
    changes.add_argument("--unpick", action="store_true", help="take them back")
    off = changes.add_mutually_exclusive_group()
    off.add_argument(
        "--take-off",
        action="store_true",
        help="take them off the shelf, also after the next survey; their files are left alone",
    )
    off.add_argument(
        "--put-back", action="store_true", help="put them back; off:yes in the filter finds them"
    )
    sets = changes.add_mutually_exclusive_group()
    sets.add_argument("--set", metavar="NAME", help="put them into the set of that name")
    sets.add_argument("--no-set", action="store_true", help="take them out of their sets")
    sets.add_argument(
        "--by-name", action="store_true", help="undo both: their names and titles say it again"
    )


def run(args: argparse.Namespace) -> int:
    if args.limit is not None and args.limit < 0:
        raise WrongCall(f"--limit {args.limit}: name a number of images, 0 or more")
    if args.csv and args.json:
        raise WrongCall("--csv and --json: ask for one of them")
    if args.csv and (args.sets or args.twins):
        raise WrongCall("--csv is for the shelf itself: ask for --json with --sets and --twins")
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
        if args.sets and not empty:
            _show_sets(opened, rows, args.json)
            return FINE
        if args.twins and not empty:
            _show_twins(opened, rows, args.json)
            return FINE
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
        if args.set is not None:
            put_into(choices, contents, _title(args.set, opened, rows))
    except BadChoice as error:
        raise WrongCall(str(error)) from error
    if args.pick or args.unpick:
        choices.pick(contents, picked=args.pick)
    if args.no_set:
        take_out(choices, contents)
    if args.by_name:
        go_by_names(choices, contents)
    if args.take_off or args.put_back:
        opened.shelf.take_off([row.id for row in rows], off=args.take_off)
    asked = ("tag", "untag", "pick", "unpick", "take_off", "put_back", "no_set", "by_name")
    is_asked = any(getattr(args, name) for name in asked)
    return args.rate is not None or args.set is not None or is_asked


def _title(name: str, opened: OpenShelf, rows: Sequence[ShelfRow]) -> Title:
    if not name.strip():
        raise WrongCall("--set: give the set a name, or take images out of theirs with --no-set")
    return title_called(opened.index, opened.choices, name, rows)


def _show_sets(opened: OpenShelf, rows: Sequence[ShelfRow], as_json: bool) -> None:
    """The sets that have a disk among these images."""
    asked = {row.id for row in rows}
    sets = [
        disks
        for disks in disk_sets(opened.index, opened.choices)
        if any(disk.id in asked for disk in disks.disks)
    ]
    named = (disk.id for disks in sets for disk in disks.disks)
    there = {image: row for image in named if (row := opened.shelf.row(image)) is not None}
    if as_json:
        for disks in sets:
            json_out.emit(set_record(disks, there))
        return
    if sets:
        print_sets(sets, there)
        say("")
    say(count_text(len(sets), "set"))


def _show_twins(opened: OpenShelf, rows: Sequence[ShelfRow], as_json: bool) -> None:
    for row in rows:
        found = beside(opened.index, opened.choices, opened.shelf, row.id)
        if found is None:
            continue
        if as_json:
            json_out.emit(beside_record(found))
        else:
            print_beside(found)
            say("")


def _rating(text: str) -> int | None:
    if not text.isdecimal():
        raise WrongCall(f"--rate {text}: give 1 to 5, or 0 to take a rating back")
    return int(text) or None
