"""Index folders of images: new and changed ones are read, vanished ones noted.

Running it again goes on where it stopped; unchanged images are not opened again.
"""

from __future__ import annotations

import argparse

import humanize

from formats.visible import visible
from loadglass.home import home
from loadglass.shelf.index import open_index
from loadglass.shelf.survey import SurveyResult, SurveyStopped, survey
from tui import json_out
from tui.calls import BAD, FINE, STOPPED, json_option
from tui.progress_line import shown_job
from tui.rig_calls import known_rigs
from tui.tables import say, warn
from tui.wording import count_text

SHOWN_PROBLEMS = 20


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("paths", metavar="DIR", nargs="*", help="folders, archives, images")
    parser.add_argument("--workers", type=int, metavar="N", help="processes that read images")
    parser.add_argument(
        "--again", action="store_true", help="the folders that were surveyed before"
    )
    json_option(parser)


def run(args: argparse.Namespace) -> int:
    index = open_index(home().index)
    for notice in index.notices:
        warn(notice)
    paths = [*args.paths, *(index.roots() if args.again else [])]
    if not paths:
        warn("name the folders to survey, or say --again for those of before")
        return BAD
    status = FINE
    try:
        with shown_job() as job:
            result = survey(index, paths, list(known_rigs().rigs.values()), job, args.workers)
    except SurveyStopped as stopped:
        warn("stopped; what was finished is kept, and the next survey goes on from there")
        result, status = stopped.result, STOPPED
    for problem in result.problems[:SHOWN_PROBLEMS]:
        warn(problem)
    if len(result.problems) > SHOWN_PROBLEMS:
        warn(f"and {len(result.problems) - SHOWN_PROBLEMS:,} more like these")
    if args.json:
        json_out.emit(_record(result))
    else:
        _print(result, paths)
    if status is FINE and not result.images and result.problems:
        return BAD
    return status


def _record(result: SurveyResult) -> dict[str, object]:
    return {
        "images": result.images,
        "added": result.added,
        "changed": result.changed,
        "unchanged": result.unchanged,
        "gone": result.gone,
        "failed": result.failed,
        "seconds": json_out.seconds(result.seconds),
        "passed_over": result.passed_over,
    }


def _print(result: SurveyResult, paths: list[str]) -> None:
    took = humanize.precisedelta(result.seconds, minimum_unit="milliseconds", format="%0.0f")
    say(f"{count_text(result.images, 'image')} below {', '.join(map(visible, paths))} in {took}")
    say(
        f"{result.added:,} added, {result.changed:,} changed, {result.unchanged:,} unchanged, "
        f"{result.gone:,} gone, {result.failed:,} unreadable; "
        f"{count_text(result.passed_over, 'other file')} passed over"
    )
