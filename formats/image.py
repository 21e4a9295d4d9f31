"""DiskImage: the bytes of an image placed on a layout, and what they say block by block."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from formats.errors import NotAnImage
from formats.geometry import BLOCK_BYTES, LAYOUTS, LONGEST_BYTES, TRACKS_35, Geometry

SHORTEST_BYTES = TRACKS_35.first_block[18] * BLOCK_BYTES + 1
"""Past the end of track 18: less has no more than the directory track, or not all of it."""

GOOD = 0x01
"""The error byte of a block that reads well, as it is written."""
FAILING_ERROR_BYTES = frozenset({0x02, 0x03, 0x04, 0x05, 0x09, 0x0B, 0x0F})
"""Error bytes that make a read fail (drive manuals of the 1980s, from memory)."""
ERROR_MEANINGS = {
    0x00: "good",
    0x01: "good",
    0x02: "header block not found",
    0x03: "no sync",
    0x04: "data block not found",
    0x05: "data checksum wrong",
    0x06: "write-verify error",
    0x07: "write-verify error",
    0x08: "write protected",
    0x09: "header checksum wrong",
    0x0A: "data block too long",
    0x0B: "disk ID does not match",
    0x0F: "drive not ready",
}

_FAILS = np.isin(np.arange(256), list(FAILING_ERROR_BYTES))


def status_number(error_byte: int) -> int:
    """The number on the drive's status channel for an error byte; 0 where it reports none."""
    if 0x02 <= error_byte <= 0x0B:
        return error_byte + 18
    return 74 if error_byte == 0x0F else 0


def _lay_out(size_bytes: int) -> tuple[Geometry, bool]:
    """The layout for a size, and whether error bytes follow. Raises NotAnImage."""
    for geometry in reversed(LAYOUTS):
        if size_bytes >= geometry.size_bytes:
            return geometry, size_bytes >= geometry.size_bytes + geometry.blocks
    if size_bytes >= SHORTEST_BYTES:
        return TRACKS_35, False
    raise NotAnImage(
        f"{size_bytes:,} bytes are too few for a disk image: the 35-track layout has "
        f"{TRACKS_35.size_bytes:,}, and past the end of track 18 it is {SHORTEST_BYTES:,}"
    )


@dataclass(frozen=True, eq=False)
class DiskImage:
    """An image in memory; never changed.

    `sectors` holds geometry.blocks * 256 bytes (zeros where a short image has none),
    `error_bytes` one byte a block or None, `extra` what follows the layout.
    """

    geometry: Geometry
    sectors: bytes
    error_bytes: bytes | None
    extra: bytes
    present_bytes: int
    """Bytes of `sectors` that the image file has; fewer than all in a short image."""

    @classmethod
    def from_bytes(cls, data: bytes) -> DiskImage:
        """Place the bytes of an image file on the layout of its size. Raises NotAnImage."""
        if not data:
            raise NotAnImage("the file is empty: there is no disk image in it")
        if len(data) > LONGEST_BYTES:
            raise NotAnImage(
                f"{len(data):,} bytes are too many for a disk image: "
                f"the largest layout has {LAYOUTS[-1].size_bytes:,}"
            )
        geometry, has_errors = _lay_out(len(data))
        size = geometry.size_bytes
        errors: bytes | None = None
        extra = data[size:]
        if has_errors:
            errors, extra = extra[: geometry.blocks], extra[geometry.blocks :]
            if extra and not set(errors) <= ERROR_MEANINGS.keys():  # padding, not error bytes
                errors, extra = None, data[size:]
        return cls(
            geometry=geometry,
            sectors=data[:size].ljust(size, b"\0"),
            error_bytes=errors,
            extra=extra,
            present_bytes=min(len(data), size),
        )

    def to_bytes(self) -> bytes:
        """The image file again, byte for byte."""
        return self.sectors[: self.present_bytes] + (self.error_bytes or b"") + self.extra

    @property
    def present_blocks(self) -> int:
        """Blocks that are wholly there; fewer than geometry.blocks in a short image."""
        return self.present_bytes // BLOCK_BYTES

    @property
    def kind(self) -> str:
        """The layout in words: `35-track`, `40-track with error bytes`, ..."""
        return self.geometry.name + (" with error bytes" if self.error_bytes is not None else "")

    def block(self, index: int) -> bytes:
        """The 256 bytes of a block."""
        return self.sectors[index * BLOCK_BYTES : (index + 1) * BLOCK_BYTES]

    def at(self, track: int, sector: int) -> bytes:
        """The 256 bytes at a place. Raises OffDisk."""
        return self.block(self.geometry.index(track, sector))

    def link(self, index: int) -> tuple[int, int]:
        """Track and sector in the first two bytes of a block."""
        return self.sectors[index * BLOCK_BYTES], self.sectors[index * BLOCK_BYTES + 1]

    def error_byte(self, index: int) -> int:
        return GOOD if self.error_bytes is None else self.error_bytes[index]

    @cached_property
    def array(self) -> NDArray[np.uint8]:
        """All sectors; shape (blocks, 256), read-only."""
        return np.frombuffer(self.sectors, dtype=np.uint8).reshape(-1, BLOCK_BYTES)

    @cached_property
    def next_blocks(self) -> list[int]:
        """Of each block the next one by its link, or END or OFF_DISK."""
        links = np.frombuffer(self.sectors, dtype="<u2")[:: BLOCK_BYTES // 2]
        following: list[int] = self.geometry.next_of_link[links].tolist()
        return following

    @cached_property
    def blank(self) -> NDArray[np.bool_]:
        """Whether each block looks never written: one value throughout, or 4B and 255 x 01."""
        result = self._may_be_blank.copy()
        some = np.flatnonzero(result)
        words = self._words[some]
        first, second = words[:, 0], words[:, 1]
        alike = (words[:, 1:] == second[:, None]).all(axis=1)
        alike &= second == (second & 0xFF) * np.uint64(0x0101010101010101)
        fresh = first == np.uint64(0x010101010101014B)
        fresh &= second == np.uint64(0x0101010101010101)
        result[some] = alike & ((first == second) | fresh)
        return result

    def is_blank(self, block: int) -> bool:
        """As `blank` of one block; where the answer is no, often without looking through all."""
        return bool(self._may_be_blank[block]) and bool(self.blank[block])

    @cached_property
    def _may_be_blank(self) -> NDArray[np.bool_]:
        """A first look at each block, which few with something in them pass."""
        result: NDArray[np.bool_] = self._words[:, 1] == self._words[:, -1]
        return result

    @cached_property
    def _words(self) -> NDArray[np.uint64]:
        """All sectors by eight bytes; shape (blocks, 32)."""
        return np.frombuffer(self.sectors, dtype="<u8").reshape(-1, BLOCK_BYTES // 8)

    @cached_property
    def fails(self) -> NDArray[np.bool_]:
        """Whether a read of each block fails: by its error byte, or for want of the block."""
        failing = np.zeros(self.geometry.blocks, dtype=np.bool_)
        if self.error_bytes is not None:
            failing |= _FAILS[np.frombuffer(self.error_bytes, dtype=np.uint8)]
        failing[self.present_blocks :] = True
        return failing

    @cached_property
    def hurdles(self) -> bytes:
        """A byte a block, not 00 where a walk must look twice: it fails or may be blank."""
        return (self.fails | self._may_be_blank).tobytes()
