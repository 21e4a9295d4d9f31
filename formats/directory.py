"""The header, the directory's chain and its entries."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any, NamedTuple

import construct

from formats import records
from formats.chains import Chain, Ending, follow, marks
from formats.geometry import TRACKS_80, Geometry, Place
from formats.image import DiskImage
from formats.petscii import to_text

PADDING = b"\xa0"
ENTRY_BYTES = 32
ENTRIES_IN_SECTOR = 8

DEL, SEQ, PRG, USR, REL, PARTITION = range(6)
KINDS = ("DEL", "SEQ", "PRG", "USR", "REL", "partition")
UNKNOWN_KIND = "?"


@cache
def parser(name: str) -> Any:
    """The compiled form of a declaration of records.py: several times as fast, made once."""
    return getattr(records, name).compile()


@cache
def unpacker(name: str) -> struct.Struct:
    """The same declaration as one `struct`, ten times as fast again; of fixed fields only.

    Gives the fields in the order of their declaration.
    """
    kinds = [field.subcon for field in getattr(records, name).subcons]
    codes = [
        f"{kind.length}s" if isinstance(kind, construct.Bytes) else kind.fmtstr.lstrip("<>")
        for kind in kinds
    ]
    return struct.Struct("<" + "".join(codes))


class Entry(NamedTuple):
    """A directory entry that is or was in use."""

    slot: int
    """Eight times the place of its sector in the directory's chain, plus its place there."""
    type_byte: int
    name: bytes
    """Up to the first A0."""
    after_name: bytes
    """What stands behind it: shown after the closing quote."""
    start: Place
    blocks: int
    """The length in blocks that the entry states."""
    side_start: Place
    record_length: int
    raw: bytes
    """All 32 bytes."""
    kind: str
    """DEL, SEQ, PRG, USR, REL, partition, or ? where the layout has no such type."""

    @property
    def text(self) -> str:
        """The name in the upper-case set, unprintable codes made visible."""
        return to_text(self.name)

    @property
    def type_code(self) -> int:
        return self.type_byte & 0x07

    @property
    def closed(self) -> bool:
        return bool(self.type_byte & 0x80)

    @property
    def locked(self) -> bool:
        return bool(self.type_byte & 0x40)

    @property
    def listed_type(self) -> str:
        """As the machine lists it: `*` before an unclosed one, `<` behind a locked one."""
        return f"{'' if self.closed else '*'}{self.kind}{'<' if self.locked else ''}"

    @property
    def being_replaced(self) -> bool:
        return bool(self.type_byte & 0x20)


@dataclass(frozen=True)
class Directory:
    title: bytes
    """16 bytes at most, without its padding."""
    disk_id: bytes
    format_name: bytes
    format_mark: int
    first_link: Place
    entries: tuple[Entry, ...]
    """In use, in slot order."""
    scratched: tuple[Entry, ...]
    """Type byte 00, but a start is left of the entry."""
    chain: Chain
    """The directory's sectors, as far as they can be read."""
    geometry: Geometry

    @property
    def header_block(self) -> int:
        return self.geometry.header_block

    @property
    def blocks(self) -> Sequence[int]:
        """The directory's sectors in chain order."""
        return self.chain.blocks

    @cached_property
    def owned(self) -> frozenset[int]:
        """The header's, the map's and the directory's blocks."""
        return frozenset((*self.geometry.system_blocks, *self.chain.blocks))

    @cached_property
    def barred(self) -> bytes:
        """Those blocks as `chains.marks`: no file's chain may enter them."""
        return bytes(marks(self.geometry, self.owned))

    def search_blocks(self, slot: int) -> list[int]:
        """What the drive reads to find an entry: the header, then sectors up to the entry's."""
        return [self.header_block, *self.chain.blocks[: slot // ENTRIES_IN_SECTOR + 1]]


def kind_of(type_byte: int, partitions: bool) -> str:
    code = type_byte & 0x07
    if code < PARTITION or (code == PARTITION and partitions):
        return KINDS[code]
    return UNKNOWN_KIND


def _entry(raw: bytes, slot: int, partitions: bool) -> Entry:
    _, type_byte, start, name, side, record_length, _, _, blocks = unpacker("Entry").unpack(raw)
    name, found, behind = name.partition(PADDING)
    return Entry(
        slot=slot,
        type_byte=type_byte,
        name=name,
        after_name=behind.rstrip(PADDING) if found else b"",
        start=Place(*start),
        blocks=blocks,
        side_start=Place(*side),
        record_length=record_length,
        raw=raw,
        kind=kind_of(type_byte, partitions),
    )


def _directory_chain(image: DiskImage) -> Chain:
    """The directory's sectors; a never written one has no entries, and zeros end it."""
    geometry = image.geometry
    barred = marks(geometry, geometry.system_blocks)
    chain = follow(image, geometry.directory_block, None, barred)
    for position, block in enumerate(chain.blocks):
        if image.is_blank(block) and image.link(block)[0]:
            return Chain(chain.blocks[:position], Ending.BLANK, stopped_at=block)
    return chain


def read_directory(image: DiskImage) -> Directory:
    """Title and entries of an image. Reads what can be read; judges nothing, raises nothing.

    The directory starts at the layout's own place (18/1, or 40/3), as the drive has it,
    whatever the header's link says.
    """
    geometry = image.geometry
    header_record = parser("Header80" if geometry is TRACKS_80 else "Header").parse(
        image.block(geometry.header_block)
    )
    chain = _directory_chain(image)
    entries: list[Entry] = []
    scratched: list[Entry] = []
    partitions = geometry is TRACKS_80
    for position, block in enumerate(chain.blocks):
        sector = image.block(block)
        for i in range(ENTRIES_IN_SECTOR):
            raw = sector[i * ENTRY_BYTES : (i + 1) * ENTRY_BYTES]
            if raw[2]:
                entries.append(_entry(raw, position * ENTRIES_IN_SECTOR + i, partitions))
            elif raw[3]:
                scratched.append(_entry(raw, position * ENTRIES_IN_SECTOR + i, partitions))
    return Directory(
        title=header_record.title.rstrip(PADDING),
        disk_id=header_record.disk_id,
        format_name=header_record.format_name,
        format_mark=header_record.format_mark,
        first_link=Place(*header_record.directory),
        entries=tuple(entries),
        scratched=tuple(scratched),
        chain=chain,
        geometry=geometry,
    )
