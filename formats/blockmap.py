"""The block map: which blocks the disk itself calls free."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np
from numpy.typing import NDArray

from formats.directory import parser
from formats.geometry import BLOCK_BYTES, TRACKS_70, TRACKS_80, Geometry, Place
from formats.image import DiskImage

MAP_OFFSET = 4
SECOND_SIDE_COUNTS = 0xDD
MAP_OFFSET_80 = 0x10


@dataclass(frozen=True, eq=False)
class BlockMap:
    geometry: Geometry
    counts: NDArray[np.uint8]
    """Free count of each mapped track; shape (map_tracks,)."""
    bits: NDArray[np.uint8]
    """Bits of each mapped track as bytes, lowest bit first; shape (map_tracks, 3 or 5)."""

    @cached_property
    def mapped_blocks(self) -> int:
        """Blocks 0 to this one are in the map; those of tracks past it are outside it."""
        return self.geometry.first_block[self.geometry.map_tracks]

    @cached_property
    def _unpacked(self) -> NDArray[np.uint8]:
        return np.unpackbits(self.bits, axis=1, bitorder="little")

    @cached_property
    def free(self) -> NDArray[np.bool_]:
        """Whether the bit of each block says free; False outside the map; shape (blocks,)."""
        free = np.zeros(self.geometry.blocks, dtype=np.bool_)
        free[: self.mapped_blocks] = self._unpacked[_bit_mask(self.geometry)]
        return free

    @cached_property
    def used(self) -> NDArray[np.bool_]:
        """Whether the map marks each block used; False outside the map; shape (blocks,)."""
        used = ~self.free
        used[self.mapped_blocks :] = False
        return used

    @cached_property
    def counted(self) -> NDArray[np.int64]:
        """Bits set for the real sectors of each mapped track; shape (map_tracks,)."""
        free = (self._unpacked & _bit_mask(self.geometry)).sum(axis=1)
        counted: NDArray[np.int64] = free.astype(np.int64)
        return counted

    @cached_property
    def blocks_free(self) -> int:
        """The map's counts outside the reserved tracks, as the machine shows them."""
        return int(self.counts[_outside_reserved(self.geometry)].sum())

    @cached_property
    def one_value(self) -> bool:
        """Whether the map is one value throughout: nobody keeps it."""
        values = np.concatenate([self.counts, self.bits.ravel()])
        return bool((values == values[0]).all())


@cache
def _bit_mask(geometry: Geometry) -> NDArray[np.bool_]:
    """Which bits stand for real sectors; shape (map_tracks, 24 or 40)."""
    bits = 40 if geometry is TRACKS_80 else 24
    sectors = np.array(geometry.sectors[: geometry.map_tracks])
    mask: NDArray[np.bool_] = np.arange(bits) < sectors[:, None]
    return mask


@cache
def _outside_reserved(geometry: Geometry) -> NDArray[np.bool_]:
    tracks = np.arange(1, geometry.map_tracks + 1)
    return ~np.isin(tracks, list(geometry.reserved_tracks))


def count_place(geometry: Geometry, track: int) -> Place:
    """The sector that holds the free count of a track."""
    if geometry is TRACKS_80:
        return geometry.map_places[(track - 1) // 40]
    return geometry.header


def read_map(image: DiskImage) -> BlockMap:
    """The block map as it stands on the disk; it may be nonsense, and reading it never fails."""
    geometry = image.geometry
    if geometry is TRACKS_80:
        halves = [parser("Map80").parse(image.at(*place)).map for place in geometry.map_places]
        entries = np.frombuffer(b"".join(halves), dtype=np.uint8).reshape(80, 6)
        return BlockMap(geometry, entries[:, 0], entries[:, 1:])
    header = parser("Header").parse(image.block(geometry.header_block))
    entries = np.frombuffer(header.map, dtype=np.uint8).reshape(35, 4)
    counts, bits = entries[:, 0], entries[:, 1:]
    if geometry is TRACKS_70:
        second = parser("SecondSideMap").parse(image.at(*geometry.map_places[0])).bits
        second_counts = np.frombuffer(header.second_side_counts, dtype=np.uint8)
        counts = np.concatenate([counts, second_counts])
        bits = np.concatenate([bits, np.frombuffer(second, dtype=np.uint8).reshape(35, 3)])
    return BlockMap(geometry, counts, bits)


def write_map(geometry: Geometry, sectors: bytearray, free: NDArray[np.bool_]) -> None:
    """Write the bits, and the counts that agree with them, into an image's sectors.

    free: whether each block is free; shape (blocks,). Blocks outside the map are passed over.
    """
    mask = _bit_mask(geometry)
    bits = np.zeros(mask.shape, dtype=np.uint8)
    bits[mask] = free[: geometry.first_block[geometry.map_tracks]]
    counts = bits.sum(axis=1).astype(np.uint8)
    packed = np.packbits(bits, axis=1, bitorder="little")
    entries = np.concatenate([counts[:, None], packed], axis=1)
    if geometry is TRACKS_80:
        for half, place in enumerate(geometry.map_places):
            at = geometry.index(*place) * BLOCK_BYTES + MAP_OFFSET_80
            sectors[at : at + 240] = entries[half * 40 : half * 40 + 40].tobytes()
        return
    at = geometry.header_block * BLOCK_BYTES
    sectors[at + MAP_OFFSET : at + MAP_OFFSET + 140] = entries[:35].tobytes()
    if geometry is TRACKS_70:
        at_counts = at + SECOND_SIDE_COUNTS
        sectors[at_counts : at_counts + 35] = counts[35:].tobytes()
        second = geometry.index(*geometry.map_places[0]) * BLOCK_BYTES
        sectors[second : second + 105] = packed[35:].tobytes()
