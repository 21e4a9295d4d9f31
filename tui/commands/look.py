"""Title, directory with blocks, verdict, and load times of one image."""

from __future__ import annotations

import argparse

from formats.audit import Audit, FileAudit
from formats.errors import NotAnImage
from formats.findings import Finding, Verdict
from formats.petscii import to_text
from formats.visible import visible
from loadglass.opened import Opened, open_and_audit
from loadglass.timing.estimate import Clocking, clock_image
from loadglass.timing.rig import Rig
from tui import json_out
from tui.calls import BAD, FINE, json_option
from tui.rig_calls import chosen_rigs, rig_option
from tui.tables import Cell, Column, print_table, print_totals, say, seconds_text, verdict_cell


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("image", metavar="IMAGE", help="an image, or archive.zip/member")
    rig_option(parser)
    json_option(parser)


def run(args: argparse.Namespace) -> int:
    rigs = chosen_rigs(args.rig)
    try:
        opened = open_and_audit(args.image)
    except NotAnImage as error:
        if args.json:
            json_out.emit(unreadable(args.image, str(error)))
        raise
    clocking = clock_image(opened.audit, rigs)
    if args.json:
        json_out.emit(_record(opened, clocking))
    else:
        _print(opened, clocking, rigs)
    return BAD if opened.audit.verdict is Verdict.DAMAGED else FINE


def unreadable(path: str, says: str) -> dict[str, object]:
    return {
        "path": path,
        "kind": None,
        "title": None,
        "id": None,
        "tracks": None,
        "blocks_free": None,
        "verdict": Verdict.UNREADABLE.value,
        "files": [],
        "findings": [],
        "says": says,
    }


def _record(opened: Opened, clocking: Clocking) -> dict[str, object]:
    audit = opened.audit
    return {
        "path": opened.path,
        "kind": opened.image.kind,
        **json_out.title(audit),
        "tracks": opened.image.geometry.tracks,
        "blocks_free": audit.block_map.blocks_free,
        "verdict": audit.verdict.value,
        "files": [json_out.file(f, clocking.files.get(f.entry.slot)) for f in audit.files],
        "findings": [json_out.finding(item, audit) for item in audit.findings],
        "start": json_out.totals(clocking.start),
        "all": json_out.totals(clocking.all),
    }


def _print(opened: Opened, clocking: Clocking, rigs: list[Rig]) -> None:
    audit = opened.audit
    directory = audit.directory
    say(visible(opened.path))
    say(
        f'"{to_text(directory.title)}" {to_text(directory.disk_id)}, '
        f"{opened.image.kind}, {audit.block_map.blocks_free} blocks free"
    )
    say(f"verdict: {verdict_cell(audit.verdict).text}", audit.verdict)
    say("")
    if audit.files:
        _print_directory(audit, clocking, rigs)
    else:
        say("No files in the directory.")
    if audit.findings:
        say("")
        print_table(FINDING_COLUMNS, [finding_row(item, audit) for item in audit.findings])


def _print_directory(audit: Audit, clocking: Clocking, rigs: list[Rig]) -> None:
    columns = [
        Column("Blocks", right=True),
        Column("Name"),
        Column("Type"),
        Column("Loads at"),
        Column("Verdict"),
        *(Column(rig.name, right=True, wraps=True) for rig in rigs),
    ]
    rows: list[list[str | Cell]] = [
        [*_entry_cells(file), *_times(clocking.files.get(file.entry.slot), rigs)]
        for file in audit.files
    ]
    print_table(columns, rows)
    say("")
    print_totals(clocking)


def _times(times: object, rigs: list[Rig]) -> list[str | Cell]:
    if not isinstance(times, dict):
        return ["-"] * len(rigs)
    return [seconds_text(times.get(rig.name)) for rig in rigs]


def _entry_cells(file: FileAudit) -> list[str | Cell]:
    entry = file.entry
    address = file.load_address
    return [
        str(entry.blocks),
        f'"{entry.text}"{to_text(entry.after_name)}',
        entry.listed_type,
        "" if address is None else f"{address:04X}",
        verdict_cell(file.verdict),
    ]


FINDING_COLUMNS = [
    Column("Finding"),
    Column("File"),
    Column("At"),
    Column("Code"),
    Column("Says", wraps=True),
]


def finding_row(item: Finding, audit: Audit) -> list[str | Cell]:
    file = audit.by_slot.get(item.slot) if item.slot is not None else None
    return [
        Cell(item.severity.value, item.severity),
        f'"{file.entry.text}"' if file else "",
        str(item.place) if item.place else "",
        item.code,
        item.says,
    ]
