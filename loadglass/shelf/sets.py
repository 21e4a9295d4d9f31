"""Disks of one title: which images belong together by their names and titles."""

from __future__ import annotations

import re
from typing import NamedTuple

from loadglass.sources import NAME_ENDINGS

STRONG_WORDS = "disk|disc|diskette|dsk|floppy|side|seite|part|teil"
"""Words before a number or letter that say: one of several disks of this title."""
ORDINALS = {
    **{str(number): number for number in range(1, 100)},
    **{letter: 1 + place for place, letter in enumerate("abcdefgh")},
    "one": 1,
    "two": 2,
    "three": 3,
    "four": 4,
    "ii": 2,
    "iii": 3,
    "iv": 4,
    "eins": 1,
    "zwei": 2,
    "drei": 3,
    "vier": 4,
}
_ORDINAL = r"(?P<{}>[1-9]\d?|[a-h]|one|two|three|four|ii|iii|iv|eins|zwei|drei|vier)"


class SetName(NamedTuple):
    """A name taken apart."""

    key: str
    """What disks of one title have in common."""
    part: int
    """Which of them it is, from 1; 0: the name does not say."""
    strong: bool
    """The name says in words that it is one of several."""
    lettered: bool
    """The part is given as a letter."""


_STRONG = re.compile(
    rf"(?:^|(?<=[^a-z]))(?:{STRONG_WORDS})[ #]?{_ORDINAL.format('first')}(?![a-z0-9])"
    rf"(?: ?(?:{STRONG_WORDS})[ #]?{_ORDINAL.format('second')}(?![a-z0-9]))?"
    r"(?: ?(?:of|von|/) ?[1-9]\d?(?!\d))?"
)
_SHORT = re.compile(r"(?:^|(?<=[^a-z0-9]))[ds](?P<first>[1-9])(?:[ds]?(?P<second>[1-9ab]))?$")
_OF = re.compile(r"(?:^|(?<=[^0-9]))(?P<first>[1-9]) ?(?:of|von|/) ?(?P<total>[2-9])(?![0-9])")
_WEAK = re.compile(r"(?<=[a-z0-9)] )(?P<first>[1-9]|[a-h])$|(?<=[a-z])(?P<glued>[1-9])$")
_GLUED_LETTER = re.compile(r"(?<=[a-z0-9])(?P<first>[a-d])$")
_SEPARATORS = re.compile(r"[^a-z0-9/#]+")


def read_name(name: str) -> SetName:
    """Take a title, or a file's name without its ending, apart."""
    text = _SEPARATORS.sub(" ", name.casefold()).strip(" /#")
    for pattern in (_STRONG, _SHORT, _OF):
        if match := pattern.search(text):
            groups = match.groupdict()
            if int(groups.get("total") or 9) < ORDINALS[groups["first"]]:
                continue
            part = ORDINALS[groups["first"]]
            if groups.get("second"):
                part = part * 10 + ORDINALS[groups["second"]]
            rest = text[: match.start()] + " " + text[match.end() :]
            return SetName(" ".join(rest.split()), part, True, groups["first"].isalpha())
    for pattern in (_WEAK, _GLUED_LETTER):
        if match := pattern.search(text):
            ordinal = next(group for group in match.groups() if group)
            key = text[: match.start()].strip()
            return SetName(key, ORDINALS[ordinal], False, ordinal.isalpha())
    return SetName(text, 0, False, False)


def stem(file_name: str) -> str:
    """A file name without its ending as an image."""
    lower = file_name.lower()
    ending = max((e for e in NAME_ENDINGS if lower.endswith(e)), key=len, default="")
    return file_name[: len(file_name) - len(ending)] if ending else file_name
