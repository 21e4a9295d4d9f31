"""Disks of one title: which images belong together by their names and titles.

Disks of one title lie in one folder (or archive), and their names differ in their marks
(names.py). A bare letter or digit needs a witness in the disks' titles. A numbered series
(issues, versions, sequels) is no set. The user has the last word.
"""

from __future__ import annotations

import os
import sqlite3
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from loadglass.shelf.choices import ALONE, Choice, Choices
from loadglass.shelf.index import Index
from loadglass.shelf.names import SIDES, SetName, read_name, stem

SERIES_WORDS = frozenset(
    {"v", "ver", "version", "rev", "r", "no", "nr", "issue", "ausgabe", "heft", "vol", "volume"}
    | {"band", "level", "lektion", "backup", "copy", "kopie"}
)
"""Before a bare digit these say: one of a series, not a part of one title."""
DISKS_LIMIT = 8
"""More than so many, numbered alike, are a series."""


@dataclass(frozen=True, slots=True)
class Disk:
    """An image as the grouping looks at it."""

    id: int
    place: str
    """The folder, or the archive, that it lies in."""
    file_name: str
    title: str
    sha256: str


@dataclass(frozen=True, slots=True)
class DiskSet:
    """Disks of one title."""

    name: str
    disks: tuple[Disk, ...]
    """In their order, copies too; of each content the first counts."""
    by_user: bool
    """The user has put it together."""

    @property
    def copies(self) -> frozenset[int]:
        """Images of a content that an earlier disk has."""
        firsts = {disk.sha256: disk.id for disk in reversed(self.disks)}
        return frozenset(disk.id for disk in self.disks if firsts[disk.sha256] != disk.id)


@dataclass(frozen=True, slots=True)
class _Read:
    disk: Disk
    name: SetName
    title: SetName

    @property
    def agrees_on(self) -> str:
        """What its title says besides a mark; nothing is said by an empty one."""
        return self.title.key if self.title.strong or self.title.lettered else self.disk.title


def group(disks: Iterable[Disk], choices: Mapping[str, Choice]) -> list[DiskSet]:
    """The sets among some disks, by name. What the user has said of a disk goes first."""
    by_user: dict[str, list[Disk]] = defaultdict(list)
    by_place: dict[str, list[_Read]] = defaultdict(list)
    for disk in disks:
        choice = choices.get(disk.sha256)
        if choice is not None and choice.set_name is not None:
            if choice.set_name != ALONE:
                by_user[choice.set_name].append(disk)
            continue
        read = _Read(disk, read_name(stem(disk.file_name)), read_name(disk.title))
        by_place[disk.place].append(read)
    sets = [
        DiskSet(name, tuple(sorted(members, key=_order_of)), True)
        for name, members in by_user.items()
        if len({disk.sha256 for disk in members}) > 1
    ]
    for place, there in by_place.items():
        sets += _in_one_place(place, there)
    return sorted(sets, key=lambda each: (each.name, each.disks[0].id))


def _order_of(disk: Disk) -> tuple[int, str]:
    return read_name(stem(disk.file_name)).part, disk.file_name


def _in_one_place(place: str, there: Sequence[_Read]) -> list[DiskSet]:
    found: list[tuple[str, list[_Read]]] = []
    for key, alike in _by_key((read.name, read) for read in there).items():
        found.append((key, _set_by_name(key, alike)))
    taken = {read.disk.id for _, members in found for read in members}
    rest = [read for read in there if read.disk.id not in taken]
    for key, alike in _by_key((read.title, read) for read in rest).items():
        found.append((key, _set_by_title(key, alike)))
    folder = os.path.basename(place)
    return [
        DiskSet(key or folder, tuple(read.disk for read in members), False)
        for key, members in found
        if members
    ]


def _by_key(named: Iterable[tuple[SetName, _Read]]) -> dict[str, list[_Read]]:
    groups: dict[str, list[_Read]] = defaultdict(list)
    for name, read in named:
        groups[name.key].append(read)
    return {key: members for key, members in groups.items() if len(members) > 1}


def _set_by_name(key: str, alike: Sequence[_Read]) -> list[_Read]:
    """Those of some images of one key that are a set; or none."""
    parts = {read.disk.id: read.name.part for read in alike}
    strong = [read for read in alike if read.name.strong]
    if strong:
        members = strong + _first_without_mark(alike, parts)
        if not key and not _agree(members):
            return []
        return _complete(members, parts, gaps=True)
    if key.rpartition(" ")[2] in SERIES_WORDS or not _agree(alike):
        return []
    lettered = all(read.name.lettered for read in alike)
    same_title = all(read.disk.title for read in alike)
    told_by_title = all(
        read.title.part == read.name.part and (read.title.strong or read.title.lettered)
        for read in alike
    )
    if lettered or told_by_title:
        return _complete(alike, parts)
    if same_title and len({read.disk.title for read in alike}) == 1:
        members = [read for read in alike if read.name.part]
        return _complete(members + _first_without_mark(alike, parts), parts)
    return []


def _set_by_title(key: str, alike: Sequence[_Read]) -> list[_Read]:
    """As _set_by_name, by disk titles: for images whose file names say nothing."""
    parts = {read.disk.id: read.title.part for read in alike}
    if not key:
        return []
    strong = [read for read in alike if read.title.strong]
    if strong:
        return _complete(strong, parts, gaps=True)
    names_alike = len({read.name.key for read in alike}) == 1
    if names_alike and all(read.title.lettered for read in alike):
        return _complete(alike, parts)
    return []


def _first_without_mark(alike: Sequence[_Read], parts: dict[int, int]) -> list[_Read]:
    """The one image without a mark beside others from the second on: it is the first."""
    bare = [read for read in alike if not read.name.part]
    if len(bare) != 1 or any(read.name.part // SIDES == 1 for read in alike):
        return []
    parts[bare[0].disk.id] = SIDES
    return bare


def _agree(alike: Sequence[_Read]) -> bool:
    """Whether the titles do not speak against it."""
    return len({read.agrees_on for read in alike if read.disk.title}) <= 1


def _complete(
    members: Sequence[_Read], parts: Mapping[int, int], gaps: bool = False
) -> list[_Read]:
    """The members in order, if their parts are a set's: two at least, few, from the first on."""
    disks = {parts[read.disk.id] // SIDES for read in members}
    if len({parts[read.disk.id] for read in members}) < 2 or max(disks) > DISKS_LIMIT:
        return []
    if not gaps and len(disks) != max(disks):
        return []
    return sorted(members, key=lambda read: (parts[read.disk.id], read.disk.file_name))


def marks_of(disks: DiskSet) -> dict[int, str]:
    """The words by which a set's disks are told apart, by image; empty where nothing says it."""
    by_name = {disk.id: read_name(stem(disk.file_name)).mark for disk in disks.disks}
    by_title = {disk.id: read_name(disk.title).mark for disk in disks.disks}
    return by_name if any(by_name.values()) else by_title


def disk_sets(index: Index, choices: Choices) -> list[DiskSet]:
    """Every set on the shelf, by name. Raises DatabaseTrouble."""
    chosen = choices.all()
    own = [sha256 for sha256, choice in chosen.items() if choice.set_name is not None]
    with index.connected() as connection:
        _note_own(connection, own)
        rows = connection.execute(_CANDIDATES).fetchall()
    return group(map(_disk, rows), chosen)


def set_of(index: Index, choices: Choices, image: int) -> DiskSet | None:
    """The set that an image belongs to, or None. Raises DatabaseTrouble."""
    return sets_of(index, choices, [image]).get(image)


def sets_of(index: Index, choices: Choices, images: Iterable[int]) -> dict[int, DiskSet]:
    """Of these images those that belong to a set, and which; the same as among all sets.

    Only images that share a key with one of them are looked at. Raises DatabaseTrouble.
    """
    chosen = choices.all()
    wanted = set(images)
    with index.connected() as connection:
        connection.execute("CREATE TEMP TABLE wanted (id INTEGER PRIMARY KEY)")
        connection.executemany("INSERT INTO wanted VALUES (?)", [(image,) for image in wanted])
        contents = connection.execute(
            "SELECT sha256 FROM temp.wanted CROSS JOIN images USING (id) WHERE sha256 IS NOT NULL"
        )
        names = {chosen[each].set_name for (sha,) in contents if (each := sha.hex()) in chosen}
        names -= {None, ALONE}
        own = [sha256 for sha256, choice in chosen.items() if choice.set_name in names]
        _note_own(connection, own)
        rows = connection.execute(_NEAR).fetchall()
    return {
        disk.id: each
        for each in group(map(_disk, rows), chosen)
        for disk in each.disks
        if disk.id in wanted
    }


def _note_own(connection: sqlite3.Connection, contents: Iterable[str]) -> None:
    """Content of which the user has spoken, for the statements below."""
    connection.execute("CREATE TEMP TABLE own (sha256 BLOB PRIMARY KEY) WITHOUT ROWID")
    connection.executemany(
        "INSERT INTO own VALUES (?)", [(bytes.fromhex(each),) for each in contents]
    )


_CANDIDATES = """
WITH there AS (SELECT * FROM images WHERE NOT gone AND sha256 IS NOT NULL),
by_name AS (
    SELECT folder_id, name_key FROM there GROUP BY folder_id, name_key HAVING count(*) > 1
),
by_title AS (
    SELECT folder_id, title_key FROM there GROUP BY folder_id, title_key HAVING count(*) > 1
)
SELECT there.id, path, name, member, file_name, title, sha256
FROM there JOIN folders ON folders.id = folder_id
WHERE (folder_id, name_key) IN by_name OR (folder_id, title_key) IN by_title
    OR sha256 IN temp.own
"""
"""Images that share a key with another one of their folder, or of which the user has spoken."""
_NEAR = """
WITH mine AS (
    SELECT folder_id, name_key, title_key FROM temp.wanted CROSS JOIN images USING (id)
),
by_name AS (
    SELECT folder_id, name_key FROM mine
    UNION
    SELECT mates.folder_id, mates.name_key FROM mine CROSS JOIN images AS mates
        ON mates.folder_id = mine.folder_id AND mates.title_key = mine.title_key
    WHERE mates.title_key <> ''
),
near AS (
    SELECT images.id FROM by_name CROSS JOIN images
        ON images.folder_id = by_name.folder_id AND images.name_key = by_name.name_key
    UNION
    SELECT id FROM images WHERE sha256 IN temp.own
)
SELECT images.id, path, name, member, file_name, title, sha256
FROM near CROSS JOIN images USING (id) CROSS JOIN folders ON folders.id = folder_id
WHERE NOT gone AND sha256 IS NOT NULL
"""
"""All that may belong to a set with the wanted images, or may keep their mates from it: images
of their name's key, and, since sets by name go first, of the name's keys of their title's mates.
"""


def _disk(row: tuple[int, bytes, bytes, bytes, str, str, bytes]) -> Disk:
    image, folder, name, member, file_name, title, sha256 = row
    place = os.path.join(folder, name) if member else folder
    return Disk(image, os.fsdecode(place), file_name, title, sha256.hex())
