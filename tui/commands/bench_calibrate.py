"""Fit a rig to its readings, and write it as a rig of your own.

From two or more readings of different lengths the loader's own start and its time for a byte
are fitted, otherwise the byte time alone. With four or more readings a wild one is left out,
with six or more two of them, and said. The ranges become as wide as the readings support.
"""

from __future__ import annotations

import argparse

from formats.visible import visible
from loadglass.bench.calibrate import calibrate, evidence_for
from loadglass.home import home
from loadglass.own_rigs import save_rig
from loadglass.saving import AlreadyThere
from loadglass.timing.rig import RigError
from tui import calibrations, json_out
from tui.bench_calls import kept_readings
from tui.calls import FINE, WrongCall, json_option
from tui.rig_calls import known_rigs, named_rig
from tui.tables import print_table, say

PLOT_CELLS, PLOT_LINES = 60, 16


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("rig", metavar="R", help="the rig that the readings were taken on")
    parser.add_argument("--name", metavar="NAME", help="of the new rig; default: my-R")
    parser.add_argument("--dry-run", action="store_true", help="only say what it would do")
    parser.add_argument("--overwrite", action="store_true", help="the new rig may be there already")
    json_option(parser)


def run(args: argparse.Namespace) -> int:
    known = known_rigs()
    base, readings = evidence_for(named_rig(known, args.rig), known.rigs, kept_readings())
    try:
        calibration = calibrate(base, readings, args.name)
    except RigError as error:
        raise WrongCall(str(error)) from error
    path = None
    if not args.dry_run:
        try:
            path = str(save_rig(calibration.rig, home().rigs, overwrite=args.overwrite))
        except AlreadyThere as error:
            raise AlreadyThere(f"{error}: give another --name, or say --overwrite") from None
    if args.json:
        json_out.emit(calibrations.record(calibration, path))
        return FINE
    say(calibrations.title(calibration))
    say("")
    print_table(
        calibrations.FIGURE_COLUMNS,
        [change.cells for change in calibrations.changes(calibration.base, calibration.rig)],
    )
    say(calibrations.SPREAD_SAYS)
    say("")
    print_table(
        calibrations.COMPARISON_COLUMNS,
        [calibrations.comparison_cells(each) for each in calibration.comparisons],
    )
    say("")
    for line in calibrations.plot(calibration, PLOT_CELLS, PLOT_LINES):
        say(line)
    say("")
    say(calibrations.PLOT_SAYS)
    say(calibrations.width_sentence(calibration))
    say(f"{calibrations.demerit_text(calibration)} ({calibrations.DEMERIT_SAYS})")
    for note in calibration.notes:
        say(note)
    say("")
    if path is None:
        say("nothing is written: this was a dry run")
    else:
        say(f"{visible(path)} is written: use it as --rig {calibration.rig.name}")
    return FINE
