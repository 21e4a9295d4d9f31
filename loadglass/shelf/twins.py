"""The same content elsewhere: of images, of program files, and a whole copy of a damaged file.

Images are compared by their sectors, files by their bytes. A *sound twin* of a damaged file is
a whole file elsewhere of the same name, type and load address whose beginning is what can still
be read of the damaged one. The index names the candidates; they are opened to be sure.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from formats.chains import read_bytes
from formats.errors import LoadglassError
from formats.petscii import to_text
from loadglass.opened import open_and_audit
from loadglass.shelf.index import Index
from loadglass.shelf.paths import image_source
from loadglass.shelf.reading import digest
from loadglass.shelf.words import has_words, words_of
from loadglass.sources import CannotRead, source_of

READABLE_LEAST_BYTES = 256
"""Less than about a block in common says nothing: many programs begin alike."""


@dataclass(frozen=True, slots=True)
class Twin:
    """An image, or a file on it, that is the same as another."""

    image: int
    """Its id."""
    path: str
    """Of the image; may hold any bytes a file name can."""
    title: str
    slot: int | None = None
    """Of the file; None: the whole image."""
    name: str = ""
    """Of the file, as text in the upper-case set."""
    size_bytes: int = 0
    """Of the file."""
    name_bytes: bytes = b""
    """Of the file, as on the disk."""


@dataclass(frozen=True, slots=True)
class FileTwins:
    """A whole file, and where its bytes lie on other images."""

    slot: int
    name: str
    name_bytes: bytes
    twins: tuple[Twin, ...]
    more: bool
    """There are others that are not named."""


@dataclass(frozen=True, slots=True)
class SoundTwin:
    """A damaged file, and where it can be had whole."""

    slot: int
    name: str
    name_bytes: bytes
    readable_bytes: int
    """Of the damaged file: these agree with the twin's."""
    twins: tuple[Twin, ...]


_PLACE = "images.id, folders.path, images.name, images.member, images.title"
_THERE = "JOIN folders ON folders.id = images.folder_id"


def image_twins(index: Index, image: int) -> list[Twin]:
    """Other images with the same sectors, by path. Raises DatabaseTrouble."""
    with index.connected() as connection:
        rows = connection.execute(
            f"SELECT {_PLACE} FROM images {_THERE} WHERE NOT gone AND images.id <> ? "
            "AND sha256 = (SELECT sha256 FROM images WHERE id = ?)",
            (image, image),
        ).fetchall()
    return sorted((_twin(row) for row in rows), key=lambda twin: twin.path)


def file_twins(index: Index, image: int, slot: int) -> list[Twin]:
    """The same bytes as a whole file's, on this image and others, under any name, by path.

    Raises DatabaseTrouble.
    """
    with index.connected() as connection:
        rows = connection.execute(
            f"SELECT {_PLACE}, other.slot, other.name, other.size_bytes FROM entries AS mine "
            "JOIN entries AS other ON other.digest = mine.digest AND other.whole "
            f"JOIN images ON images.id = other.image_id {_THERE} "
            "WHERE mine.image_id = ? AND mine.slot = ? AND mine.whole AND NOT images.gone "
            "AND (other.image_id, other.slot) <> (?, ?)",
            (image, slot, image, slot),
        ).fetchall()
    return sorted((_twin(row) for row in rows), key=lambda twin: (twin.path, twin.slot))


def twins_of_files(index: Index, image: int, limit: int) -> list[FileTwins]:
    """The whole files of an image that lie on images of other content too, under any name.

    In slot order, with the `limit` places of each at the most, by path. Raises DatabaseTrouble.
    """
    with index.connected() as connection:
        mine = connection.execute(
            "SELECT slot, entries.name, digest, sha256 FROM entries "
            "JOIN images ON images.id = image_id "
            "WHERE image_id = ? AND whole AND digest IS NOT NULL ORDER BY slot",
            (image,),
        ).fetchall()
        found = [
            (slot, name, connection.execute(_SAME_FILE, (digest, sha256, limit + 1)).fetchall())
            for slot, name, digest, sha256 in mine
        ]
    return [
        FileTwins(
            slot,
            to_text(name),
            name,
            tuple(sorted(map(_twin, rows[:limit]), key=lambda twin: (twin.path, twin.slot))),
            len(rows) > limit,
        )
        for slot, name, rows in found
        if rows
    ]


_SAME_FILE = (
    f"SELECT {_PLACE}, slot, entries.name, entries.size_bytes FROM entries "
    f"JOIN images ON images.id = image_id {_THERE} "
    "WHERE digest = ? AND whole AND NOT gone AND sha256 IS NOT ? LIMIT ?"
)


def damaged_files(index: Index, image: int) -> list[tuple[int, bytes]]:
    """Slot and name of each file that cannot be read whole. Raises DatabaseTrouble."""
    with index.connected() as connection:
        return connection.execute(
            "SELECT slot, name FROM entries WHERE image_id = ? AND NOT whole ORDER BY slot",
            (image,),
        ).fetchall()


def image_of_content(index: Index, sha256: str, path: str) -> int | None:
    """The id of an image of that content, if there is one; of several the one at that path.

    Raises DatabaseTrouble.
    """
    with index.connected() as connection:
        rows = connection.execute(
            f"SELECT {_PLACE} FROM images {_THERE} WHERE sha256 = ? AND NOT gone "
            "ORDER BY images.id",
            (bytes.fromhex(sha256),),
        ).fetchall()
    twins = list(map(_twin, rows))
    there = [twin.image for twin in twins if twin.path == os.path.abspath(path)]
    return next(iter([*there, *(twin.image for twin in twins)]), None)


def sound_twins(index: Index, image: int) -> list[SoundTwin]:
    """Each file of an image that cannot be read whole and can be had whole elsewhere.

    Opens the images in question: what has changed since the survey, or cannot be read, does
    not count. Raises DatabaseTrouble.
    """
    with index.connected() as connection:
        damaged = connection.execute(
            "SELECT slot, name, kind, load_address, size_bytes, digest FROM entries "
            "WHERE image_id = ? AND NOT whole AND size_bytes >= ?",
            (image, READABLE_LEAST_BYTES),
        ).fetchall()
        candidates = [_candidates(index, connection, *row[1:5]) for row in damaged]
    found = []
    for (slot, name, _, _, size, begins), rows in zip(damaged, candidates, strict=True):
        twins = sorted(_sure(rows, size, begins), key=lambda twin: twin.path)
        if twins:
            found.append(SoundTwin(slot, to_text(name), name, size, tuple(twins)))
    return found


def _candidates(
    index: Index,
    connection: sqlite3.Connection,
    name: bytes,
    kind: str,
    load_address: int | None,
    size_bytes: int,
) -> list[tuple[Any, ...]]:
    """Whole files of that name, type, address and at least that size, and their images."""
    words = words_of([name])
    by_words = "1"
    parameters: tuple[str, ...] = ()
    if index.full_text and has_words(words):  # where there are no words, all are looked through
        by_words = "image_id IN (SELECT rowid FROM texts WHERE texts MATCH ?)"
        parameters = (f'names : "{words.replace(chr(34), " ")}"',)
    return connection.execute(
        f"SELECT images.size_bytes, mtime_ns, digest, {_PLACE}, slot, entries.name, "
        f"entries.size_bytes FROM entries JOIN images ON images.id = image_id {_THERE} "
        f"WHERE {by_words} AND whole AND NOT gone AND entries.name = ? AND entries.kind = ? "
        "AND load_address IS ? AND entries.size_bytes >= ?",
        (*parameters, name, kind, load_address, size_bytes),
    ).fetchall()


def _sure(rows: list[tuple[Any, ...]], readable_bytes: int, begins: bytes) -> Iterator[Twin]:
    """Those candidates that begin as the damaged file does; of equal ones one is opened."""
    known: dict[bytes, bool] = {}
    for file_bytes, mtime_ns, content, *place in rows:
        twin = _twin(tuple(place))
        if not _is_as_surveyed(twin, file_bytes, mtime_ns):
            continue
        if content not in known:
            agrees = _begins_so(twin, readable_bytes, begins)
            if agrees is None:
                continue
            known[content] = agrees
        if known[content]:
            yield twin


def _is_as_surveyed(twin: Twin, size_bytes: int, mtime_ns: int) -> bool:
    try:
        status = os.stat(source_of(twin.path).file)
    except (CannotRead, OSError):
        return False
    return (status.st_size, status.st_mtime_ns) == (size_bytes, mtime_ns)


def _begins_so(twin: Twin, readable_bytes: int, begins: bytes) -> bool | None:
    """Whether a file's first bytes have that digest; None if that cannot be told now."""
    try:
        opened = open_and_audit(twin.path)
    except LoadglassError:
        return None
    file = opened.audit.by_slot.get(twin.slot or 0)
    if file is None or not file.whole or file.entry.text != twin.name:
        return None
    data = read_bytes(opened.image, file.chain)
    return digest(data[:readable_bytes]) == begins


def _twin(row: tuple[Any, ...]) -> Twin:
    image, folder, name, member, title, *file = row
    path = image_source(folder, name, member).path
    if not file:
        return Twin(image, path, title)
    slot, file_name, size_bytes = file
    return Twin(image, path, title, slot, to_text(file_name), size_bytes, file_name)
