"""What the user says against the grouping by names, and how it is taken back."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import count

from loadglass.shelf.choices import ALONE, SET_NAME_LIMIT, Choices
from loadglass.shelf.index import Index
from loadglass.shelf.names import read_name, stem
from loadglass.shelf.query import Shelf
from loadglass.shelf.rows import ShelfRow, shown_title
from loadglass.shelf.sets import DiskSet, disk_sets, sets_of

LOOKED_AT = 40
"""Images found by a name's words; their sets are offered."""
WORDS_AT_MOST = 4
_WORD = re.compile(r"\w+")


@dataclass(frozen=True, slots=True)
class Correction:
    """What was said before about each content, by its SHA-256; None: nothing."""

    before: Mapping[str, str | None]


@dataclass(frozen=True, slots=True)
class Title:
    """A set that a disk may be put into, or a disk that has none yet."""

    name: str
    contents: tuple[str, ...]
    """SHA-256 of its disks."""
    shown: str
    """Title or file name of its first disk; harmless."""
    is_set: bool
    by_user: bool = False
    """The name is one that the user gave."""


def take_out(choices: Choices, contents: Iterable[str]) -> Correction:
    """Say that disks belong to no set. Raises DatabaseTrouble, as all that follows."""
    return _put(choices, contents, ALONE)


def go_by_names(choices: Choices, contents: Iterable[str]) -> Correction:
    """Forget what was said about the sets of these disks."""
    return _put(choices, contents, None)


def put_into(choices: Choices, contents: Iterable[str], title: Title) -> Correction:
    """Put disks with those of a title into one set. Raises BadChoice.

    Two sets may have one name as long as they go by names, in folders of their own; the user's
    sets have names of their own, so the second one gets a number.
    """
    name = title.name
    taken = {choice.set_name for choice in choices.all().values()}
    numbers = count(2)
    while not title.by_user and name in taken:
        name = f"{title.name} ({next(numbers)})"
    return _put(choices, [*title.contents, *contents], name)


def undo(choices: Choices, correction: Correction) -> None:
    """Say again what was said before."""
    contents: dict[str | None, list[str]] = defaultdict(list)
    for sha256, name in correction.before.items():
        contents[name].append(sha256)
    for name, there in contents.items():
        choices.put_in_set(there, name)


def _put(choices: Choices, contents: Iterable[str], name: str | None) -> Correction:
    before = {sha256: choices.of(sha256).set_name for sha256 in contents}
    choices.put_in_set(before, name)
    return Correction(before)


def title_called(index: Index, choices: Choices, name: str, beside: Iterable[ShelfRow]) -> Title:
    """The set of that name, or a new one.

    Of several the user's own goes first, then one that has a disk in the same folder as these
    images; if it still cannot be told which one is meant, it is a new one.
    """
    name = name.strip()
    called = [each for each in disk_sets(index, choices) if _folded(each.name) == _folded(name)]
    own = [each for each in called if each.by_user]
    paths = [row.path for row in beside]
    near = [each for each in called if any(path.startswith(each.disks[0].place) for path in paths)]
    for several in (own, near, called):
        if len(several) == 1:
            return _title(several[0])
    known = {choice.set_name for choice in choices.all().values() if choice.set_name}
    same = next((each for each in sorted(known) if _folded(each) == _folded(name)), name)
    return Title(same, (), "", is_set=False, by_user=True)


def titles_near(index: Index, choices: Choices, shelf: Shelf, text: str) -> list[Title]:
    """Sets, and images of none, that words of a text are found in; the most alike first."""
    words = [word for word in _WORD.findall(text.casefold()) if word != "not"][:WORDS_AT_MOST]
    if not words:
        return []
    quoted = " ".join(f'"{word}"' for word in words[:-1])
    rows = shelf.page(f"{quoted} {words[-1]}", "title", False, 0, LOOKED_AT)
    sets = sets_of(index, choices, [row.id for row in rows])
    found = {
        (title.name, title.contents): title
        for title in (
            _title(sets[row.id]) if row.id in sets else _alone(row) for row in rows if row.sha256
        )
    }
    return sorted(found.values(), key=lambda title: (not title.is_set, title.name))


def words_near(row: ShelfRow) -> str:
    """By what to look for the mates of an image before anything is typed."""
    return " ".join(_name_of(row).split()[:1])


def _name_of(row: ShelfRow) -> str:
    """What the set of a disk would be called: its name without a mark, where it is no letter."""
    for text in (stem(row.file_name), row.title):
        name = read_name(text)
        if name.key:
            return (text if name.lettered else name.key)[:SET_NAME_LIMIT]
    return "untitled"


def _title(disks: DiskSet) -> Title:
    first = disks.disks[0]
    contents = tuple(dict.fromkeys(disk.sha256 for disk in disks.disks))
    return Title(
        disks.name, contents, shown_title(first.title, first.file_name), True, disks.by_user
    )


def _alone(row: ShelfRow) -> Title:
    return Title(_name_of(row), (row.sha256,), row.shown_title, is_set=False)


def _folded(name: str) -> str:
    return " ".join(name.casefold().split())
