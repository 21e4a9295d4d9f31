"""What has changed below the surveyed paths since the index last saw them; opens no image."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from formats.findings import AUDIT_VERSION
from formats.visible import visible
from loadglass.progress import Job
from loadglass.shelf.database import temporary_writing, writing
from loadglass.shelf.paths import image_source, member_bytes
from loadglass.sources import (
    CannotRead,
    Listing,
    Source,
    Walk,
    is_archive,
    list_below,
    members,
    source_of,
)

TO_DO = """
CREATE TEMP TABLE to_do (
    number INTEGER PRIMARY KEY,
    folder BLOB NOT NULL,
    name BLOB NOT NULL,
    member BLOB NOT NULL,
    size_bytes INTEGER NOT NULL,
    mtime_ns INTEGER NOT NULL,
    is_known INTEGER NOT NULL,
    is_changed INTEGER NOT NULL
)
"""
"""On disk like all temporary tables: a first survey of a million images takes little memory."""


class ToDo(NamedTuple):
    """An image that has to be read; the columns of to_do."""

    number: int
    folder: bytes
    name: bytes
    member: bytes
    size_bytes: int
    mtime_ns: int
    is_known: bool
    is_changed: bool
    """The file on disk is another than the index has seen; otherwise only our audit is."""

    @property
    def source(self) -> Source:
        return image_source(self.folder, self.name, self.member)


class _Known(NamedTuple):
    """An image of a folder as the index has it."""

    size_bytes: int
    mtime_ns: int
    audit_version: int
    gone: int
    id: int


@dataclass
class Archive:
    """A zip archive that has been listed anew."""

    folder: bytes
    name: bytes
    size_bytes: int
    mtime_ns: int
    passed_over: int
    waiting: int
    """Of its images still to be read; at 0 the index may note it as done."""


@dataclass
class Changes:
    """What a walk has found; the images to be read are in the temporary table to_do."""

    unchanged: int = 0
    gone: int = 0
    to_do: int = 0
    archives: dict[tuple[bytes, bytes], Archive] = field(default_factory=dict)


def find_changes(
    connection: sqlite3.Connection, paths: Sequence[str], found: Walk, job: Job
) -> Changes:
    """Compare what lies below the paths with the index; marks what has gone or come back.

    Raises sqlite3.Error, Stopped.
    """
    connection.execute("DROP TABLE IF EXISTS temp.to_do")
    connection.execute(TO_DO)
    return _Comparison(connection, found, job).run(_without_those_below_others(paths))


def _without_those_below_others(paths: Sequence[str]) -> list[str]:
    """Absolute paths, each folder once."""
    absolute = list(dict.fromkeys(os.path.abspath(path) for path in paths))
    folders = [os.path.join(path, "") for path in absolute if os.path.isdir(path)]
    return [path for path in absolute if not any(path.startswith(each) for each in folders)]


class _Folder:
    """What the index has of one folder; what is found there is taken out."""

    def __init__(self, connection: sqlite3.Connection, path: bytes) -> None:
        row = connection.execute("SELECT id FROM folders WHERE path = ?", (path,)).fetchone()
        self.path = path
        self.id: int | None = row[0] if row else None
        self.files: dict[bytes, _Known] = {}
        self.members: dict[bytes, dict[bytes, _Known]] = {}
        """By archive."""
        self.archives: dict[bytes, tuple[int, int, int]] = {}
        """Size, time and what was passed over in archives that are read to the end."""
        if self.id is None:
            return
        for name, member, *rest in connection.execute(
            "SELECT name, member, size_bytes, mtime_ns, audit_version, gone, id FROM images "
            "WHERE folder_id = ?",
            (self.id,),
        ):
            if member:
                self.members.setdefault(name, {})[member] = _Known(*rest)
            else:
                self.files[name] = _Known(*rest)
        for name, *figures in connection.execute(
            "SELECT name, size_bytes, mtime_ns, passed_over FROM archives WHERE folder_id = ?",
            (self.id,),
        ):
            self.archives[name] = (figures[0], figures[1], figures[2])

    def take_only(self, name: bytes) -> None:
        """Forget all but one file: nothing is known of the others."""
        self.files = {name: self.files[name]} if name in self.files else {}
        self.members = {name: self.members[name]} if name in self.members else {}

    def left(self) -> Iterator[_Known]:
        """What was not found."""
        yield from self.files.values()
        for inside in self.members.values():
            yield from inside.values()


_Stamp = tuple[bytes, int, int]
"""Name, size and time of a file: what tells that it is as it was."""


def _stamps(listing: Listing) -> dict[_Stamp, os.DirEntry[str]]:
    """The files of a folder by their stamps; one that is gone by now has an impossible one."""
    names = os.fsencode("\0".join(file.name for file in listing.files)).split(b"\0")
    stamps = {}
    for name, file in zip(names, listing.files, strict=False):
        try:
            status = file.stat(follow_symlinks=False)
        except FileNotFoundError:
            stamps[name, -1, -1] = file
        else:
            stamps[name, status.st_size, status.st_mtime_ns] = file
    return stamps


class _Comparison:
    def __init__(self, connection: sqlite3.Connection, found: Walk, job: Job) -> None:
        self._connection = connection
        self._found = found
        self._job = job
        self._changes = Changes()
        self._visited: set[bytes] = set()
        self._to_do: list[tuple[object, ...]] = []
        self._back: list[int] = []

    def run(self, roots: Sequence[str]) -> Changes:
        for root in roots:
            if os.path.isdir(root):
                for listing in list_below(root, self._found):
                    self._listed(listing)
            else:
                self._named(root)
            self._vanished_below(root)
        return self._changes

    def _listed(self, listing: Listing) -> None:
        """Everything in one folder: first, all at once, what is as it was."""
        path = os.fsencode(listing.folder)
        self._visited.add(path)
        there = _stamps(listing)
        rows, as_it_was = self._known_stamps(path)
        same = as_it_was & there.keys()
        self._changes.unchanged += len(same)
        if len(same) != len(there) or len(same) != rows:
            folder = _Folder(self._connection, path)
            for stamp, file in sorted(there.items()):
                if stamp in same:
                    del folder.files[stamp[0]]
                else:
                    with contextlib.suppress(FileNotFoundError):  # gone since it was listed
                        status = file.stat(follow_symlinks=False)
                        self._file(folder, file.name, file.path, status)
            self._settle(folder)
        self._step(listing.folder)

    def _known_stamps(self, path: bytes) -> tuple[int, set[_Stamp]]:
        """Of a folder: how many images the index has there, and which are well known."""
        folder = "folder_id = (SELECT id FROM folders WHERE path = ?)"
        (rows,) = self._connection.execute(
            f"SELECT count(*) FROM images WHERE {folder}", (path,)
        ).fetchone()
        known = self._connection.execute(
            "SELECT name, size_bytes, mtime_ns FROM images "
            f"WHERE {folder} AND member = x'' AND NOT gone AND audit_version = ?",
            (path, AUDIT_VERSION),
        )
        return rows, set(known.fetchall())

    def _named(self, path: str) -> None:
        """A file named on the call, whatever its ending."""
        where, name = os.path.split(path)
        folder = _Folder(self._connection, os.fsencode(where))
        folder.take_only(os.fsencode(name))
        try:
            if not is_archive(path) and (member := source_of(path)).member is not None:
                raise CannotRead(
                    f"a survey takes whole archives: name {visible(member.file)} itself"
                )
            status = os.stat(path)
        except (CannotRead, OSError) as error:
            says = str(error) if isinstance(error, CannotRead) else ""
            self._found.problems.append(says or f"there is no file {visible(path)}: check the path")
        else:
            self._file(folder, name, path, status)
        self._settle(folder)
        self._step(path)

    def _file(self, folder: _Folder, name: str, path: str, status: os.stat_result) -> None:
        raw = os.fsencode(name)
        if is_archive(name):
            self._archive(folder, raw, path, status)
        else:
            self._image(folder.path, raw, b"", status, folder.files.pop(raw, None))

    def _image(
        self,
        folder: bytes,
        name: bytes,
        member: bytes,
        status: os.stat_result,
        known: _Known | None,
    ) -> bool:
        """Note an image that is there; whether it has to be read."""
        if known is not None and known.gone:
            self._back.append(known.id)
        size_bytes, mtime_ns = status.st_size, status.st_mtime_ns
        is_changed = known is None or known[:2] != (size_bytes, mtime_ns)
        if known is not None and not is_changed and known.audit_version == AUDIT_VERSION:
            self._changes.unchanged += 1
            return False
        self._changes.to_do += 1
        self._to_do.append(
            (folder, name, member, size_bytes, mtime_ns, known is not None, is_changed)
        )
        return True

    def _archive(self, folder: _Folder, name: bytes, path: str, status: os.stat_result) -> None:
        known = folder.members.pop(name, {})
        stamp = (status.st_size, status.st_mtime_ns)
        seen = folder.archives.get(name)
        if seen is not None and seen[:2] == stamp:
            for member, row in known.items():
                if not row.gone or row.mtime_ns == status.st_mtime_ns:
                    self._image(folder.path, name, member, status, row)
            self._found.passed_over += seen[2]
            return
        passed_over = self._found.passed_over
        troubles = len(self._found.problems)
        inside = [
            member_bytes(source.member) for source in members(path, self._found) if source.member
        ]
        waiting = sum(
            self._image(folder.path, name, member, status, known.pop(member, None))
            for member in dict.fromkeys(inside)
        )
        if len(self._found.problems) == troubles:
            self._changes.archives[folder.path, name] = Archive(
                *(folder.path, name, *stamp, self._found.passed_over - passed_over, waiting)
            )
        if known:
            folder.members[name] = known

    def _settle(self, folder: _Folder) -> None:
        """Note what is to be done, what has come back, and what is no longer there."""
        gone = [row.id for row in folder.left() if not row.gone]
        self._changes.gone += len(gone)
        if self._to_do:
            with temporary_writing(self._connection):
                self._connection.executemany(
                    "INSERT INTO to_do VALUES (NULL, ?, ?, ?, ?, ?, ?, ?)", self._to_do
                )
        if gone or self._back:
            with writing(self._connection):
                self._connection.executemany(
                    "UPDATE images SET gone = ? WHERE id = ?",
                    [(1, image) for image in gone] + [(0, image) for image in self._back],
                )
        self._to_do.clear()
        self._back.clear()

    def _vanished_below(self, root: str) -> None:
        """Folders that the index knows and the walk has not come to."""
        first = os.fsencode(os.path.join(root, ""))
        past = first[:-1] + bytes([first[-1] + 1])
        unread = [os.fsencode(os.path.join(path, "")) for path in self._found.unread]
        rows = self._connection.execute(
            "SELECT path FROM folders WHERE path = ? OR (path >= ? AND path < ?)",
            (os.fsencode(root), first, past),
        ).fetchall()
        for (path,) in rows:
            if path in self._visited or (path + first[-1:]).startswith(tuple(unread)):
                continue
            self._settle(_Folder(self._connection, path))

    def _step(self, path: str) -> None:
        self._job.step(self._changes.unchanged, None, visible(path))
