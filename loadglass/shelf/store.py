"""Writing what was read into the index."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence

from loadglass.shelf.changes import Archive, ToDo
from loadglass.shelf.record import ImageColumns, Record, Row
from loadglass.timing.rig import Rig

_IMAGE = f"""
INSERT INTO images (folder_id, name, member, gone, {", ".join(ImageColumns._fields)})
VALUES (?, ?, ?, 0, {", ".join("?" * len(ImageColumns._fields))})
"""
_CHANGED_IMAGE = f"""
UPDATE images SET gone = 0, {", ".join(f"{name} = ?" for name in ImageColumns._fields)}
WHERE id = ?
"""


class Store:
    """Writes records within a transaction; rows of a table together, at the end."""

    def __init__(self, connection: sqlite3.Connection, rig_ids: dict[str, int]) -> None:
        self._connection = connection
        self._rig_ids = rig_ids
        self._folders: dict[bytes, int] = {}
        self._places: list[Row] = []
        self._entries: list[Row] = []
        self._texts: list[Row] = []
        self._times: list[Row] = []

    def image(self, to_do: ToDo, record: Record, rigs: Sequence[Rig]) -> None:
        key = (self._folder(to_do.folder), to_do.name, to_do.member)
        known = self._connection.execute(
            "SELECT id FROM images WHERE folder_id = ? AND name = ? AND member = ?", key
        ).fetchone()
        if known is None:
            image = self._connection.execute(_IMAGE, (*key, *record.columns)).lastrowid
        else:
            (image,) = known
            self._connection.execute(_CHANGED_IMAGE, (*record.columns, image))
            self._forget(image)
        self._texts.append((image, *record.texts))
        self._entries += [(image, *entry) for entry in record.entries]
        if record.places:
            self._places.append((image, record.places))
        for rig, times in zip(rigs, record.times, strict=False):
            if rig.name in self._rig_ids:
                self._times.append((self._rig_ids[rig.name], image, *times))

    def archive(self, archive: Archive) -> None:
        self._connection.execute(
            "INSERT OR REPLACE INTO archives VALUES (?, ?, ?, ?, ?)",
            (
                *(self._folder(archive.folder), archive.name),
                *(archive.size_bytes, archive.mtime_ns, archive.passed_over),
            ),
        )

    def flush(self) -> None:
        for table, columns, rows in (
            ("texts (rowid, title, names, file)", 4, self._texts),
            ("entries", 8, self._entries),
            ("places", 2, self._places),
            ("times", 5, self._times),
        ):
            marks = ", ".join("?" * columns)
            self._connection.executemany(f"INSERT INTO {table} VALUES ({marks})", rows)

    def _folder(self, path: bytes) -> int:
        if path not in self._folders:
            self._connection.execute("INSERT OR IGNORE INTO folders (path) VALUES (?)", (path,))
            row = self._connection.execute("SELECT id FROM folders WHERE path = ?", (path,))
            self._folders[path] = row.fetchone()[0]
        return self._folders[path]

    def _forget(self, image: int) -> None:
        """All that the index has of an image besides its own row."""
        execute = self._connection.execute
        execute("DELETE FROM texts WHERE rowid = ?", (image,))
        execute("DELETE FROM entries WHERE image_id = ?", (image,))
        execute("DELETE FROM places WHERE image_id = ?", (image,))
        # Of every rig there is: one with other figures than ours must not keep the old times.
        execute(
            "DELETE FROM times WHERE image_id = ? AND rig_id IN (SELECT id FROM rigs)", (image,)
        )
