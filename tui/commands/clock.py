"""Load times of one image on each rig, stage by stage.

Without NAME every file is clocked; with names, those. A name is typed as on the machine:
letters in either case, * and ? as there.
"""

from __future__ import annotations

import argparse

from formats.audit import FileAudit
from formats.findings import Verdict
from formats.petscii import UnknownCharacter, from_text
from formats.visible import visible
from loadglass.opened import Opened, open_and_audit
from loadglass.timing.estimate import Clocking, Times, clock_image
from loadglass.timing.prices import STAGES
from loadglass.timing.rig import Rig
from tui import json_out
from tui.calls import BAD, FINE, WrongCall, json_option
from tui.rig_calls import chosen_rigs, rig_option
from tui.tables import Cell, Column, print_table, print_totals, range_text, say, seconds_text

ANY_REST, ANY_ONE = ord("*"), ord("?")


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("image", metavar="IMAGE", help="an image, or archive.zip/member")
    parser.add_argument("names", metavar="NAME", nargs="*", help="files in it; default: all")
    rig_option(parser)
    json_option(parser)


def run(args: argparse.Namespace) -> int:
    rigs = chosen_rigs(args.rig)
    opened = open_and_audit(args.image)
    files = chosen_files(opened, args.names)
    clocking = clock_image(opened.audit, rigs)
    if args.json:
        json_out.emit(_record(opened, files, clocking))
    else:
        _print(opened, files, clocking, rigs)
    bad = opened.audit.verdict is Verdict.DAMAGED
    if args.names:
        bad = any(file.verdict is Verdict.DAMAGED for file in files)
    return BAD if bad else FINE


def chosen_files(opened: Opened, names: list[str]) -> list[FileAudit]:
    """The files that typed names mean, each the first that matches, as the drive finds it.

    All of them where no name is given. Raises WrongCall on a name that none matches.
    """
    files = opened.audit.files
    if not names:
        return list(files)
    chosen = []
    for name in names:
        try:
            pattern = from_text(name)
        except UnknownCharacter as error:
            raise WrongCall(str(error)) from error
        match = next((file for file in files if _matches(pattern, file.entry.name)), None)
        if match is None:
            raise WrongCall(
                f'there is no file "{visible(name)}" on {visible(opened.path)}: '
                "`loadglass look` lists its files"
            )
        chosen.append(match)
    return chosen


def _matches(pattern: bytes, name: bytes) -> bool:
    """As the drive compares: ? is any one character, * whatever follows."""
    for position, code in enumerate(pattern):
        if code == ANY_REST:
            return True
        if position >= len(name) or (code != ANY_ONE and code != name[position]):
            return False
    return len(pattern) == len(name)


def _record(opened: Opened, files: list[FileAudit], clocking: Clocking) -> dict[str, object]:
    return {
        "path": opened.path,
        "files": [
            {
                "slot": file.entry.slot,
                "name": file.entry.text,
                "name_hex": file.entry.name.hex(),
                "blocks": file.entry.blocks,
                "bytes": file.size_bytes,
                "times": json_out.staged_times(clocking.files.get(file.entry.slot)),
            }
            for file in files
        ],
        "start": json_out.totals(clocking.start),
        "all": json_out.totals(clocking.all),
    }


def _print(opened: Opened, files: list[FileAudit], clocking: Clocking, rigs: list[Rig]) -> None:
    say(visible(opened.path))
    for file in files:
        entry = file.entry
        say("")
        say(f'"{entry.text}"  {file.walked_blocks} blocks, {file.size_bytes:,} bytes')
        times = clocking.files.get(entry.slot)
        if times is None:
            say("  no time: it cannot be read whole, or there is nothing to load")
        else:
            _print_stages(times, rigs)
    say("")
    print_totals(clocking)


def _print_stages(times: Times, rigs: list[Rig]) -> None:
    columns = [
        Column("Rig"),
        Column("Time", right=True),
        Column("90 % range", right=True),
        *(Column(stage.replace("_", "-"), right=True, wraps=True) for stage in STAGES),
    ]
    rows: list[list[str | Cell]] = []
    for rig in rigs:
        estimate = times.get(rig.name)
        stages = [f"{estimate.stages[s]:.1f}" if estimate else "-" for s in STAGES]
        rows.append([rig.name, seconds_text(estimate), range_text(estimate), *stages])
    print_table(columns, rows)
