"""Findings and verdict of each image below the paths."""

from __future__ import annotations

import argparse
from collections import Counter
from dataclasses import dataclass

from formats.audit import Audit
from formats.errors import NotAnImage
from formats.findings import Finding, Severity, Verdict
from formats.visible import visible
from loadglass.opened import Opened, open_and_audit
from loadglass.progress import Stopped
from loadglass.sources import CannotRead, Source, Walk, walk
from tui import json_out
from tui.calls import BAD, FINE, STOPPED, json_option
from tui.progress_line import shown_job
from tui.tables import say, verdict_cell, warn
from tui.wording import count_text

SHOWN_FINDINGS = 3
"""Findings named on the line of an image; --explain shows all."""


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("paths", metavar="PATH", nargs="+", help="images, archives, folders")
    parser.add_argument(
        "--only",
        metavar="VERDICT",
        choices=[verdict.value for verdict in Verdict],
        action="append",
        help="show only images of this verdict (sound, quirky, damaged, unreadable)",
    )
    parser.add_argument(
        "--explain",
        action="store_true",
        help="each finding with what the drive does and what mends it",
    )
    json_option(parser)


@dataclass
class Tally:
    verdicts: Counter[Verdict]
    failed: int = 0


def run(args: argparse.Namespace) -> int:
    tally = Tally(Counter())
    found = Walk()
    try:
        with shown_job() as job:
            for done, source in enumerate(walk(args.paths, found)):
                job.step(done, None, source.path)
                _audit_one(source, args, tally)
    except Stopped:
        warn("stopped; the images above are done")
        return STOPPED
    for problem in found.problems:
        warn(problem)
    if not args.json:
        _print_summary(tally, found)
    if not tally.verdicts and not found.problems and not tally.failed:
        warn(f"there are no images below {', '.join(map(visible, args.paths))}")
        return BAD
    bad = tally.verdicts[Verdict.DAMAGED] + tally.verdicts[Verdict.UNREADABLE]
    return BAD if bad or found.problems or tally.failed else FINE


def _audit_one(source: Source, args: argparse.Namespace, tally: Tally) -> None:
    opened: Opened | None = None
    says = ""
    try:
        opened = open_and_audit(source)
        verdict = opened.audit.verdict
    except NotAnImage as error:
        verdict, says = Verdict.UNREADABLE, str(error)
    except CannotRead as error:
        tally.failed += 1
        warn(str(error))
        return
    tally.verdicts[verdict] += 1
    if args.only and verdict.value not in args.only:
        return
    if args.json:
        json_out.emit(_record(source, verdict, opened.audit if opened else None, says))
    else:
        _print(source, verdict, opened.audit if opened else None, says, args.explain)


def _record(source: Source, verdict: Verdict, audit: Audit | None, says: str) -> dict[str, object]:
    record: dict[str, object] = {
        "path": source.path,
        "verdict": verdict.value,
        "files": len(audit.files) if audit else 0,
        "findings": [json_out.finding(item, audit) for item in audit.findings] if audit else [],
    }
    if says:
        record["says"] = says
    return record


def _print(source: Source, verdict: Verdict, audit: Audit | None, says: str, explain: bool) -> None:
    mark = verdict_cell(verdict).text.ljust(12)
    line = f"{mark}  {visible(source.path)}"
    if audit is None:
        say(f"{line}  {says}", verdict)
        return
    codes = [item.code for item in audit.findings if item.severity is not Severity.NOTE]
    named = ", ".join(dict.fromkeys(codes[:SHOWN_FINDINGS]))
    more = f" and {len(codes) - SHOWN_FINDINGS} more" if len(codes) > SHOWN_FINDINGS else ""
    say(f"{line}  {named or audit.nothing_to_load}{more}".rstrip(), verdict)
    if explain:
        for item in audit.findings:
            _explain(item, audit)


def _explain(item: Finding, audit: Audit) -> None:
    file = audit.by_slot.get(item.slot) if item.slot is not None else None
    where = f'"{file.entry.text}": ' if file else ""
    say(f"    {item.severity.value}, {item.code}: {where}{item.says}", item.severity)
    say(f"        the drive: {item.row.drive}")
    say(f"        mending: {item.row.mends}")


def _print_summary(tally: Tally, found: Walk) -> None:
    total = sum(tally.verdicts.values())
    if total < 2:
        return
    parts = [f"{tally.verdicts[verdict]:,} {verdict.value}" for verdict in Verdict]
    passed = (
        f"; {count_text(found.passed_over, 'other file')} passed over" if found.passed_over else ""
    )
    failed = f"; {tally.failed:,} could not be read" if tally.failed else ""
    say("")
    say(f"{total:,} images: {', '.join(parts)}{failed}{passed}")
