"""Write a repaired copy of an image, and say what was done and what is left.

It never forges soundness: a file whose chain was broken stays marked unclosed, error bytes
stay, and the image itself is only read.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from formats.findings import Verdict
from formats.mend import Mended, mend
from formats.visible import visible
from loadglass.mending import save_copy
from loadglass.opened import open_and_audit
from loadglass.saving import AlreadyThere
from tui import json_out
from tui.calls import BAD, FINE, WrongCall, json_option
from tui.tables import say, verdict_cell


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("image", metavar="IMAGE", help="an image, or archive.zip/member")
    parser.add_argument("copy", metavar="COPY", nargs="?", help="where the copy goes")
    parser.add_argument("--dry-run", action="store_true", help="only say what it would do")
    parser.add_argument("--overwrite", action="store_true", help="COPY may be there already")
    parser.add_argument(
        "--free-strands",
        action="store_true",
        help="free blocks that the map marks used though nothing explains them",
    )
    parser.add_argument(
        "--restore",
        metavar="NAME",
        action="append",
        default=[],
        help="bring back a scratched file whose blocks are whole; may be given several times",
    )
    json_option(parser)


def run(args: argparse.Namespace) -> int:
    if args.copy is None and not args.dry_run:
        raise WrongCall("name the COPY to write, or ask for a --dry-run")
    opened = open_and_audit(args.image)
    mended = mend(opened.audit, free_strands=args.free_strands, restore=args.restore)
    if not args.dry_run:
        try:
            save_copy(opened, mended, Path(args.copy), overwrite=args.overwrite)
        except AlreadyThere as error:
            raise AlreadyThere(f"{error}: name another copy, or say --overwrite") from None
    if args.json:
        json_out.emit(_record(args, mended))
    else:
        _print(args, mended)
    return BAD if mended.after.verdict is Verdict.DAMAGED else FINE


def _record(args: argparse.Namespace, mended: Mended) -> dict[str, object]:
    return {
        "path": args.image,
        "copy": None if args.dry_run else args.copy,
        "done": mended.done,
        "left": mended.left,
        "before": mended.before.verdict.value,
        "after": mended.after.verdict.value,
    }


def _print(args: argparse.Namespace, mended: Mended) -> None:
    would = "would be " if args.dry_run else ""
    for title, sentences in ((f"{would}done:", mended.done), (f"{would}left:", mended.left)):
        say(title)
        for sentence in sentences or ["nothing"]:
            say(f"  {sentence}")
    before, after = mended.before.verdict, mended.after.verdict
    say(f"before: {verdict_cell(before).text}", before)
    say(f"after:  {verdict_cell(after).text}", after)
    if not args.dry_run:
        say(f"{visible(args.copy)} is written; {visible(args.image)} is as it was")
