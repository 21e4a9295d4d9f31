"""Print what is on a card: title, folder, load times, time saved; to read or to publish."""

from __future__ import annotations

import argparse
import sys

from loadglass.card.contents import FORMATS, Contents, read_contents
from loadglass.card.dest import open_card
from tui import json_out
from tui.calls import FINE, WrongCall, json_option
from tui.card_calls import dest_argument


def arguments(parser: argparse.ArgumentParser) -> None:
    dest_argument(parser)
    parser.add_argument("--format", choices=list(FORMATS), help="text if not said")
    json_option(parser)


def run(args: argparse.Namespace) -> int:
    if args.json and args.format:
        raise WrongCall("--format and --json: ask for one of them")
    contents = read_contents(open_card(args.dest))
    if args.json:
        json_out.emit(_record(args.dest, contents))
    else:
        sys.stdout.write(FORMATS[args.format or "text"](contents))
    return FINE


def _record(dest: str, contents: Contents) -> dict[str, object]:
    return {
        "dest": dest,
        "stock": contents.stock,
        "fast": contents.fast,
        "files": [
            {
                "title": line.title,
                "folder": line.folder,
                "file": line.name,
                "stock": line.stock_s,
                "fast": line.fast_s,
                "saved": line.saved_s,
                "mended": line.mended,
            }
            for line in contents.lines
        ],
    }
