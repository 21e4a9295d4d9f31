"""Compare a card with its own list, byte for byte, and with the shelf; changes nothing.

Status 1 if something of its list is missing, damaged or unreadable. What a drive has changed
and can be read whole, a new high score, and foreign files are named, and are status 0.
"""

from __future__ import annotations

import argparse

from formats.visible import visible
from loadglass.card.check import Checked, Original, check_card
from loadglass.card.dest import open_card
from tui import json_out
from tui.calls import BAD, FINE, json_option
from tui.card_calls import dest_argument
from tui.progress_line import bytes_text, shown_job
from tui.rig_calls import known_rigs
from tui.shelves import kept_shelf
from tui.tables import say, verdict_cell, warn


def arguments(parser: argparse.ArgumentParser) -> None:
    dest_argument(parser)
    json_option(parser)


def run(args: argparse.Namespace) -> int:
    device = open_card(args.dest)
    originals = _originals()
    with shown_job(bytes_text) as job:
        checked = check_card(device, originals.get, job)
    if checked.unfinished:
        warn("a fill of this card did not come to its end: filling it again goes on from there")
    if args.json:
        json_out.emit(_record(args.dest, checked))
    else:
        _print(args.dest, checked)
    return BAD if checked.missing or checked.damaged else FINE


def _originals() -> dict[str, Original]:
    """What the shelf says of every path it knows."""
    with kept_shelf(list(known_rigs().rigs.values())) as opened:
        rows = [*opened.shelf.rows(""), *opened.shelf.rows("gone:yes")]
    return {row.path: Original(row.sha256, row.gone) for row in rows}


def _record(dest: str, checked: Checked) -> dict[str, object]:
    return {
        "dest": dest,
        "ok": [entry.target for entry in checked.ok],
        "missing": [entry.target for entry in checked.missing],
        "changed": [each.entry.target for each in checked.changed],
        "foreign": checked.foreign,
        "damaged": [entry.target for entry in checked.damaged],
        "outdated": [entry.target for entry in checked.outdated],
        "unfinished": checked.unfinished,
    }


def _print(dest: str, checked: Checked) -> None:
    for entry in checked.missing:
        say(f"missing   {entry.target}  (from {visible(entry.source)})")
    for each in checked.changed:
        mark = verdict_cell(each.verdict)
        says = f": {visible(each.says)}" if each.says else ""
        say(f"changed   {each.entry.target}  now {mark.text}{says}", each.verdict)
    for entry in checked.damaged:
        if entry in checked.ok:
            say(f"damaged   {entry.target}  as it was when it was put there", entry.verdict)
    for entry in checked.outdated:
        say(f"outdated  {entry.target}  the shelf has another version of it, or none any more")
    for name in checked.foreign:
        say(f"foreign   {visible(name)}")
    say(
        f"{visible(dest)}: {len(checked.ok):,} ok, {len(checked.missing):,} missing, "
        f"{len(checked.changed):,} changed, {len(checked.foreign):,} foreign, "
        f"{len(checked.damaged):,} damaged, {len(checked.outdated):,} outdated"
    )
