"""Tracks, sectors and bit cells, typed from the facts' sections 1 and 7 (from memory)."""

from dataclasses import dataclass
from functools import cache
from typing import NamedTuple

BITS_A_SECTOR = 354 * 8


class Place(NamedTuple):
    track: int
    sector: int


class Zone(NamedTuple):
    """Neighbouring tracks written alike; `cell_us` is None where no bit cell is known."""

    first: int
    last: int
    sectors: int
    cell_us: float | None


@dataclass(frozen=True)
class Geometry:
    """A disk's layout. Tracks beyond `tracks_a_side` lie on side two, under 1, 2, 3 …"""

    zones: tuple[Zone, ...]
    tracks_a_side: int
    header: Place
    first_directory: Place
    reserved_tracks: tuple[int, ...]
    data_interleave: int
    directory_interleave: int

    @property
    def tracks(self) -> range:
        return range(1, self.zones[-1].last + 1)

    def zone(self, track: int) -> Zone:
        """The zone of a track; KeyError for a track that the disk does not have."""
        return _zones_by_track(self.zones)[track]

    def sectors(self, track: int) -> int:
        return self.zone(track).sectors

    def cylinder(self, track: int) -> int:
        return (track - 1) % self.tracks_a_side + 1

    def reading_ms(self, track: int) -> float:
        """Time for a whole sector to pass the head."""
        cell_us = self.zone(track).cell_us
        if cell_us is None:
            raise ValueError(f"track {track}: no bit cell known, so only card drives are simulated")
        return BITS_A_SECTOR * cell_us / 1000


@cache
def _zones_by_track(zones: tuple[Zone, ...]) -> dict[int, Zone]:
    return {track: zone for zone in zones for track in range(zone.first, zone.last + 1)}


_SIDE_ONE = (
    Zone(1, 17, 21, 3.25),
    Zone(18, 24, 19, 3.5),
    Zone(25, 30, 18, 3.75),
    Zone(31, 35, 17, 4.0),
)
_SIDE_TWO = tuple(Zone(z.first + 35, z.last + 35, z.sectors, z.cell_us) for z in _SIDE_ONE)

DISK_35 = Geometry(_SIDE_ONE, 35, Place(18, 0), Place(18, 1), (18,), 10, 3)
DISK_70 = Geometry(_SIDE_ONE + _SIDE_TWO, 35, Place(18, 0), Place(18, 1), (18, 53), 6, 3)
DISK_80 = Geometry((Zone(1, 80, 40, None),), 80, Place(40, 0), Place(40, 3), (40,), 1, 1)
