"""The index: one SQLite file that can be thrown away and made again.

An `Index` may be used by any thread: it holds no connection. A connection is used by one
thread at a time; a survey and each Shelf open their own. SQLite's write-ahead log lets them
read while another thread or process writes.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from formats.visible import visible
from loadglass.home import make_folder
from loadglass.shelf import database
from loadglass.shelf.database import DatabaseTrouble, writing
from loadglass.shelf.schema import (
    APPLICATION_ID,
    PLAIN_TEXTS,
    SCHEMA_VERSION,
    TABLE_NAMES,
    TABLES,
    TEXTS,
)

CACHE_KIB = 16 * 1024
WHAT = "the index"


class IndexBroken(DatabaseTrouble):
    """The index turned out to be broken and has been set aside."""


@dataclass(frozen=True)
class Index:
    """An index that is there and has our tables."""

    path: Path
    full_text: bool
    """Whether this Python's SQLite has full-text search."""
    notices: list[str] = field(default_factory=list)
    """What a person should know: one sentence each."""

    def connect(self) -> sqlite3.Connection:
        """A new connection in autocommit mode; close it. Raises DatabaseTrouble."""
        with self.guarded():
            return _connect(self.path)

    @contextmanager
    def connected(self) -> Iterator[sqlite3.Connection]:
        """A connection for the length of a block; SQLite's errors become DatabaseTrouble."""
        with self.guarded():
            connection = _connect(self.path)
            try:
                yield connection
            finally:
                connection.close()

    @contextmanager
    def guarded(self) -> Iterator[None]:
        """Turns SQLite's errors into DatabaseTrouble; sets a broken index aside."""
        try:
            yield
        except sqlite3.Error as error:
            if not database.is_broken(error):
                raise DatabaseTrouble(database.sentence(error, WHAT, self.path)) from error
            aside = database.set_aside(self.path)
            where = f" and has been set aside as {visible(str(aside))}" if aside else ""
            raise IndexBroken(
                f"{WHAT} {visible(str(self.path))} is broken{where}: survey your folders again"
            ) from error

    def roots(self) -> list[str]:
        """Folders and files that were surveyed, as absolute paths."""
        with self.connected() as connection:
            rows = connection.execute("SELECT path FROM roots ORDER BY path")
            return [os.fsdecode(path) for (path,) in rows]


def open_index(path: Path) -> Index:
    """Open the index, or make it. Raises NoHome, DatabaseTrouble.

    A file that is broken, of another version or none of ours is set aside, never
    overwritten; `notices` says so, and the index starts empty.
    """
    make_folder(path.parent)
    notices = []
    try:
        why = _reason_to_set_aside(path)
        if why is not None and (aside := database.set_aside(path)):
            notices.append(
                f"{WHAT} {visible(str(path))} {why}: it has been set aside as "
                f"{visible(str(aside))}; survey your folders again"
            )
        connection = _connect(path)
        try:
            full_text = _make(connection)
        finally:
            connection.close()
    except sqlite3.Error as error:
        raise DatabaseTrouble(database.sentence(error, WHAT, path)) from error
    return Index(path, full_text, notices)


def _connect(path: Path) -> sqlite3.Connection:
    connection = database.connect(path)
    connection.execute("PRAGMA synchronous = NORMAL")  # all of it can be read again
    connection.execute(f"PRAGMA cache_size = -{CACHE_KIB}")
    return connection


def _reason_to_set_aside(path: Path) -> str | None:
    """Why the file there cannot become our index; None if it can. Raises sqlite3.Error."""
    if not path.is_file() or path.stat().st_size == 0:
        return None
    connection = database.connect(path)
    try:
        if not connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]:
            return None
        if connection.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
            return "is a database of something else"
        if connection.execute("PRAGMA user_version").fetchone()[0] != SCHEMA_VERSION:
            return "was made by another version of loadglass"
        for table in TABLE_NAMES:
            connection.execute(f"SELECT * FROM {table} LIMIT 1").fetchall()
    except sqlite3.Error as error:
        if database.is_broken(error):
            return "is broken"
        if getattr(error, "sqlite_errorname", "") == "SQLITE_ERROR":
            return f"does not have our tables ({visible(str(error))})"
        raise
    finally:
        connection.close()
    return None


def _make(connection: sqlite3.Connection) -> bool:
    """Make what tables there are not yet; whether there is full-text search."""
    if connection.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
        connection.execute("PRAGMA journal_mode = WAL")
    if not connection.execute("PRAGMA user_version").fetchone()[0]:
        with writing(connection):
            if not connection.execute("PRAGMA user_version").fetchone()[0]:
                _make_tables(connection)
    sql = connection.execute("SELECT sql FROM sqlite_master WHERE name = 'texts'").fetchone()[0]
    return "fts5" in sql


def _make_tables(connection: sqlite3.Connection) -> None:
    for statement in TABLES.split(";\n"):
        connection.execute(statement)
    try:
        connection.execute(TEXTS)
    except sqlite3.OperationalError:
        connection.execute(PLAIN_TEXTS)
    connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    connection.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")
