"""An image from files, laid out the way the stock drive does it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from formats import records
from formats.blockmap import write_map
from formats.directory import DEL, ENTRIES_IN_SECTOR, ENTRY_BYTES, PADDING, PRG, REL
from formats.errors import DoesNotFit
from formats.geometry import (
    BLOCK_BYTES,
    DATA_BYTES,
    TRACKS_35,
    TRACKS_70,
    TRACKS_80,
    Geometry,
    Place,
)
from formats.petscii import to_text
from formats.side_sectors import PLACES_IN_SIDE, SIDES_IN_GROUP, SUPER_MARK

NAME_BYTES = 16
CLOSED = 0x80
LOCKED = 0x40
STOCK_TRACKS = 35
NEVER_WRITTEN = b"\x4b" + b"\x01" * 255
"""What the stock drive leaves in a block when it formats; most tools leave zeros."""
ZEROS = bytes(BLOCK_BYTES)
NOWHERE = Place(0, 0)


@dataclass(frozen=True)
class NewFile:
    """A file to put on an image."""

    name: bytes
    """1 to 16 bytes of PETSCII."""
    data: bytes
    """All its bytes, a program's load address first; at least one."""
    type_code: int = PRG
    locked: bool = False
    closed: bool = True
    record_length: int = 0
    """REL only: 1 to 254 bytes; the data is a whole number of records."""


def next_sector(sector: int, interleave: int, sectors: int) -> int:
    """Where the drive looks for a file's next block on the same track.

    `interleave` sectors on; past the end it subtracts the number of sectors, and one more
    unless that gave 0 (from memory of drive documentation of the 1980s).
    """
    sector += interleave
    if sector >= sectors:
        sector -= sectors
        if sector > 0:
            sector -= 1
    return sector % sectors


class Allocator:
    """Hands out free blocks in the order in which the stock drive takes them."""

    def __init__(
        self, geometry: Geometry, interleave: int | None = None, extra_tracks: bool = False
    ):
        """interleave: sectors from block to block, the drive's own where None.

        extra_tracks: also use tracks past 35 of the 40- and 42-track layouts, which no
        stock drive does and no standard map covers.
        """
        self.geometry = geometry
        self.interleave = interleave or geometry.interleave
        self.free = np.ones(geometry.blocks, dtype=np.bool_)
        if not extra_tracks:
            self.free[geometry.first_block[geometry.map_tracks] :] = False
        for block in geometry.system_blocks:
            self.free[block] = False

    @property
    def available_blocks(self) -> int:
        """Free blocks outside the reserved tracks."""
        return sum(self._free_on(track) for track in self._outward())

    def chain(self, count: int) -> list[int]:
        """Places for a chain of `count` blocks. Raises DoesNotFit, taking none."""
        if count > self.available_blocks:
            raise DoesNotFit(
                f"{count} blocks are wanted and {self.available_blocks} are free on the "
                f"{self.geometry.name} disk: leave files out, or use another disk"
            )
        blocks: list[int] = []
        for _ in range(count):
            block = self._after(blocks[-1]) if blocks else self._lowest(self._first_track())
            self.free[block] = False
            blocks.append(block)
        return blocks

    def directory_chain(self, count: int) -> list[int]:
        """Places for the directory's sectors on its own track. Raises DoesNotFit."""
        geometry = self.geometry
        track = geometry.directory.track
        if count > self._free_on(track):
            raise DoesNotFit(
                f"the directory of the {geometry.name} disk holds "
                f"{geometry.directory_limit} entries at the most"
            )
        blocks = [geometry.directory_block]
        self.free[blocks[0]] = False
        while len(blocks) < count:
            block = self._upward(track, blocks[-1], geometry.directory_interleave)
            self.free[block] = False
            blocks.append(block)
        return blocks

    def _free_on(self, track: int) -> int:
        first = self.geometry.first_block
        return int(np.count_nonzero(self.free[first[track - 1] : first[track]]))

    def _outward(self) -> Iterator[int]:
        """Tracks from the directory track outward, now on one side of it, now on the other."""
        geometry = self.geometry
        tracks_a_side = geometry.tracks // geometry.sides
        for side in range(geometry.sides):
            middle = geometry.directory.track
            for distance in range(1, tracks_a_side):
                for track in (middle - distance, middle + distance):
                    if 1 <= track <= tracks_a_side:
                        yield track + side * tracks_a_side

    def _first_track(self) -> int:
        return next(track for track in self._outward() if self._free_on(track))

    def _lowest(self, track: int) -> int:
        first = self.geometry.first_block[track - 1]
        return first + int(np.argmax(self.free[first:]))

    def _after(self, block: int) -> int:
        track = self.geometry.place(block).track
        if self._free_on(track):
            return self._upward(track, block, self.interleave)
        return self._lowest(next(t for t in self._onward(track) if self._free_on(t)))

    def _onward(self, track: int) -> Iterator[int]:
        """Tracks to try when `track` is full: away from the directory, then the other side."""
        tracks_a_side = self.geometry.tracks // self.geometry.sides
        base = (track - 1) // tracks_a_side * tracks_a_side
        middle = base + self.geometry.directory.track
        below = range(middle - 1, base, -1)
        above = range(middle + 1, base + tracks_a_side + 1)
        if track < middle:
            yield from range(track - 1, base, -1)
            yield from above
        else:
            yield from range(track + 1, base + tracks_a_side + 1)
            yield from below
        yield from self._outward()

    def _upward(self, track: int, block: int, interleave: int) -> int:
        """The next free sector of a track that has one, from where the drive looks first."""
        first = self.geometry.first_block[track - 1]
        sectors = self.geometry.sectors[track - 1]
        look = next_sector(block - first, interleave, sectors)
        free = self.free[first : first + sectors]
        return first + int(
            next(s % sectors for s in range(look, look + sectors) if free[s % sectors])
        )


def compose(
    title: bytes,
    files: Iterable[NewFile],
    geometry: Geometry = TRACKS_35,
    *,
    disk_id: bytes = b"GH",
    interleave: int | None = None,
    extra_tracks: bool = False,
    filling: bytes = ZEROS,
) -> bytes:
    """The bytes of an image (no error bytes) that holds the files, in their order.

    title: up to 16 bytes. filling: the 256 bytes of a block that no file uses.
    interleave: sectors from a file's block to its next, the drive's own where None.
    Raises DoesNotFit where a name, a length or the room on the disk does not allow it.
    """
    files = list(files)
    check_name(title, "disk title", least=0)
    allocator = Allocator(geometry, interleave, extra_tracks)
    sectors = bytearray(filling * geometry.blocks)
    count = max(1, -(-len(files) // ENTRIES_IN_SECTOR))
    directory = allocator.directory_chain(count)
    entries = b"".join(_place(sectors, allocator, file) for file in files)
    write_directory(sectors, directory, geometry, entries)
    _write_header(sectors, geometry, title, disk_id)
    allocator.free[geometry.first_block[geometry.map_tracks] :] = False
    if geometry is TRACKS_70:
        track = geometry.map_places[0].track
        first = geometry.first_block
        allocator.free[first[track - 1] : first[track]] = False
    write_map(geometry, sectors, allocator.free)
    return bytes(sectors)


def check_name(name: bytes, what: str, least: int = 1) -> None:
    """Raises DoesNotFit where a name or title is no 16 bytes of PETSCII."""
    if not least <= len(name) <= NAME_BYTES or PADDING in name:
        raise DoesNotFit(
            f'the {what} "{to_text(name)}" has {len(name)} bytes: it may have {least} to '
            f"{NAME_BYTES}, and no shifted space (A0), which is the padding"
        )


def blocks_for(data: bytes) -> int:
    """Blocks that a chain of these bytes takes."""
    return -(-len(data) // DATA_BYTES)


def write_chain(sectors: bytearray, geometry: Geometry, blocks: Sequence[int], data: bytes) -> None:
    """Write data along a chain of blocks: links, the last block's end byte, zeros behind it."""
    for position, block in enumerate(blocks):
        part = data[position * DATA_BYTES : (position + 1) * DATA_BYTES]
        last = position == len(blocks) - 1
        link = (0, len(part) + 1) if last else geometry.place(blocks[position + 1])
        at = block * BLOCK_BYTES
        sectors[at : at + BLOCK_BYTES] = bytes(link) + part.ljust(DATA_BYTES, b"\0")


def write_directory(
    sectors: bytearray, blocks: Sequence[int], geometry: Geometry, entries: bytes
) -> None:
    """Write entries of 32 bytes into the directory's sectors and link these."""
    sector_bytes = ENTRIES_IN_SECTOR * ENTRY_BYTES
    for position, block in enumerate(blocks):
        part = bytearray(entries[position * sector_bytes : (position + 1) * sector_bytes])
        part = part.ljust(sector_bytes, b"\0")
        last = position == len(blocks) - 1
        part[:2] = bytes((0, 0xFF) if last else geometry.place(blocks[position + 1]))
        sectors[block * BLOCK_BYTES : (block + 1) * BLOCK_BYTES] = part


def entry_bytes(file: NewFile, start: Place, blocks: int, side_start: Place = NOWHERE) -> bytes:
    """The 32 bytes of a directory entry."""
    flags = (CLOSED if file.closed else 0) | (LOCKED if file.locked else 0)
    return records.Entry.build(
        {
            "link": bytes(NOWHERE),
            "type": file.type_code | flags,
            "start": bytes(start),
            "name": file.name.ljust(NAME_BYTES, PADDING),
            "side": bytes(side_start),
            "record_length": file.record_length,
            "unused": bytes(4),
            "replacement": bytes(NOWHERE),
            "blocks": blocks,
        }
    )


def _place(sectors: bytearray, allocator: Allocator, file: NewFile) -> bytes:
    """Write a file's blocks and give its entry."""
    check_name(file.name, "file name")
    shown = f'"{to_text(file.name)}"'
    if not DEL <= file.type_code <= REL:
        raise DoesNotFit(f"the file {shown} has type {file.type_code}: it may be 0 to 4")
    if not file.data:
        raise DoesNotFit(f"the file {shown} is empty: a file on a disk has at least one byte")
    geometry = allocator.geometry
    is_rel = file.type_code == REL
    count = blocks_for(file.data)
    sides = _side_count(geometry, file, count) if is_rel else 0
    if count + sides > allocator.available_blocks:
        raise DoesNotFit(
            f"the file {shown} needs {count + sides} blocks and "
            f"{allocator.available_blocks} are free on the {geometry.name} disk: "
            "leave it out, or use another disk"
        )
    chain = allocator.chain(count)
    write_chain(sectors, geometry, chain, file.data)
    side_start = NOWHERE
    if is_rel:
        side = allocator.chain(sides)
        _write_sides(sectors, geometry, side, chain, file.record_length)
        side_start = geometry.place(side[0])
    return entry_bytes(file, geometry.place(chain[0]), count + sides, side_start)


def _side_count(geometry: Geometry, file: NewFile, data_blocks: int) -> int:
    shown = f'"{to_text(file.name)}"'
    if not 1 <= file.record_length <= DATA_BYTES or len(file.data) % file.record_length:
        raise DoesNotFit(
            f"the REL file {shown} has records of {file.record_length} bytes and "
            f"{len(file.data)} bytes: a record has 1 to 254, and the file a whole number of them"
        )
    sides = -(-data_blocks // PLACES_IN_SIDE)
    if geometry is TRACKS_80:
        return sides + 1
    if sides > SIDES_IN_GROUP:
        raise DoesNotFit(
            f"the REL file {shown} has {data_blocks} blocks of records, and its "
            f"{SIDES_IN_GROUP} side sectors name {SIDES_IN_GROUP * PLACES_IN_SIDE} at the most"
        )
    return sides


def _write_sides(
    sectors: bytearray,
    geometry: Geometry,
    blocks: Sequence[int],
    chain: Sequence[int],
    record_length: int,
) -> None:
    sides = blocks[1:] if geometry is TRACKS_80 else blocks
    if geometry is TRACKS_80:
        firsts = [geometry.place(block) for block in sides[::SIDES_IN_GROUP]]
        record = {
            "link": bytes(geometry.place(sides[0])),
            "mark": SUPER_MARK,
            "groups": _links(firsts, 126),
            "unused": bytes(1),
        }
        _put(sectors, blocks[0], records.SuperSideSector.build(record))
    for position, block in enumerate(sides):
        group = position // SIDES_IN_GROUP * SIDES_IN_GROUP
        named = chain[position * PLACES_IN_SIDE : (position + 1) * PLACES_IN_SIDE]
        last = position == len(sides) - 1
        link = Place(0, 0x0F + 2 * len(named)) if last else geometry.place(sides[position + 1])
        record = {
            "link": bytes(link),
            "number": position - group,
            "record_length": record_length,
            "side_sectors": _links(
                [geometry.place(b) for b in sides[group : group + SIDES_IN_GROUP]], SIDES_IN_GROUP
            ),
            "data_blocks": _links([geometry.place(b) for b in named], PLACES_IN_SIDE),
        }
        _put(sectors, block, records.SideSector.build(record))


def _links(places: Iterable[Place], count: int) -> bytes:
    return b"".join(map(bytes, places)).ljust(2 * count, b"\0")


def _put(sectors: bytearray, block: int, data: bytes) -> None:
    sectors[block * BLOCK_BYTES : (block + 1) * BLOCK_BYTES] = data


def _write_header(sectors: bytearray, geometry: Geometry, title: bytes, disk_id: bytes) -> None:
    common = {
        "directory": bytes(geometry.directory),
        "title": title.ljust(NAME_BYTES, PADDING),
        "pad_title": PADDING * 2,
        "disk_id": disk_id.ljust(2)[:2],
        "pad_id": PADDING,
    }
    if geometry is TRACKS_80:
        record = common | {
            "format_mark": 0x44,
            "zero": 0,
            "format_name": b"3D",
            "pad_format": PADDING * 2,
            "unused": bytes(256 - 0x1D),
        }
        _put(sectors, geometry.header_block, records.Header80.build(record))
        for half, place in enumerate(geometry.map_places):
            following = geometry.map_places[1] if half == 0 else Place(0, 0xFF)
            map_record = {
                "link": bytes(following),
                "format_mark": 0x44,
                "format_complement": 0xBB,
                "disk_id": disk_id.ljust(2)[:2],
                "io_byte": 0xC0,
                "auto_start": 0,
                "unused": bytes(8),
                "map": bytes(240),
            }
            _put(sectors, geometry.index(*place), records.Map80.build(map_record))
        return
    record = common | {
        "format_mark": 0x41,
        "double_sided": 0x80 if geometry is TRACKS_70 else 0,
        "map": bytes(140),
        "format_name": b"2A",
        "pad_format": PADDING * 4,
        "unused": bytes(0xDD - 0xAB),
        "second_side_counts": bytes(35),
    }
    _put(sectors, geometry.header_block, records.Header.build(record))
    if geometry is TRACKS_70:
        _put(sectors, geometry.index(*geometry.map_places[0]), ZEROS)
