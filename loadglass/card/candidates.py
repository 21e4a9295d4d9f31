"""What may go onto a card: an image as far as choosing and naming look at it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from formats.findings import Verdict
from loadglass.shelf.names import stem

_WORD = re.compile(r"[^\W\d_]{3,}")
_COPY = re.compile(r"\b(copy|kopie|backup|duplicate)\b|[ _]?\(\d+\)$|~\d+$", re.IGNORECASE)
_SQUEEZED_LENGTH = 8
"""Names of old file systems were no longer, and many are cut words."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """One image that may go onto the card. Nothing of it needs the image to be open."""

    path: str
    """As opened again: `source_of(path)`."""
    sha256: str
    """Of its sectors, in hexadecimal: who the image is."""
    title: str
    file_name: str
    size_bytes: int
    """Unpacked, with error bytes and whatever else follows the sectors."""
    verdict: Verdict
    kind: str
    """The layout in words: `35-track`, `40-track with error bytes`."""
    start_s: Mapping[str, float | None] = field(default_factory=dict)
    """By rig: seconds of the first program; None where there is none."""
    all_s: Mapping[str, float | None] = field(default_factory=dict)
    """By rig: seconds of every program in a row."""
    rating: int | None = None
    tags: tuple[str, ...] = ()
    set_id: str = ""
    """The same for all disks of a set; empty: it stands alone."""
    set_name: str = ""
    set_part: int = 0
    """Which disk or side of the set it is; two of one part are copies."""
    set_parts: int = 1
    """Parts of that set which the shelf knows."""
    twins: str = ""
    """The same for all twins of one another; empty: it has none."""
    gone: bool = False
    why: str = ""
    """Nothing can be loaded from it."""
    archive: str = ""
    """The file on disk that it is a member of; empty: `path` is the file."""
    named: bool = True
    """By a pick or a filter; otherwise it is one of all that the shelf has."""
    mended: bool = False
    """A mended copy is taken in its place; `verdict` is the copy's."""

    @property
    def layout(self) -> str:
        return layout_of(self.kind)


def layout_of(kind: str) -> str:
    """`35-track` of `35-track with error bytes`."""
    return kind.partition(" with ")[0]


VERDICT_ORDER = {verdict: place for place, verdict in enumerate(Verdict)}


def soundest_then_best_named(candidate: Candidate) -> tuple[Any, ...]:
    """Sorts twins, the one to take first.

    A good name has words in it, is no copy's, is not squeezed into eight characters, and shares
    a word with the disk's title (common practice, no source).
    """
    name = stem(candidate.file_name)
    words = {word.casefold() for word in _WORD.findall(name)}
    title_words = {word.casefold() for word in _WORD.findall(candidate.title)}
    return (
        VERDICT_ORDER[candidate.verdict],
        not words,
        bool(_COPY.search(name)),
        len(name) <= _SQUEEZED_LENGTH and name == name.upper(),
        not words & title_words,
        len(candidate.path),
        candidate.path,
    )
