"""Small images for the tests: composed from files, then changed in one place by name.

The disks are those of the computer club of the harbour town Grauhaven. On a 35-track disk the
first file lies on 17/0, 17/10, 17/20, 17/8, 17/18 ..., the second one on 17/1, 17/11 ...
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from random import Random

from formats.audit import Audit, audit
from formats.compose import DATA_BYTES, ZEROS, NewFile, compose, write_chain
from formats.geometry import BLOCK_BYTES, TRACKS_35, TRACKS_80, Geometry
from formats.image import DiskImage

At = tuple[int, int]
"""Track and sector."""

DEL, SEQ, PRG, USR, REL, PARTITION = 0x80, 0x81, 0x82, 0x83, 0x84, 0x85
STOCK_FILLING = b"\x4b" + b"\x01" * 255
ONES = b"\x01" * BLOCK_BYTES
NAMES = (b"LEUCHTTURM", b"MOLENFEUER", b"HAFENKRAN", b"NEBELHORN", b"LOTSENBOOT", b"DOCK 4")
END = (0, 0xFF)


def noise(count: int, seed: int = 0) -> bytes:
    """Bytes without a pattern, the same for a seed."""
    return Random(seed).randbytes(count)


def program(blocks: int, load: int = 0x0801, name: bytes = NAMES[0], seed: int = 0) -> NewFile:
    """A program that fills so many blocks to their last byte."""
    data = load.to_bytes(2, "little") + noise(blocks * DATA_BYTES - 2, seed)
    return NewFile(name, data)


def relative(records: int, length: int = 127, name: bytes = b"MITGLIEDER") -> NewFile:
    return NewFile(name, noise(records * length), REL & 7, record_length=length)


class Disk:
    """An image that is being changed."""

    def __init__(
        self,
        *files: NewFile,
        geometry: Geometry = TRACKS_35,
        filling: bytes = ZEROS,
        extra_tracks: bool = False,
    ) -> None:
        self.geometry = geometry
        self.sectors = bytearray(
            compose(b"GRAUHAVEN", files, geometry, filling=filling, extra_tracks=extra_tracks)
        )
        self.errors: bytearray | None = None
        self.extra = b""

    # -- what comes out

    @property
    def data(self) -> bytes:
        return bytes(self.sectors) + bytes(self.errors or b"") + self.extra

    @property
    def image(self) -> DiskImage:
        return DiskImage.from_bytes(self.data)

    @property
    def audit(self) -> Audit:
        return audit(self.image)

    # -- blocks

    def offset(self, place: At) -> int:
        return self.geometry.index(*place) * BLOCK_BYTES

    def put(self, place: At, data: bytes, at: int = 0) -> Disk:
        """Write bytes into a block."""
        start = self.offset(place) + at
        self.sectors[start : start + len(data)] = data
        return self

    def link(self, place: At, to: At) -> Disk:
        return self.put(place, bytes(to))

    def chain(self, places: Sequence[At], seed: int = 0) -> Disk:
        """A chain of full blocks, marked used in the map; no entry names it."""
        blocks = [self.geometry.index(*place) for place in places]
        write_chain(self.sectors, self.geometry, blocks, noise(len(blocks) * DATA_BYTES, seed))
        return self.mark_used(*places)

    def error(self, place: At, code: int) -> Disk:
        """Append error bytes, good ones but for this block."""
        if self.errors is None:
            self.errors = bytearray(b"\x01" * self.geometry.blocks)
        self.errors[self.geometry.index(*place)] = code
        return self

    # -- the directory

    def entry_offset(self, slot: int) -> int:
        """Where the entry of a slot lies in the image."""
        place: At = self.geometry.directory
        for _ in range(slot // 8):
            track, sector = self.sectors[self.offset(place) : self.offset(place) + 2]
            place = track, sector
        return self.offset(place) + slot % 8 * 32

    def entry(
        self,
        slot: int,
        *,
        kind: int | None = None,
        start: At | None = None,
        name: bytes | None = None,
        blocks: int | None = None,
        side: At | None = None,
        structure: int | None = None,
        desktop_kind: int | None = None,
    ) -> Disk:
        """Change fields of an entry; one that was empty becomes one."""
        at = self.entry_offset(slot)
        fields: list[tuple[int, bytes | None]] = [
            (0x02, None if kind is None else bytes([kind])),
            (0x03, None if start is None else bytes(start)),
            (0x05, None if name is None else name.ljust(16, b"\xa0")),
            (0x15, None if side is None else bytes(side)),
            (0x17, None if structure is None else bytes([structure])),
            (0x18, None if desktop_kind is None else bytes([desktop_kind])),
            (0x1E, None if blocks is None else blocks.to_bytes(2, "little")),
        ]
        for offset, value in fields:
            if value is not None:
                self.sectors[at + offset : at + offset + len(value)] = value
        return self

    def rows(self, slots: Iterable[int], kind: int, start: At, blocks: int = 0) -> Disk:
        """Lines that decorate the directory, all with the same start."""
        for slot in slots:
            name = b"-" * (1 + slot % 16)
            self.entry(slot, kind=kind, start=start, name=name, blocks=blocks)
        return self

    # -- the map, as far as it is in the header of a 35-track disk and of those like it

    def mark_free(self, *places: At) -> Disk:
        return self._mark(places, free=True)

    def mark_used(self, *places: At) -> Disk:
        return self._mark(places, free=False)

    def _mark(self, places: Iterable[At], free: bool) -> Disk:
        in_header = [place for place in places if place[0] <= 35 and self.geometry.sides == 1]
        for track, sector in in_header if self.geometry is not TRACKS_80 else []:
            at = self.offset((18, 0)) + 4 * track
            byte, bit = at + 1 + sector // 8, 1 << sector % 8
            if bool(self.sectors[byte] & bit) != free:
                self.sectors[byte] ^= bit
                self.sectors[at] += 1 if free else -1
        return self

    def every_block_used(self) -> Disk:
        return self.put((18, 0), bytes(35 * 4), at=4)
