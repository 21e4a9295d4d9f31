"""A load that finished: is what lies in the machine's memory what is on the disk?

Gives the plain sum of the file's bytes in memory, and the line of BASIC that adds them up on the
machine: type it without a line number and compare.
"""

from __future__ import annotations

import argparse

from formats.visible import visible
from loadglass.bench.memory_check import MemoryCheck, memory_check
from loadglass.opened import Opened, open_and_audit
from tui import json_out
from tui.calls import FINE, json_option
from tui.commands.clock import chosen_files
from tui.memory_sums import sums_lines
from tui.tables import say


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("image", metavar="IMAGE", help="an image, or archive.zip/member")
    parser.add_argument("name", metavar="NAME", help="the file that was loaded")
    json_option(parser)


def run(args: argparse.Namespace) -> int:
    opened = open_and_audit(args.image)
    (file,) = chosen_files(opened, [args.name])
    slot = file.entry.slot
    check = memory_check(opened, slot)
    if args.json:
        json_out.emit(_record(opened, slot, check))
    else:
        _print(opened, slot, check)
    return FINE


def _record(opened: Opened, slot: int, check: MemoryCheck) -> dict[str, object]:
    return {
        "path": opened.path,
        "slot": slot,
        "file": opened.audit.by_slot[slot].entry.text,
        "total": check.total,
        "sums": [
            {
                "first": each.first,
                "last": each.last,
                "total": each.total,
                "line": each.line,
                "seconds": each.takes_s,
                "caution": each.caution,
            }
            for each in check.sums
        ],
        "notes": list(check.notes),
    }


def _print(opened: Opened, slot: int, check: MemoryCheck) -> None:
    say(f'"{opened.audit.by_slot[slot].entry.text}" on {visible(opened.path)}')
    say("")
    for line in sums_lines(check):
        say(line)
