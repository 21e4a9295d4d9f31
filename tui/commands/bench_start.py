"""Time a load with the stopwatch on this terminal.

Press space when you press RETURN on the machine, and again at READY, or at the title's own
start. Then k keeps the reading, backspace throws it away. Without NAME it is the first program
that is timed. A name is typed as on the machine: letters in either case, * and ? as there.
"""

from __future__ import annotations

import argparse
import sys

from formats.errors import LoadglassError
from formats.visible import visible
from loadglass.opened import open_and_audit
from tui.bench_calls import keep, reading_of, timed_arguments, timed_of
from tui.calls import BAD, FINE, WrongCall, json_option
from tui.diagnoses import diagnosis
from tui.readings import Prediction, timed_text
from tui.rig_calls import known_rigs, named_rig
from tui.tables import warn


def arguments(parser: argparse.ArgumentParser) -> None:
    timed_arguments(parser)
    json_option(parser)


def run(args: argparse.Namespace) -> int:
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise WrongCall(
            "the stopwatch needs a terminal: take the reading with another one, and add it with "
            "`loadglass bench add --seconds S`"
        )
    known = known_rigs()
    rig = named_rig(known, args.rig)
    opened = open_and_audit(args.image)
    timed = timed_of(args, opened)
    estimate = timed.estimate(rig)
    if estimate is None:
        raise WrongCall(f"the rig {rig.name} does not mount {visible(args.image)}: name another")
    from tui.stopwatch_app import StopwatchScreen, read_stopwatch  # Textual only for the screen

    screen = StopwatchScreen(
        f"{timed_text(timed)} on {rig.name}",
        Prediction.of(estimate),
        args.remark,
        lambda seconds: diagnosis(
            reading_of(timed, rig, seconds, ""), known.rigs.values(), opened.audit
        ),
    )
    read = read_stopwatch(screen)
    if read is None:
        warn("no reading was kept")
        return BAD
    try:
        reading = reading_of(timed, rig, read.seconds, read.remark)
        keep(reading, known, opened.audit, as_json=args.json)
    except LoadglassError:
        warn(f"the reading was {read.seconds:.2f} s: `loadglass bench add` can add it later")
        raise
    return FINE
