"""Names of images and titles of disks taken apart: what, and which disk of several.

Common practice, no source: what collectors call their images. Disks of one title are told apart
by a *mark*: words ("disk 2 of 3", "side B", "Teil 1"), or a bare letter or digit at the end,
which may mean something else.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from loadglass.sources import NAME_ENDINGS

MARK_WORDS = "disks?|discs?|diskettes?|dsk|floppy|sides?|seite|part|teil"
ORDINALS = {
    **{str(number): number for number in range(1, 100)},
    **{letter: 1 + place for place, letter in enumerate("abcdefgh")},
    **{f"0{number}": number for number in range(1, 10)},
    "one": 1,
    "two": 2,
    "three": 3,
    "four": 4,
    "i": 1,
    "ii": 2,
    "iii": 3,
    "iv": 4,
    "eins": 1,
    "zwei": 2,
    "drei": 3,
    "vier": 4,
}
SIDES = 100
"""Part 100 is the first disk, part 102 its second side."""


class SetName(NamedTuple):
    """A name taken apart."""

    key: str
    """What disks of one title have in common."""
    part: int
    """Which of them it is: disk * SIDES + side; 0: not said."""
    strong: bool
    """The mark is made of words."""
    lettered: bool
    """The mark is a letter."""
    mark: str = ""
    """Its words: `disk 2 of 3`, `side b`, `2`."""


_ORDINAL = r"0?[1-9]|[1-9]\d|[a-h]|one|two|three|four|i|ii|iii|iv|eins|zwei|drei|vier"
_MARKS = (
    re.compile(
        rf"(?:^|(?<=[^a-z]))(?:{MARK_WORDS})[ #]?(?P<first>{_ORDINAL})(?![a-z0-9])"
        rf"(?: ?(?:of|von|/) ?[1-9]\d?(?!\d))?"
        rf"(?: ?(?:{MARK_WORDS})[ #]?(?P<second>{_ORDINAL})(?![a-z0-9]))?"
    ),
    re.compile(r"(?:^|(?<=[^a-z0-9]))(?P<first>[1-9]) ?(?:of|von|/) ?[2-9](?![0-9])"),
    re.compile(r"(?:^|(?<=[^a-z0-9]))(?P<first>[1-9])(?P<second>[ab])$"),
    re.compile(r"(?:^|(?<=[^a-z0-9]))[ds](?P<first>[1-9])(?:s(?P<second>[1-9ab]))?$"),
)
"""Marks made of words, or as good as words."""
_BARE_MARKS = (
    re.compile(r"(?<=[a-z0-9])[ /#]+(?P<first>[1-9]|[a-h])$"),
    re.compile(r"(?<=[a-z])(?P<first>[1-9])$"),
    re.compile(r"(?<=[a-z0-9])(?P<first>[a-d])$"),
)
_BETWEEN_WORDS = re.compile(r"[^a-z0-9/#]+")


def read_name(name: str) -> SetName:
    """Take a title, or a file's name without its ending, apart."""
    text = _BETWEEN_WORDS.sub(" ", name.casefold()).strip(" /#")
    for pattern in _MARKS:
        if match := pattern.search(text):
            ordinals = match.groupdict()
            side = ORDINALS[ordinals["second"]] if ordinals.get("second") else 0
            part = ORDINALS[ordinals["first"]] * SIDES + side
            rest = f"{text[: match.start()]} {text[match.end() :]}"
            return SetName(" ".join(rest.split()).strip(" /#"), part, True, False, match[0])
    for pattern in _BARE_MARKS:
        if match := pattern.search(text):
            key, ordinal = text[: match.start()].strip(" /#"), match["first"]
            part = ORDINALS[ordinal] * SIDES
            return SetName(key, part, False, ordinal.isalpha(), ordinal)
    return SetName(text, 0, False, False)


def stem(file_name: str) -> str:
    """A file name without its ending as an image."""
    lower = file_name.lower()
    ending = max((each for each in NAME_ENDINGS if lower.endswith(each)), key=len, default="")
    return file_name[: len(file_name) - len(ending)] if ending else file_name
