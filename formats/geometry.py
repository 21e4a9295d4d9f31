"""Where sectors lie: layouts, and block index <-> (track, sector).

A *block* is an index into the sectors in image order, from 0. Tracks count from 1,
sectors from 0. Figures: drive manuals and programmer's references of the 1980s,
from memory (geometry and sizes, bit cells by zone).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

from formats.errors import OffDisk

if TYPE_CHECKING:  # who asks for no array does not wait for numpy
    import numpy as np
    from numpy.typing import NDArray

BLOCK_BYTES = 256
DATA_BYTES = 254
"""Bytes of a file in one block: 256 less the link."""

LONGEST_BYTES = 1 << 20
"""More than this is no image: the largest layout with error bytes has 822,400."""

END = -1
"""In place of a next block: the link's track is 0, the chain ends here."""
OFF_DISK = -2
"""In place of a next block: the link names no place of this layout."""


class Place(NamedTuple):
    track: int
    sector: int

    def __str__(self) -> str:
        return f"{self.track}/{self.sector}"

    @classmethod
    def pairs(cls, raw: bytes) -> list[Place]:
        """The places in a row of track and sector bytes."""
        return [cls(*pair) for pair in zip(raw[::2], raw[1::2], strict=True)]


class Zone(NamedTuple):
    """Tracks of one side, first to last, that hold the same number of sectors."""

    first: int
    last: int
    sectors: int


@dataclass(frozen=True, eq=False)
class Geometry:
    """One layout of tracks and sectors."""

    name: str
    zones: tuple[Zone, ...]
    header: Place
    directory: Place
    """First sector of the directory."""
    reserved_tracks: frozenset[int]
    """Tracks outside the count of blocks free."""
    map_tracks: int
    """Tracks 1 to this one are in the block map."""
    interleave: int
    """Sectors from one block of a file to the next, as the drive places them."""
    directory_interleave: int
    directory_limit: int
    """Entries at the most."""
    map_places: tuple[Place, ...] = ()
    """Map sectors beside the header."""
    sides: int = 1
    has_bit_cells: bool = True
    """Whether the model knows its bit cells, so that a spinning drive can be clocked."""

    @cached_property
    def sectors(self) -> tuple[int, ...]:
        """Sectors on track t at index t - 1."""
        side = [zone.sectors for zone in self.zones for _ in range(zone.first, zone.last + 1)]
        return tuple(side * self.sides)

    @cached_property
    def tracks(self) -> int:
        return len(self.sectors)

    @cached_property
    def first_block(self) -> tuple[int, ...]:
        """Block index of sector 0 of track t at index t - 1; one more entry: the total."""
        starts = [0]
        for count in self.sectors:
            starts.append(starts[-1] + count)
        return tuple(starts)

    @cached_property
    def blocks(self) -> int:
        return self.first_block[-1]

    @cached_property
    def size_bytes(self) -> int:
        return self.blocks * BLOCK_BYTES

    @cached_property
    def track_of(self) -> NDArray[np.uint8]:
        """Track of each block; shape (blocks,)."""
        return _bytes(place.track for place in self.places)

    @cached_property
    def sector_of(self) -> NDArray[np.uint8]:
        """Sector of each block; shape (blocks,)."""
        return _bytes(place.sector for place in self.places)

    @cached_property
    def zone_of(self) -> NDArray[np.uint8]:
        """Index into `zones` of each block; shape (blocks,)."""
        side = [i for i, z in enumerate(self.zones) for _ in range(z.first, z.last + 1)]
        zones = side * self.sides
        return _bytes(zones[place.track - 1] for place in self.places)

    @cached_property
    def cylinder_of(self) -> NDArray[np.uint8]:
        """Cylinder of each block, from 1: side two lies under side one; shape (blocks,)."""
        cylinders = self.tracks // self.sides
        return _bytes((place.track - 1) % cylinders + 1 for place in self.places)

    @cached_property
    def next_of_link(self) -> NDArray[np.int32]:
        """Next block for a link read as track + 256 * sector; shape (65536,).

        END where the track is 0, OFF_DISK where there is no such place.
        """
        import numpy as np

        table = np.full(65536, OFF_DISK, dtype=np.int32)
        table[::256] = END
        places = self.track_of.astype(np.int32) + 256 * self.sector_of.astype(np.int32)
        table[places] = np.arange(self.blocks)
        return table

    @cached_property
    def places(self) -> tuple[Place, ...]:
        """Track and sector of each block."""
        return tuple(
            Place(track, sector)
            for track, count in enumerate(self.sectors, 1)
            for sector in range(count)
        )

    def exists(self, track: int, sector: int) -> bool:
        return 1 <= track <= self.tracks and 0 <= sector < self.sectors[track - 1]

    def index(self, track: int, sector: int) -> int:
        """Block index of a place. Raises OffDisk."""
        if not self.exists(track, sector):
            raise OffDisk(
                f"track {track} sector {sector} does not exist on the {self.name} layout "
                f"(tracks 1 to {self.tracks})"
            )
        return self.first_block[track - 1] + sector

    def place(self, block: int) -> Place:
        """Track and sector of a block index."""
        return self.places[block]

    @cached_property
    def header_block(self) -> int:
        return self.index(*self.header)

    @cached_property
    def directory_block(self) -> int:
        return self.index(*self.directory)

    @cached_property
    def system_blocks(self) -> tuple[int, ...]:
        """The header, and the map sectors beside it."""
        return (self.header_block, *(self.index(*place) for place in self.map_places))


def _bytes(values: Iterable[int]) -> NDArray[np.uint8]:
    import numpy as np

    return np.frombuffer(bytes(values), dtype=np.uint8)


def _zoned(
    name: str,
    last_track: int,
    *,
    sides: int = 1,
    reserved: tuple[int, ...] = (18,),
    interleave: int = 10,
) -> Geometry:
    """A layout of the 35-track drive's four zones, the last one stretched to last_track."""
    return Geometry(
        name=name,
        zones=(Zone(1, 17, 21), Zone(18, 24, 19), Zone(25, 30, 18), Zone(31, last_track, 17)),
        header=Place(18, 0),
        directory=Place(18, 1),
        reserved_tracks=frozenset(reserved),
        map_tracks=35 * sides,
        interleave=interleave,
        directory_interleave=3,
        directory_limit=144,
        map_places=(Place(53, 0),) if sides == 2 else (),
        sides=sides,
    )


TRACKS_35 = _zoned("35-track", 35)
TRACKS_40 = _zoned("40-track", 40)
TRACKS_42 = _zoned("42-track", 42)
TRACKS_70 = _zoned("70-track", 35, sides=2, reserved=(18, 53), interleave=6)
TRACKS_80 = Geometry(
    name="80-track",
    zones=(Zone(1, 80, 40),),
    header=Place(40, 0),
    directory=Place(40, 3),
    reserved_tracks=frozenset({40}),
    map_tracks=80,
    interleave=1,
    directory_interleave=1,
    directory_limit=296,
    map_places=(Place(40, 1), Place(40, 2)),
    has_bit_cells=False,
)
LAYOUTS = (TRACKS_35, TRACKS_40, TRACKS_42, TRACKS_70, TRACKS_80)
"""Every layout we can place, smallest first."""
