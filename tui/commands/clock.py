"""Load times of one image on each rig, stage by stage.

Without NAME every file is clocked; with names, those. A name is typed as on the machine:
letters in either case, * and ? as there.

--interleave 4..12 shows what a file would take if its blocks were laid that far apart, and why;
--compare R1 R2 what the second rig saves, stage by stage. Without NAME these are of the first
program; a comparison is of all programs in a row as well.
"""

from __future__ import annotations

import argparse
from collections.abc import Mapping

from formats.audit import FileAudit
from formats.findings import Verdict
from formats.petscii import UnknownCharacter, from_text
from formats.visible import visible
from loadglass.opened import Opened, open_and_audit
from loadglass.timing.estimate import Clocking, Estimate, Times, clock_image
from loadglass.timing.prices import STAGES
from loadglass.timing.rig import Rig
from loadglass.timing.whatif import BadInterleave, WhatIf, compare, interleave_whatif
from tui import json_out
from tui.calls import BAD, FINE, WrongCall, json_option
from tui.rig_calls import chosen_rigs, rig_option
from tui.tables import Cell, Column, print_table, print_totals, range_text, say, seconds_text, warn
from tui.whatifs import (
    BARS_SAY,
    INTERLEAVE_COLUMNS,
    bars,
    comparison_columns,
    comparison_record,
    comparison_rows,
    comparison_text,
    interleave_record,
    interleave_rows,
    makes_no_difference,
    parse_interleaves,
)

ANY_REST, ANY_ONE = ord("*"), ord("?")
Rivals = tuple[str, str]
"""Names of the two rigs that are compared."""
BAR_CELLS = 32
NO_TIME = "  no time: it cannot be read whole, or there is nothing to load"


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("image", metavar="IMAGE", help="an image, or archive.zip/member")
    parser.add_argument("names", metavar="NAME", nargs="*", help="files in it; default: all")
    rig_option(parser)
    parser.add_argument("--interleave", metavar="A..B", help="what if blocks lay so far apart")
    parser.add_argument(
        "--compare", nargs=2, metavar=("R1", "R2"), help="what the second rig saves"
    )
    json_option(parser)


def run(args: argparse.Namespace) -> int:
    if args.interleave and args.compare:
        raise WrongCall("--interleave and --compare: ask for one of them")
    if args.compare and args.rig:
        raise WrongCall("--compare names its two rigs itself: leave --rig out")
    interleaves = parse_interleaves(args.interleave) if args.interleave else None
    rivals: Rivals | None = tuple(args.compare) if args.compare else None
    rigs = chosen_rigs(args.compare or args.rig)
    opened = open_and_audit(args.image)
    files = chosen_files(opened, args.names)
    if not args.names and (interleaves or args.compare):
        files = [file for file in files if file is opened.audit.first_program]
        if not files:
            warn("no program on it can be loaded whole: name a file")
    clocking = clock_image(opened.audit, rigs)
    whatifs = _whatifs(opened, files, rigs, interleaves) if interleaves else {}
    if args.json:
        json_out.emit(_record(opened, files, clocking, rivals, whatifs))
    elif interleaves:
        _print_whatifs(opened, files, whatifs)
    elif rivals:
        _print_compared(opened, files, clocking, rivals, whole_row=not args.names)
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


def _record(
    opened: Opened,
    files: list[FileAudit],
    clocking: Clocking,
    rivals: Rivals | None,
    whatifs: Mapping[int, WhatIf],
) -> dict[str, object]:
    return {
        "path": opened.path,
        "files": [_file_record(file, clocking, rivals, whatifs) for file in files],
        "start": json_out.totals(clocking.start),
        "all": json_out.totals(clocking.all),
    }


def _file_record(
    file: FileAudit,
    clocking: Clocking,
    rivals: Rivals | None,
    whatifs: Mapping[int, WhatIf],
) -> dict[str, object]:
    slot = file.entry.slot
    record: dict[str, object] = {
        "slot": slot,
        "name": file.entry.text,
        "name_hex": file.entry.name.hex(),
        "blocks": file.entry.blocks,
        "bytes": file.size_bytes,
        "times": json_out.staged_times(clocking.files.get(slot)),
    }
    if slot in whatifs:
        record["interleave"] = interleave_record(whatifs[slot])
    if rivals is not None:
        pair = _pair(clocking.files.get(slot), rivals)
        record["compare"] = comparison_record(*rivals, compare(*pair)) if pair else None
    return record


def _whatifs(
    opened: Opened, files: list[FileAudit], rigs: list[Rig], interleaves: range
) -> dict[int, WhatIf]:
    """By slot, of the files that can be clocked. Raises WrongCall on such an interleave."""
    try:
        return {
            file.entry.slot: interleave_whatif(opened.audit, file.entry.slot, rigs, interleaves)
            for file in files
            if file.whole and file.chain.blocks
        }
    except BadInterleave as error:
        raise WrongCall(str(error)) from error


def _print_whatifs(opened: Opened, files: list[FileAudit], whatifs: Mapping[int, WhatIf]) -> None:
    say(visible(opened.path))
    for file in files:
        _print_name(file)
        whatif = whatifs.get(file.entry.slot)
        if whatif is None:
            say(NO_TIME)
            continue
        for rig, says in whatif.says.items():
            found = bars(whatif, rig)
            say("")
            if found and not makes_no_difference(found):
                say(f"on {rig}, blocks laid so far apart:")
                print_table(INTERLEAVE_COLUMNS, interleave_rows(found, BAR_CELLS))
                say(BARS_SAY)
            say(says)


def _print_compared(
    opened: Opened,
    files: list[FileAudit],
    clocking: Clocking,
    rivals: Rivals,
    whole_row: bool,
) -> None:
    say(visible(opened.path))
    for file in files:
        _print_name(file)
        _print_pair(clocking.files.get(file.entry.slot), rivals)
    if whole_row and sum(file.loadable for file in opened.audit.files) > 1:
        say("")
        say("all programs in a row")
        _print_pair(clocking.all, rivals)


def _print_pair(times: Times | None, rivals: Rivals) -> None:
    pair = _pair(times, rivals)
    if pair is None:
        say(NO_TIME if times is None else "  no time: one of the rigs does not mount the image")
        return
    compared = compare(*pair)
    print_table(comparison_columns(*rivals), comparison_rows(*pair, compared))
    say(comparison_text(*rivals, compared))


def _pair(times: Times | None, rivals: Rivals) -> tuple[Estimate, Estimate] | None:
    before, after = (times.get(rig) if times else None for rig in rivals)
    return (before, after) if before is not None and after is not None else None


def _print_name(file: FileAudit) -> None:
    say("")
    say(f'"{file.entry.text}"  {file.walked_blocks} blocks, {file.size_bytes:,} bytes')


def _print(opened: Opened, files: list[FileAudit], clocking: Clocking, rigs: list[Rig]) -> None:
    say(visible(opened.path))
    for file in files:
        _print_name(file)
        times = clocking.files.get(file.entry.slot)
        if times is None:
            say(NO_TIME)
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
