"""What the bench's commands share: what is timed, on which rig, and the log."""

from __future__ import annotations

import argparse

from formats.audit import Audit
from loadglass.bench.log import BenchLog
from loadglass.bench.reading import (
    BadReading,
    Reading,
    Timed,
    take_reading,
    timed_all,
    timed_file,
    timed_start,
)
from loadglass.home import home
from loadglass.opened import Opened
from loadglass.timing.rig import Rig
from loadglass.timing.rig_files import Rigs
from tui import json_out
from tui.calls import WrongCall
from tui.commands.clock import chosen_files
from tui.diagnoses import diagnosis
from tui.readings import Prediction, record, timed_text
from tui.tables import say, warn
from tui.wording import seconds_text


def timed_arguments(parser: argparse.ArgumentParser) -> None:
    """What is timed and on which rig."""
    parser.add_argument("image", metavar="IMAGE", help="an image, or archive.zip/member")
    parser.add_argument(
        "name",
        metavar="NAME",
        nargs="?",
        help="the file; default: the first program",
    )
    parser.add_argument("--all", action="store_true", help="all programs of the image in a row")
    parser.add_argument("--rig", metavar="R", required=True, help="the rig that is timed")
    parser.add_argument("--remark", metavar="TEXT", default="", help="kept beside the reading")


def timed_of(args: argparse.Namespace, opened: Opened) -> Timed:
    """What a call times. Raises WrongCall, and BadReading where that has no time."""
    if args.all:
        if args.name is not None:
            raise WrongCall(f"NAME and --all: time {args.name} or all programs, not both")
        return timed_all(opened)
    if args.name is None:
        return timed_start(opened)
    (file,) = chosen_files(opened, [args.name])
    return timed_file(opened, file.entry.slot)


def reading_of(timed: Timed, rig: Rig, seconds: float, remark: str) -> Reading:
    """A reading that is not yet in the log. Raises WrongCall if the rig mounts no such image."""
    try:
        return take_reading(timed, rig, seconds, remark)
    except BadReading as error:
        raise WrongCall(str(error)) from error


def kept_log() -> BenchLog:
    """The user's bench log."""
    return BenchLog(home().bench_log)


def kept_readings() -> list[Reading]:
    """All readings of the user's log; says what could not be taken from it."""
    contents = kept_log().read()
    for problem in contents.problems:
        warn(problem)
    return list(contents.readings.values())


def keep(reading: Reading, rigs: Rigs, audit: Audit, *, as_json: bool) -> None:
    """Put a reading into the log, and then say so, and what it may mean."""
    (kept,) = kept_log().add([reading])
    means = diagnosis(kept, rigs.rigs.values(), audit)
    if as_json:
        json_out.emit({**record(kept), "diagnosis": means})
        return
    predicted = Prediction.then(kept)
    say(
        f"reading {kept.id} is in the log: {timed_text(kept.timed)} took "
        f"{seconds_text(kept.seconds)} on {kept.rig}; {predicted.text}"
    )
    say(predicted.compared_text(kept.seconds))
    for sentence in means:
        say(sentence)
