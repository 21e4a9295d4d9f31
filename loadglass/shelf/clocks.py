"""The times in the index: of every image on every rig, and of no figures but the rig's own now.

A row of `times` is always of the figures that its rig's fingerprint stands for. So a rig that
is new or has other figures only has rows missing, and to clock is to fill in what is missing.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterable, Sequence

from loadglass.progress import Job
from loadglass.shelf.database import writing
from loadglass.shelf.index import Index
from loadglass.timing.rig import Rig

CLOCK_VERSION = 1
"""Grows whenever the same figures may give other times than before."""
BATCH_IMAGES = 200


def fingerprint(rig: Rig) -> str:
    """Stands for all that the times on a rig depend on."""
    figures = [(name, figure.value) for name, figure in sorted(rig.figures.items())]
    said = (CLOCK_VERSION, rig.drive, rig.loader, rig.order, sorted(rig.layouts), figures)
    return hashlib.sha256(repr(said).encode()).hexdigest()[:32]


def reclock(index: Index, rigs: Sequence[Rig], job: Job | None = None) -> int:
    """Clock what is not yet clocked on these rigs, and forget all others; opens no image.

    Returns how many images that took. Raises DatabaseTrouble, Stopped (what is clocked stays).
    """
    with index.connected() as connection:
        return bring_up_to_date(connection, rigs, job or Job())


def bring_up_to_date(connection: sqlite3.Connection, rigs: Sequence[Rig], job: Job) -> int:
    """As reclock, on a connection. Raises sqlite3.Error, Stopped."""
    _register(connection, rigs)
    ids = valid_ids(connection, rigs)
    (images,) = connection.execute("SELECT count(*) FROM places").fetchone()
    count = "SELECT count(*) FROM times WHERE rig_id = ?"
    open_rigs = [
        (rig, ids[rig.name])
        for rig in rigs
        if rig.name in ids and connection.execute(count, (ids[rig.name],)).fetchone()[0] < images
    ]
    done = clocked = 0
    last = -1
    while open_rigs:
        batch = connection.execute(
            "SELECT image_id, packed FROM places WHERE image_id > ? ORDER BY image_id LIMIT ?",
            (last, BATCH_IMAGES),
        ).fetchall()
        if not batch:
            break
        missing = _missing(connection, [image for image, _ in batch], open_rigs)
        if missing:
            _clock_batch(connection, [row for row in batch if row[0] in missing], open_rigs)
        last = batch[-1][0]
        done += len(batch)
        clocked += len(missing)
        job.step(done, images, "clocking")
    return clocked


def valid_ids(connection: sqlite3.Connection, rigs: Iterable[Rig]) -> dict[str, int]:
    """Id by name of those rigs whose times in the index are of the figures they have here."""
    rows = connection.execute("SELECT name, fingerprint, id FROM rigs").fetchall()
    known = {(name, mark): number for name, mark, number in rows}
    pairs = ((rig.name, known.get((rig.name, fingerprint(rig)))) for rig in rigs)
    return {name: number for name, number in pairs if number is not None}


def _register(connection: sqlite3.Connection, rigs: Sequence[Rig]) -> None:
    """Make the rigs in the index these, without the times that are of other figures."""
    wanted = {rig.name: fingerprint(rig) for rig in rigs}
    known = {
        name: (number, mark)
        for number, name, mark in connection.execute("SELECT id, name, fingerprint FROM rigs")
    }
    if wanted == {name: mark for name, (_, mark) in known.items()}:
        return
    with writing(connection):
        for name, (number, mark) in known.items():
            if wanted.get(name) != mark:
                connection.execute("DELETE FROM times WHERE rig_id = ?", (number,))
                connection.execute("DELETE FROM rigs WHERE id = ?", (number,))
        connection.executemany(
            "INSERT OR IGNORE INTO rigs (name, fingerprint) VALUES (?, ?)", wanted.items()
        )


def _missing(
    connection: sqlite3.Connection, images: Sequence[int], rigs: Sequence[tuple[Rig, int]]
) -> set[int]:
    """Which of the images, in order of id, lack a time on one of the rigs."""
    missing = set()
    for _, rig_id in rigs:
        there = connection.execute(
            "SELECT image_id FROM times WHERE rig_id = ? AND image_id BETWEEN ? AND ?",
            (rig_id, images[0], images[-1]),
        )
        missing |= set(images).difference(image for (image,) in there)
    return missing


def _clock_batch(
    connection: sqlite3.Connection,
    batch: Sequence[tuple[int, bytes]],
    rigs: Sequence[tuple[Rig, int]],
) -> None:
    from loadglass.shelf.reading import clock  # only where there is something to clock
    from loadglass.timing.places import ImagePlaces

    places = [ImagePlaces.from_bytes(packed) for _, packed in batch]
    clocked = list(clock(places, [rig for rig, _ in rigs]))
    with writing(connection):
        still_valid = valid_ids(connection, [rig for rig, _ in rigs])
        for (image, _), times in zip(batch, clocked, strict=True):
            connection.executemany(
                "INSERT OR IGNORE INTO times VALUES (?, ?, ?, ?, ?)",
                [
                    (rig_id, image, *row)
                    for (rig, rig_id), row in zip(rigs, times, strict=True)
                    if still_valid.get(rig.name) == rig_id
                ],
            )
