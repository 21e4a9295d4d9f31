"""What the index keeps of one image: plain rows, which processes hand one another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from formats.findings import Verdict
from loadglass.sources import Source

VERDICTS = tuple(Verdict)
"""The index keeps a verdict as its place here."""
NEVER_NS = -1
"""In place of a time: the file is to be read again."""

Row = tuple[Any, ...]


class Texts(NamedTuple):
    title: str
    names: str
    file: str


class ImageColumns(NamedTuple):
    """Columns of `images` that come from the image; see schema.py."""

    size_bytes: int
    mtime_ns: int
    audit_version: int
    file_name: str
    title: str
    verdict: int
    why: str = ""
    kind: str = ""
    tracks: int = 0
    files: int = 0
    programs: int = 0
    blocks: int = 0
    free: int = 0
    findings: str = ""
    sha256: bytes | None = None
    name_key: str = ""
    title_key: str = ""


@dataclass(slots=True)
class Record:
    """All rows of one image, without its id."""

    columns: ImageColumns
    texts: Texts
    entries: list[Row]
    places: bytes = b""
    times: Sequence[Row] = ()
    """Of each rig in turn: start_s, all_s, files_s."""

    @property
    def failed(self) -> bool:
        return VERDICTS[self.columns.verdict] is Verdict.UNREADABLE


class Item(NamedTuple):
    """An image to be read, and what the folder said about its file."""

    number: int
    """The survey's own, to know it again."""
    source: Source
    size_bytes: int
    mtime_ns: int


Batch = list[Item]
BATCH_IMAGES = 48
"""Best clocked together; and no more than these are lost by a stop."""
SMALL_BATCH = 8
"""Where they are to be done soon: a stop is heard between two batches."""
