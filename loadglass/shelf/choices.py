"""What the user made of images: picks, ratings, tags, which belong together, which are junk.

Kept apart from the index, by the SHA-256 of an image's sectors: it survives an index that is
made anew and images that move, and twins share it. What is taken off the shelf is kept by its
place, for junk is often a copy of what is not, or cannot be read. All of it is held in memory,
for it is made by hand. A `Choices` may be used by any thread.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from threading import RLock

from formats.errors import LoadglassError
from formats.visible import visible
from loadglass.home import make_folder
from loadglass.shelf import database
from loadglass.shelf.database import DatabaseTrouble, writing

APPLICATION_ID = 0x4C474348
WHAT = "the file of your picks, ratings and tags"

RATINGS = range(1, 6)
TAG = re.compile(r"[^\W_][\w.+-]{0,29}")
SET_NAME_LIMIT = 60
ALONE = ""
"""In place of a set's name: the user says that the disk belongs to none."""

TABLES = (
    """
CREATE TABLE choices (
    sha256 BLOB PRIMARY KEY,    -- of the sectors
    picked INTEGER NOT NULL DEFAULT 0,
    rating INTEGER,
    tags TEXT NOT NULL DEFAULT '', -- spaces between them
    set_name TEXT               -- of the user's own set; '': belongs to none; NULL: not said
) WITHOUT ROWID
""",
    """
CREATE TABLE off_shelf (
    folder BLOB,
    name BLOB,
    member BLOB,                -- as in the index
    PRIMARY KEY (folder, name, member)
) WITHOUT ROWID
""",
)
"""In the order in which versions have brought them."""
SCHEMA_VERSION = len(TABLES)

Place = tuple[bytes, bytes, bytes]
"""Where an image is, as the index has it: folder, file, and member of an archive or nothing."""


class BadChoice(LoadglassError):
    """A rating, tag or name of a set that cannot be kept."""


@dataclass(frozen=True, slots=True)
class Choice:
    """What the user has said about one content."""

    picked: bool = False
    rating: int | None = None
    tags: tuple[str, ...] = ()
    """In order of the alphabet."""
    set_name: str | None = None


NOTHING_CHOSEN = Choice()


@dataclass
class Choices:
    """The user's choices by sha256 (hexadecimal); made with open_choices."""

    path: Path
    notices: list[str] = field(default_factory=list)
    _connection: sqlite3.Connection | None = None
    _known: dict[str, Choice] = field(default_factory=dict)
    _off: frozenset[Place] = frozenset()
    _stamp: int = -1
    _lock: RLock = field(default_factory=RLock)
    _version: int = 0

    def of(self, sha256: str) -> Choice:
        """Raises DatabaseTrouble, as all that follows."""
        return self.all().get(sha256, NOTHING_CHOSEN)

    def all(self) -> Mapping[str, Choice]:
        """Every content about which something has been said."""
        with self._lock:
            self._refresh()
            return self._known

    @property
    def off_shelf(self) -> frozenset[Place]:
        """Where what lies is not to be shown."""
        with self._lock:
            self._refresh()
            return self._off

    def take_off(self, places: Iterable[Place], off: bool = True) -> None:
        """Show what lies there no longer, or again."""
        change = "INSERT OR IGNORE INTO off_shelf VALUES (?, ?, ?)"
        if not off:
            change = "DELETE FROM off_shelf WHERE (folder, name, member) = (?, ?, ?)"
        with self._changing() as connection:
            connection.executemany(change, places)

    @property
    def version(self) -> int:
        """Another number whenever something has changed, here or in another process."""
        with self._lock:
            self._refresh()
            return self._version

    def pick(self, sha256s: Iterable[str], picked: bool = True) -> None:
        """Choose images for the card, or take them back."""
        self._change(sha256s, lambda choice: replace(choice, picked=picked))

    def rate(self, sha256s: Iterable[str], rating: int | None) -> None:
        """Rate images from 1 to 5; None takes the rating back. Raises BadChoice."""
        if rating is not None and rating not in RATINGS:
            raise BadChoice(f"{rating} is no rating: give 1 to 5")
        self._change(sha256s, lambda choice: replace(choice, rating=rating))

    def tag(self, sha256s: Iterable[str], tag: str, wanted: bool = True) -> None:
        """Tag images, or take the tag away. Raises BadChoice."""
        name = tag_name(tag)

        def change(choice: Choice) -> Choice:
            tags = set(choice.tags) | {name} if wanted else set(choice.tags) - {name}
            return replace(choice, tags=tuple(sorted(tags)))

        self._change(sha256s, change)

    def put_in_set(self, sha256s: Iterable[str], set_name: str | None) -> None:
        """Say to which set disks belong; ALONE: to none; None: go by their names. BadChoice."""
        if set_name is not None:
            set_name = set_name_of(set_name)
        self._change(sha256s, lambda choice: replace(choice, set_name=set_name))

    def tags(self) -> dict[str, int]:
        """Every tag and how many contents have it."""
        counts: dict[str, int] = {}
        for choice in self.all().values():
            for tag in choice.tags:
                counts[tag] = counts.get(tag, 0) + 1
        return dict(sorted(counts.items()))

    def close(self) -> None:
        with self._lock:
            if self._connection is not None:
                self._connection.close()
                self._connection = None

    def _change(self, sha256s: Iterable[str], change: Callable[[Choice], Choice]) -> None:
        with self._changing() as connection:
            for sha256 in dict.fromkeys(sha256s):
                key = bytes.fromhex(sha256)
                row = connection.execute(
                    "SELECT * FROM choices WHERE sha256 = ?", (key,)
                ).fetchone()
                choice = change(_choice(row) if row else NOTHING_CHOSEN)
                connection.execute("DELETE FROM choices WHERE sha256 = ?", (key,))
                if choice != NOTHING_CHOSEN:
                    connection.execute(
                        "INSERT INTO choices VALUES (?, ?, ?, ?, ?)",
                        (
                            *(key, choice.picked, choice.rating),
                            *(" ".join(choice.tags), choice.set_name),
                        ),
                    )

    @contextmanager
    def _changing(self) -> Iterator[sqlite3.Connection]:
        """One transaction; the file is made if need be."""
        with self._lock, _guarded(self.path):
            connection = self._connect(make=True)
            assert connection is not None
            with writing(connection):
                yield connection
            self._stamp = -1

    def _refresh(self) -> None:
        with _guarded(self.path):
            connection = self._connect(make=False)
            if connection is None:
                return
            (stamp,) = connection.execute("PRAGMA data_version").fetchone()
            if stamp != self._stamp:
                rows = connection.execute("SELECT * FROM choices").fetchall()
                self._known = {row[0].hex(): _choice(row) for row in rows}
                self._off = frozenset(connection.execute("SELECT * FROM off_shelf").fetchall())
                self._stamp = stamp
                self._version += 1

    @property
    def _made(self) -> int:
        """Tables that are there."""
        assert self._connection is not None
        return int(self._connection.execute("PRAGMA user_version").fetchone()[0])

    def _connect(self, make: bool) -> sqlite3.Connection | None:
        """The connection; None if there is no file and none is to be made."""
        if self._connection is None and (make or self.path.exists()):
            make_folder(self.path.parent)
            self._connection = database.connect(self.path)
            if self._made < SCHEMA_VERSION:
                with writing(self._connection):
                    for table in TABLES[self._made :]:
                        self._connection.execute(table)
                    self._connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                    self._connection.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")
        return self._connection


def open_choices(path: Path) -> Choices:
    """The user's choices; the file is made when something is chosen. Raises DatabaseTrouble.

    A broken file is set aside with a notice. One of a later version, or of something else, is
    left alone and cannot be used.
    """
    choices = Choices(path)
    try:
        with _guarded(path):
            _check(path)
            choices.all()
    except _Broken as error:
        choices.close()
        aside = database.set_aside(path)
        choices.notices.append(f"{error}: it has been set aside as {visible(str(aside))}")
    return choices


def set_name_of(text: str) -> str:
    """A set's name as it is kept. Raises BadChoice."""
    name = text.strip()
    if len(name) > SET_NAME_LIMIT or visible(name) != name:
        raise BadChoice(
            f"a set's name is one line of at most {SET_NAME_LIMIT} characters: "
            f"{visible(name)[:SET_NAME_LIMIT]}"
        )
    return name


def tag_name(tag: str) -> str:
    """A tag as it is kept. Raises BadChoice."""
    name = tag.strip().casefold()
    if not TAG.fullmatch(name):
        raise BadChoice(
            f'"{visible(tag)[:40]}" is no tag: give one word of letters, digits, . + - or _, '
            "30 characters at the most"
        )
    return name


class _Broken(DatabaseTrouble):
    pass


@contextmanager
def _guarded(path: Path) -> Iterator[None]:
    """Turns SQLite's errors into DatabaseTrouble."""
    try:
        yield
    except sqlite3.Error as error:
        if database.is_broken(error):
            raise _Broken(f"{WHAT}, {visible(str(path))}, is broken") from error
        raise DatabaseTrouble(database.sentence(error, WHAT, path)) from error


def _check(path: Path) -> None:
    if not path.exists():
        return
    connection = database.connect(path)
    try:
        version = connection.execute("PRAGMA user_version").fetchone()[0]
        application = connection.execute("PRAGMA application_id").fetchone()[0]
        count = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    finally:
        connection.close()
    if version > SCHEMA_VERSION or (count and application != APPLICATION_ID):
        raise DatabaseTrouble(
            f"{WHAT}, {visible(str(path))}, is of a later loadglass or of something else: "
            "update loadglass, or move the file away"
        )


def _choice(row: tuple[bytes, int, int | None, str, str | None]) -> Choice:
    _, picked, rating, tags, set_name = row
    return Choice(bool(picked), rating, tuple(tags.split()), set_name)
