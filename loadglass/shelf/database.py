"""SQLite files of ours: connections, transactions, and what their errors mean to a person."""

from __future__ import annotations

import itertools
import os
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path

from formats.errors import LoadglassError
from formats.visible import visible

BUSY_TIMEOUT_S = 30.0
"""A survey of another process holds the index for much less than that."""


ROOM_TO_OPEN_BYTES = 64 * 1024
_TROUBLES = (
    *("SQLITE_FULL", "SQLITE_BUSY", "SQLITE_LOCKED", "SQLITE_PROTOCOL"),
    *("SQLITE_READONLY", "SQLITE_CANTOPEN", "SQLITE_IOERR", "SQLITE_PERM", "SQLITE_AUTH"),
    *("SQLITE_NOMEM", "SQLITE_NOLFS", "SQLITE_TOOBIG"),
)
"""Errors of the disk, the rights or another process; all else would be a fault of ours."""


class DatabaseTrouble(LoadglassError):
    """A file of ours that cannot be used; what was in it before is still there."""


def connect(path: Path) -> sqlite3.Connection:
    """A connection in autocommit mode, for one thread at a time. Raises sqlite3.Error."""
    connection = sqlite3.connect(
        path, timeout=BUSY_TIMEOUT_S, isolation_level=None, check_same_thread=False
    )
    try:
        connection.execute("PRAGMA foreign_keys = ON")
    except BaseException:
        connection.close()
        raise
    return connection


def writing(connection: sqlite3.Connection) -> AbstractContextManager[None]:
    """One transaction: all of the block is kept, or nothing."""
    return _transaction(connection, "BEGIN IMMEDIATE")


def temporary_writing(connection: sqlite3.Connection) -> AbstractContextManager[None]:
    """One transaction on temporary tables: it does not keep others from writing."""
    return _transaction(connection, "BEGIN")


@contextmanager
def _transaction(connection: sqlite3.Connection, begin: str) -> Iterator[None]:
    connection.execute(begin)
    try:
        yield
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise
    connection.execute("COMMIT")


def is_broken(error: sqlite3.Error) -> bool:
    """Whether the file, and not the disk or another process, is what is wrong."""
    name = getattr(error, "sqlite_errorname", "")
    return name.startswith(("SQLITE_CORRUPT", "SQLITE_NOTADB"))


def sentence(error: sqlite3.Error, what: str, path: Path) -> str:
    """What an error means and what to do; `what` the file is to a person: "the index".

    Raises the error again if it is a fault of ours and not of the file, the disk or the rights.
    """
    shown = f"{what} {visible(str(path))}"
    name = getattr(error, "sqlite_errorname", "")
    if not name.startswith(_TROUBLES):
        raise error
    if name == "SQLITE_FULL" or (name.startswith("SQLITE_IOERR") and _is_full(path)):
        return (
            f"the disk is full: {shown} cannot grow, and what was finished before is kept; "
            "make room and try again"
        )
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        return f"{shown} is in use by another loadglass that does not let go: wait for it or end it"
    return (
        f"{shown} cannot be used ({visible(str(error))}): check the disk and the rights on its "
        "folder, or set LOADGLASS_HOME to another one"
    )


def _is_full(path: Path) -> bool:
    """Whether there is no room even to open a file of ours: its shared memory is a file too."""
    try:
        return shutil.disk_usage(path.parent).free < ROOM_TO_OPEN_BYTES
    except OSError:
        return False


def set_aside(path: Path) -> Path | None:
    """Move a file of ours out of the way; its new place, or None if it has gone already.

    The log goes first: a log without its database would be taken for a new one's. Raises
    DatabaseTrouble.
    """
    places = (path.with_name(f"{path.name}.set-aside-{number}") for number in itertools.count(1))
    aside = next(place for place in places if not place.exists())
    try:
        for ending in ("-wal", "-shm", "-journal"):
            side = path.with_name(path.name + ending)
            if side.exists():
                os.replace(side, aside.with_name(aside.name + ending))
        os.replace(path, aside)
    except FileNotFoundError:
        return None
    except OSError as error:
        raise DatabaseTrouble(
            f"{visible(str(path))} is broken and cannot be set aside ({error.strerror}): "
            "move it away yourself"
        ) from error
    return aside
