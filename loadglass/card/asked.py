"""What is asked for: picks, or what a filter lets through, as candidates for the card."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import replace

from formats.geometry import LAYOUTS
from loadglass.card.candidates import Candidate
from loadglass.shelf.choices import Choices
from loadglass.shelf.index import Index
from loadglass.shelf.names import read_name, stem
from loadglass.shelf.query import Shelf
from loadglass.shelf.rows import ShelfRow
from loadglass.shelf.sets import DiskSet, disk_sets
from loadglass.sources import GZIP_SUFFIX, CannotRead, source_of

PICKED, PICKED_AND_GONE = "picked:yes", "picked:yes gone:yes"

NOMINAL_BYTES = {
    **{layout.name: layout.size_bytes for layout in LAYOUTS},
    **{f"{layout.name} with error bytes": layout.size_bytes + layout.blocks for layout in LAYOUTS},
}
"""By layout in words, as on the shelf: bytes of an image, unpacked."""


def asked_for(
    shelf: Shelf, index: Index, choices: Choices, where: str | None, whole_sets: bool
) -> list[Candidate]:
    """Candidates: what the filter lets through; without one the picks; without picks everything.

    whole_sets: the other disks of their sets come with them. Raises FilterError,
    DatabaseTrouble.
    """
    by_picks = where is None and shelf.count(PICKED) + shelf.count(PICKED_AND_GONE) > 0
    rows = _picks(shelf) if by_picks else list(shelf.rows(where or ""))
    sets = _sets_by_image(disk_sets(index, choices))
    if whole_sets:
        rows += _mates(shelf, rows, sets)
    copies = Counter(row.sha256 for row in rows if row.sha256)
    named = by_picks or where is not None
    return [_candidate(row, sets.get(row.id), copies[row.sha256] > 1, named) for row in rows]


def _picks(shelf: Shelf) -> list[ShelfRow]:
    """Rows of picked content; of what is nowhere any more, one that says so."""
    there = list(shelf.rows(PICKED))
    known = {row.sha256 for row in there}
    gone = {row.sha256: row for row in shelf.rows(PICKED_AND_GONE) if row.sha256 not in known}
    return [*there, *gone.values()]


def _sets_by_image(sets: Iterable[DiskSet]) -> dict[int, tuple[str, DiskSet]]:
    return {
        disk.id: (f"{number} {each.name}", each)
        for number, each in enumerate(sets)
        for disk in each.disks
    }


def _mates(
    shelf: Shelf, rows: Iterable[ShelfRow], sets: dict[int, tuple[str, DiskSet]]
) -> Iterator[ShelfRow]:
    """Disks of the same sets that were not asked for themselves."""
    here = {row.id for row in rows}
    wanted = {disk.id for image in here if image in sets for disk in sets[image][1].disks}
    for image in sorted(wanted - here):
        row = shelf.row(image)
        if row is not None and not row.off:
            yield row


def _candidate(
    row: ShelfRow, of_set: tuple[str, DiskSet] | None, is_twin: bool, named: bool
) -> Candidate:
    size_bytes, archive = _file_facts(row)
    found = Candidate(
        path=row.path,
        sha256=row.sha256,
        title=row.title,
        file_name=row.file_name,
        size_bytes=size_bytes,
        verdict=row.verdict,
        kind=row.kind,
        start_s=row.start_s,
        all_s=row.all_s,
        rating=row.rating,
        tags=row.tags,
        twins=row.sha256 if is_twin else "",
        gone=row.gone,
        why=row.why,
        archive=archive,
        named=named,
    )
    if of_set is None:
        return found
    set_id, disks = of_set
    parts = _parts(disks)
    return replace(
        found,
        set_id=set_id,
        set_name=disks.name,
        set_part=parts[row.id],
        set_parts=len(set(parts.values())),
    )


def _file_facts(row: ShelfRow) -> tuple[int, str]:
    """Size of the image, and the archive that it is in if it is in one; nothing is opened.

    Of a packed image, or one that cannot be found, the size is its layout's.
    """
    nominal_bytes = NOMINAL_BYTES.get(row.kind, 0)
    try:
        source = source_of(row.path)
        if source.member is not None:
            return nominal_bytes, source.file
        if not source.file.lower().endswith(GZIP_SUFFIX):
            return os.stat(source.file).st_size, ""
    except (OSError, CannotRead):
        pass  # reading it will say why
    return nominal_bytes, ""


def _parts(disks: DiskSet) -> dict[int, int]:
    """Of each image which disk of its set it is; those of which nothing says it, on their own."""
    said = {disk.id: read_name(stem(disk.file_name)).part for disk in disks.disks}
    by_title = {disk.id: read_name(disk.title).part for disk in disks.disks}
    if not any(said.values()):
        said = by_title
    unsaid = [disk.id for disk in disks.disks if not said[disk.id]]
    return {**said, **{image: -place for place, image in enumerate(unsaid, start=1)}}
