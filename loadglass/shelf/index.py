"""The index: one SQLite file that can be thrown away and made again.

An `Index` may be used by any thread: it holds no connection. A connection is used by one
thread at a time; a survey and each Shelf open their own. SQLite's write-ahead log lets them
read while another thread or process writes.
"""

from __future__ import annotations

import itertools
import os
import sqlite3
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from formats.errors import LoadglassError
from formats.visible import visible
from loadglass.home import make_folder
from loadglass.shelf.schema import (
    APPLICATION_ID,
    PLAIN_TEXTS,
    SCHEMA_VERSION,
    TABLE_NAMES,
    TABLES,
    TEXTS,
)

BUSY_TIMEOUT_S = 30.0
"""A survey of another process holds the index for much less than that."""
CACHE_KIB = 16 * 1024


class IndexTrouble(LoadglassError):
    """The index cannot be used; what was in it before is still there."""


class IndexBroken(IndexTrouble):
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
        """A new connection in autocommit mode; close it. Raises IndexTrouble."""
        with self.guarded():
            return _connect(self.path)

    @contextmanager
    def connected(self) -> Iterator[sqlite3.Connection]:
        """A connection for the length of a block; SQLite's errors become IndexTrouble."""
        with self.guarded():
            connection = _connect(self.path)
            try:
                yield connection
            finally:
                connection.close()

    @contextmanager
    def guarded(self) -> Iterator[None]:
        """Turns SQLite's errors into IndexTrouble; sets a broken index aside."""
        try:
            yield
        except sqlite3.Error as error:
            raise self._trouble(error) from error

    def roots(self) -> list[str]:
        """Folders and files that were surveyed, as absolute paths."""
        with self.connected() as connection:
            rows = connection.execute("SELECT path FROM roots ORDER BY path")
            return [os.fsdecode(path) for (path,) in rows]

    def _trouble(self, error: sqlite3.Error) -> IndexTrouble:
        shown = visible(str(self.path))
        if _is_broken(error):
            aside = _set_aside(self.path)
            where = f" and has been set aside as {visible(str(aside))}" if aside else ""
            return IndexBroken(f"the index {shown} is broken{where}: survey your folders again")
        name = getattr(error, "sqlite_errorname", "")
        if name == "SQLITE_FULL":
            return IndexTrouble(
                f"the disk is full: the index {shown} cannot grow, and what was finished before "
                "is kept; make room and survey again"
            )
        if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
            return IndexTrouble(
                f"the index {shown} is in use by another loadglass that does not let go: "
                "wait for it or end it"
            )
        return IndexTrouble(
            f"the index {shown} cannot be used ({visible(str(error))}): check the disk and the "
            "rights on its folder, or set LOADGLASS_HOME to another one"
        )


def writing(connection: sqlite3.Connection) -> AbstractContextManager[None]:
    """One transaction: all of the block is kept, or nothing."""
    return _transaction(connection, "BEGIN IMMEDIATE")


def temporary_writing(connection: sqlite3.Connection) -> AbstractContextManager[None]:
    """One transaction on temporary tables: it does not keep others from writing the index."""
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


def open_index(path: Path) -> Index:
    """Open the index, or make it. Raises NoHome, IndexTrouble.

    A file that is broken, of another version or none of ours is set aside, never
    overwritten; `notices` says so, and the index starts empty.
    """
    make_folder(path.parent)
    notices: list[str] = []
    for _ in range(2):
        index = Index(path, True, notices)
        try:
            why = _reason_to_set_aside(path)
        except sqlite3.Error as error:
            if not _is_broken(error):
                raise index._trouble(error) from error
            why = "is broken"
        if why is None:
            break
        with index.guarded():
            aside = _set_aside(path)
        notices.append(
            f"the index {visible(str(path))} {why}: it is set aside as "
            f"{visible(str(aside))}; survey your folders again"
        )
    with index.connected() as connection:
        full_text = _make(connection)
    return Index(path, full_text, notices)


def _connect(path: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(
        path, timeout=BUSY_TIMEOUT_S, isolation_level=None, check_same_thread=False
    )
    try:
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA synchronous = NORMAL")
        connection.execute(f"PRAGMA cache_size = -{CACHE_KIB}")
    except BaseException:
        connection.close()
        raise
    return connection


def _reason_to_set_aside(path: Path) -> str | None:
    """Why the file there cannot become our index; None if it can. Raises sqlite3.Error."""
    try:
        if path.stat().st_size == 0:
            return None
    except FileNotFoundError:
        return None
    except OSError:
        return None  # SQLite says it better
    connection = _connect(path)
    try:
        application = connection.execute("PRAGMA application_id").fetchone()[0]
        version = connection.execute("PRAGMA user_version").fetchone()[0]
        rows = connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()
        if not rows:
            return None
        if application != APPLICATION_ID:
            return "is a database of something else"
        if version != SCHEMA_VERSION:
            return "was made by another version of loadglass"
        try:
            for table in TABLE_NAMES:
                connection.execute(f"SELECT * FROM {table} LIMIT 1").fetchall()
        except sqlite3.OperationalError as error:
            if getattr(error, "sqlite_errorname", "") == "SQLITE_ERROR":
                return f"does not have our tables ({visible(str(error))})"
            raise
        return None
    finally:
        connection.close()


def _make(connection: sqlite3.Connection) -> bool:
    """Make what tables there are not yet; whether there is full-text search."""
    if connection.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
        connection.execute("PRAGMA journal_mode = WAL")
    with writing(connection):
        if not connection.execute("PRAGMA user_version").fetchone()[0]:
            for statement in TABLES.split(";\n"):
                connection.execute(statement)
            try:
                connection.execute(TEXTS)
            except sqlite3.OperationalError:
                connection.execute(PLAIN_TEXTS)
            connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            connection.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")
        sql = connection.execute("SELECT sql FROM sqlite_master WHERE name = 'texts'").fetchone()[0]
    return "fts5" in sql


def _is_broken(error: sqlite3.Error) -> bool:
    name = getattr(error, "sqlite_errorname", "")
    return name.startswith(("SQLITE_CORRUPT", "SQLITE_NOTADB"))


def _set_aside(path: Path) -> Path | None:
    """Move the file out of the way; its new place, or None if it has gone already.

    The log goes first: a log without its database would be taken for a new one's.
    """
    for number in itertools.count(1):
        aside = path.with_name(f"{path.name}.set-aside-{number}")
        if not aside.exists():
            break
    try:
        for ending in ("-wal", "-shm"):
            side = path.with_name(path.name + ending)
            if side.exists():
                os.replace(side, aside.with_name(aside.name + ending))
        os.replace(path, aside)
    except FileNotFoundError:
        return None
    except OSError as error:
        raise IndexTrouble(
            f"the index {visible(str(path))} is broken and cannot be set aside "
            f"({error.strerror}): remove it yourself"
        ) from error
    return aside
