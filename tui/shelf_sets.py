"""Sets, and what stands beside images, as text for people and as JSON."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from formats.visible import visible
from loadglass.shelf.beside import Beside
from loadglass.shelf.rows import ShelfRow
from loadglass.shelf.sets import DiskSet, marks_of
from loadglass.shelf.twins import FileTwins, SoundTwin
from tui import json_out
from tui.beside_words import came_about, sections
from tui.tables import Cell, Column, print_table, say, verdict_cell

Rows = Mapping[int, ShelfRow]


def set_record(disks: DiskSet, rows: Rows) -> dict[str, Any]:
    """The keys of `loadglass shelf --sets --json`."""
    marks = marks_of(disks)
    return {
        "name": disks.name,
        "by": "you" if disks.by_user else "names",
        "disks": [
            {**_place(rows[disk.id]), "mark": marks[disk.id]}
            for disk in disks.disks
            if disk.id in rows
        ],
    }


def beside_record(found: Beside) -> dict[str, Any]:
    """The keys of `loadglass shelf --twins --json`."""
    disks, image = found.disk_set, found.image
    return {
        **_place(image),
        "set": None if disks is None else set_record(disks, found.rows),
        "set_by_you": found.said.get(image.id),
        "same": [_place(found.rows[twin.image]) for twin in found.same],
        "files": [{**_twins(found, file), "more": file.more} for file in found.files],
        "sound": [
            {**_twins(found, file), "readable_bytes": file.readable_bytes} for file in found.sound
        ],
        "lost": [{"slot": slot, "name": name} for slot, name in found.lost],
    }


def _place(row: ShelfRow) -> dict[str, Any]:
    return {
        "path": row.path,
        "title": row.title,
        "verdict": row.verdict.value,
        "sha256": row.sha256,
    }


def _twins(found: Beside, file: FileTwins | SoundTwin) -> dict[str, Any]:
    return {
        "slot": file.slot,
        "name": file.name,
        "name_hex": file.name_bytes.hex(),
        "twins": [
            {
                **_place(row),
                "start": {
                    rig: None if s is None else json_out.seconds(s)
                    for rig, s in row.start_s.items()
                },
                "slot": twin.slot,
                "name": twin.name,
                "name_hex": twin.name_bytes.hex(),
                "bytes": twin.size_bytes,
            }
            for twin in file.twins
            if (row := found.rows.get(twin.image)) is not None
        ],
    }


def print_sets(sets: Iterable[DiskSet], rows: Rows) -> None:
    """A line for each disk of each set."""
    columns = [
        *(Column("Set", wraps=True), Column("How"), Column("Disk"), Column("Title")),
        *(Column("Image", wraps=True), Column("Verdict")),
    ]
    lines: list[Sequence[str | Cell]] = []
    for disks in sets:
        marks = marks_of(disks)
        head = [visible(disks.name), came_about(disks)]
        for disk in disks.disks:
            row = rows.get(disk.id)
            if row is not None:
                which, verdict = marks[disk.id] or "no mark", verdict_cell(row.verdict)
                which += ", a copy" * (disk.id in disks.copies)
                lines.append([*head, which, row.shown_title, row.file_name, verdict])
                head = ["", ""]
    print_table(columns, lines)


def print_beside(found: Beside) -> None:
    """What stands beside an image, in the sections of the screen."""
    say(f"{found.image.shown_title}  {visible(found.image.path)}")
    for section in sections(found):
        say(f"  {section.heading}")
        for item in section.items:
            row = item.row
            verdict = verdict_cell(row.verdict).text
            say(f"    {item.lead:<28}  {row.shown_title:<16}  {verdict:<12}  {visible(row.path)}")
        for sentence in section.says:
            say(f"    {sentence}")
