"""Names that every computer and the drive's own listing take: on FAT, and in 16 characters.

A name holds nothing but ASCII letters, digits, spaces and a few marks; so FAT, whatever its code
page, keeps it as it is. Reserved characters and names are as documented for long names on FAT
and for the file names of the operating systems that use it (from memory); what the drive's own
commands take for something else (`$ * , : = @ ?`) is left out as well.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from itertools import count

from loadglass.card.candidates import Candidate
from loadglass.device_names import is_device_name
from loadglass.shelf.names import MARK_WORDS, SIDES, read_name, stem
from loadglass.sources import IMAGE_SUFFIXES

NAME_LIMIT = 16
"""Characters that the home computer's file browsers show (common practice, no source)."""
UNTITLED = "Untitled"
MENDED = " (m)"
"""Behind the name of a mended copy."""

_LETTERS = "ßss ẞSS æae ÆAe œoe ŒOe øo ØO đd ĐD łl ŁL þth ÞTh ðd ıi £L €E πpi"
_SPELLED: dict[int, str | int | None] = {
    **{ord(pair[0]): pair[1:] for pair in _LETTERS.split()},
    **str.maketrans(
        '[]{}<>“”"`’–—─~/\\|:=;,_^%*@$',
        "()()()'''''---------     +aS",
        "?",
    ),
}
_KEPT = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789 !#&'()+-.")

_BRACKETS = re.compile(r"\s*\([^()]*\)")
_MARK = re.compile(
    rf"[\s(-]*\b(?:{MARK_WORDS})[ #]?(?P<ordinal>\d{{1,2}}|[a-h])\b(?: ?(?:of|von) ?\d{{1,2}})?\)?",
    re.IGNORECASE,
)
_BARE_MARK = re.compile(r"[\s(-]*\b(?:\d( ?of ?\d)?|[a-h]|[ds]\d(s?[\dab])?)\)?$", re.IGNORECASE)
_LAYOUT_SUFFIXES = {
    "35-track": (".d64",),
    "40-track": (".d64", ".d40"),
    "42-track": (".d64", ".d42"),
    "70-track": (".d71",),
    "80-track": (".d81",),
}
"""Endings of an image of each layout, the usual one first."""


def plain_text(text: str) -> str:
    """A text in characters that are safe in a name; may be empty, too long or reserved."""
    spelled = unicodedata.normalize("NFKD", text.translate(_SPELLED)).translate(_SPELLED)
    kept = "".join(character if character in _KEPT else "" for character in spelled)
    return " ".join(kept.split())


def safe_name(text: str, limit: int = NAME_LIMIT) -> str:
    """A name without its ending: of at most `limit` characters, never empty and never reserved.

    limit: 8 or more.
    """
    name = plain_text(text).lstrip(" .-")[:limit].rstrip(" .-")
    if is_device_name(name):
        head, dot, rest = name.partition(".")
        name = f"{head.rstrip()}-{dot}{rest}"[:limit].rstrip(" .")
    return name or UNTITLED[:limit]


def clash_key(name: str) -> str:
    """The same for two names of which FAT keeps only one.

    FAT compares what its own table makes upper case; other systems fold or normalise. Names
    that any of them takes for one are alike here.
    """
    return unicodedata.normalize("NFC", name).upper().casefold()


def ending_for(candidate: Candidate) -> str:
    """The ending that tells a drive the layout: the image's own, if it can be believed."""
    allowed = _LAYOUT_SUFFIXES[candidate.layout]
    lower = candidate.file_name.lower()
    own = next((suffix for suffix in IMAGE_SUFFIXES if _ends(lower, suffix)), None)
    return own if own in allowed else allowed[0]


def _ends(name: str, suffix: str) -> bool:
    return name.endswith((suffix, suffix + ".gz"))


def readable_name(candidate: Candidate) -> str:
    """The image's file name in 16 characters, with its disk or side; not yet unique.

    Its disk's title stands in where the file name has no letter or digit that is safe.
    """
    name = plain_text(stem(candidate.file_name))
    if not any(character.isalnum() for character in name):
        name = plain_text(candidate.title)
    mark = MENDED if candidate.mended else ""
    room = NAME_LIMIT - len(mark)
    if len(name) > room:
        base, part = _parted(name, candidate.set_parts > 1)
        base = _BRACKETS.sub("", base) or base
        name = _cut(base, room - len(part)) + part
    return safe_name(name + mark)


def _parted(name: str, in_set: bool) -> tuple[str, str]:
    """A name without what says which disk or side it is; and that, as short as can be: ` 2B`."""
    if ordinals := [match["ordinal"].upper() for match in _MARK.finditer(name)]:
        return _MARK.sub("", name), " " + "".join(ordinals)
    read = read_name(name)
    if not read.part or not (read.strong or in_set):
        return name, ""
    disk, side = divmod(read.part, SIDES)
    part = f" {disk}{chr(ord('A') + side - 1)}" if side else f" {disk}"
    return _BARE_MARK.sub("", name), part


def _cut(text: str, limit: int) -> str:
    """The text within a limit: whole words if few characters are lost by that."""
    if len(text) <= limit:
        return text
    words = text[: limit + 1].rpartition(" ")[0]
    return words if len(words) >= limit - 3 else text[:limit].rstrip()


def numbered(name: str, number: int, limit: int = NAME_LIMIT) -> str:
    """Another name for the second, third ... of a name.

    Never with a tilde: FAT's own short names have one, and would be met.
    """
    mark = f" ({number})"
    return name[: limit - len(mark)].rstrip(" .-") + mark


def names_to_try(name: str, first: int = 1) -> Iterator[str]:
    """The name, `NAME (2)`, `NAME (3)` ..., from the `first` one on; without an end."""
    return (name if number == 1 else numbered(name, number) for number in count(first))
