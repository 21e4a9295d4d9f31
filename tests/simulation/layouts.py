"""Places of files on disks to try the clock on: stock, interleaved, scattered, far and late.

Placing follows the facts' section 5 (drive documentation, from memory); where it is silent, a
file's first block on a track takes the lowest free sector.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import islice

import numpy as np

from .drive import FULL_BLOCK_BYTES, Load
from .geometry import DISK_35, DISK_70, DISK_80, Geometry, Place

ENTRIES_A_SECTOR = 8


@dataclass(frozen=True)
class Case:
    """A named load; `kind` says what is hard about it."""

    kind: str
    name: str
    load: Load


def next_sector(sector: int, interleave: int, sectors: int, free: set[int]) -> int:
    """The sector for the block after `sector`; `free` is what the track has left, one at least."""
    wanted = sector + interleave
    if wanted >= sectors:
        wanted -= sectors
        if wanted:
            wanted -= 1
    return min(free, key=lambda s: (s - wanted) % sectors)


class Disk:
    """A disk that is being filled."""

    def __init__(self, geometry: Geometry) -> None:
        self.geometry = geometry
        self._taken: set[Place] = set()

    def place_file(self, tracks: Iterable[int], blocks: int, interleave: int) -> tuple[Place, ...]:
        """Fill the tracks in turn; ValueError if they hold fewer free sectors than asked for."""
        places = tuple(islice(self._free_places(tracks, interleave), blocks))
        if len(places) < blocks:
            raise ValueError(f"{blocks} blocks asked for, only {len(places)} free on these tracks")
        return places

    def scatter_file(self, blocks: int, rng: np.random.Generator) -> tuple[Place, ...]:
        """Blocks anywhere on the free sectors outside the directory's tracks, in any order."""
        free = [
            Place(track, sector)
            for track in self.geometry.tracks
            if track not in self.geometry.reserved_tracks
            for sector in range(self.geometry.sectors(track))
            if Place(track, sector) not in self._taken
        ]
        places = tuple(free[i] for i in rng.permutation(len(free))[:blocks].tolist())
        self._taken.update(places)
        return places

    def _free_places(self, tracks: Iterable[int], interleave: int) -> Iterator[Place]:
        for track in tracks:
            sectors = self.geometry.sectors(track)
            free = {s for s in range(sectors) if Place(track, s) not in self._taken}
            sector: int | None = None
            while free:
                sector = (
                    min(free) if sector is None else next_sector(sector, interleave, sectors, free)
                )
                free.remove(sector)
                self._taken.add(Place(track, sector))
                yield Place(track, sector)


def directory_chain(geometry: Geometry, sectors: int) -> tuple[Place, ...]:
    """The directory's first sectors, as the stock drive chains them on a new disk."""
    track, sector = geometry.first_directory
    count = geometry.sectors(track)
    free = set(range(sector + 1, count))
    chain = [sector]
    while len(chain) < sectors:
        chain.append(next_sector(chain[-1], geometry.directory_interleave, count, free))
        free.remove(chain[-1])
    return tuple(Place(track, sector) for sector in chain)


def stock_tracks(geometry: Geometry) -> tuple[int, ...]:
    """Tracks of one side, nearest to the directory first: first below it, then above it."""
    middle = geometry.header.track
    return (*range(middle - 1, 0, -1), *range(middle + 1, geometry.tracks_a_side + 1))


def cases(seed: int = 1) -> list[Case]:
    """More than 200 loads, the same ones for the same seed."""
    rng = np.random.default_rng(seed)
    made: list[Case] = []
    for kind, count, make in _KINDS:
        made += [Case(kind, f"{kind} {i + 1}", make(i, rng)) for i in range(count)]
    return made


def rows(seed: int = 2) -> list[list[Load]]:
    """Disks of several files each, to be loaded in the order of their directory."""
    rng = np.random.default_rng(seed)
    return [_row(DISK_35, int(rng.integers(2, 12)), rng) for _ in range(12)] + [
        _row(DISK_70, int(rng.integers(2, 20)), rng) for _ in range(4)
    ]


def _row(geometry: Geometry, files: int, rng: np.random.Generator) -> list[Load]:
    disk = Disk(geometry)
    tracks = stock_tracks(geometry)
    sizes = rng.integers(1, 40, files).tolist()
    return [
        _load(
            geometry,
            disk.place_file(tracks, blocks, geometry.data_interleave),
            rng,
            directory_sectors=i // ENTRIES_A_SECTOR + 1,
        )
        for i, blocks in enumerate(sizes)
    ]


def _load(
    geometry: Geometry,
    blocks: tuple[Place, ...],
    rng: np.random.Generator,
    directory_sectors: int = 1,
) -> Load:
    last_bytes = int(rng.integers(1, FULL_BLOCK_BYTES + 1))
    return Load(geometry, directory_chain(geometry, directory_sectors), blocks, last_bytes)


def _stock(_: int, rng: np.random.Generator) -> Load:
    """A file on a disk that is filled to some part already."""
    disk, tracks = Disk(DISK_35), stock_tracks(DISK_35)
    disk.place_file(tracks, int(rng.integers(0, 400)), DISK_35.data_interleave)
    blocks = disk.place_file(tracks, int(rng.integers(2, 220)), DISK_35.data_interleave)
    return _load(DISK_35, blocks, rng, int(rng.integers(1, 4)))


def _interleaved(i: int, rng: np.random.Generator) -> Load:
    """Interleaves 1 to 16 in turn, starting in every zone in turn."""
    start = (1, 19, 25, 31)[i // 16 % 4]
    blocks = Disk(DISK_35).place_file(
        range(start, 36), int(rng.integers(10, 80)), interleave=i % 16 + 1
    )
    return _load(DISK_35, blocks, rng)


def _scattered(_: int, rng: np.random.Generator) -> Load:
    return _load(DISK_35, Disk(DISK_35).scatter_file(int(rng.integers(2, 100)), rng), rng)


def _scattered_on_a_track(_: int, rng: np.random.Generator) -> Load:
    """Every gap there is, on few tracks."""
    track = int(rng.choice([5, 22, 27, 33]))
    disk = Disk(DISK_35)
    blocks: list[Place] = []
    for t in (track, track + 1):
        whole = disk.place_file([t], DISK_35.sectors(t), interleave=1)
        blocks += [whole[i] for i in rng.permutation(len(whole)).tolist()]
    return _load(DISK_35, tuple(blocks), rng)


def _across_zones(i: int, rng: np.random.Generator) -> Load:
    """Over one or more of the borders 17–18, 24–25 and 30–31, upward or downward."""
    low, high = ((16, 20), (23, 26), (29, 32), (15, 35))[i % 4]
    upward = [t for t in range(low, high + 1) if t not in DISK_35.reserved_tracks]
    room = sum(map(DISK_35.sectors, upward))
    tracks = upward if i // 4 % 2 else upward[::-1]
    blocks = Disk(DISK_35).place_file(tracks, int(rng.integers(room * 3 // 4, room + 1)), 10)
    return _load(DISK_35, blocks, rng)


def _one_block(_: int, rng: np.random.Generator) -> Load:
    return _load(DISK_35, Disk(DISK_35).scatter_file(1, rng), rng, int(rng.integers(1, 4)))


def _far(i: int, rng: np.random.Generator) -> Load:
    """At the disk's inner or outer edge."""
    tracks = (range(1, 5), range(35, 31, -1))[i % 2]
    return _load(DISK_35, Disk(DISK_35).place_file(tracks, int(rng.integers(1, 60)), 10), rng)


def _late_entry(i: int, rng: np.random.Generator) -> Load:
    """An entry in the directory's second, third … eighteenth sector."""
    blocks = Disk(DISK_35).place_file(stock_tracks(DISK_35), int(rng.integers(1, 60)), 10)
    return _load(DISK_35, blocks, rng, directory_sectors=i % 17 + 2)


def _double_sided(i: int, rng: np.random.Generator) -> Load:
    """On side one, on side two, across from one to the other, and scattered over both."""
    disk, count = Disk(DISK_70), int(rng.integers(2, 120))
    if i % 4 == 3:
        return _load(DISK_70, disk.scatter_file(count, rng), rng)
    tracks = (stock_tracks(DISK_70), range(36, 53), (34, 35, 36, 37, 1, 38, 2, 39))[i % 4]
    return _load(DISK_70, disk.place_file(tracks, count, DISK_70.data_interleave), rng)


def _on_80_tracks(i: int, rng: np.random.Generator) -> Load:
    """No bit cells are known here: for card rigs only."""
    disk, count = Disk(DISK_80), int(rng.integers(1, 250))
    blocks = (
        disk.scatter_file(count, rng)
        if i % 2
        else disk.place_file(stock_tracks(DISK_80), count, DISK_80.data_interleave)
    )
    return _load(DISK_80, blocks, rng, int(rng.integers(1, 20)))


_KINDS: tuple[tuple[str, int, Callable[[int, np.random.Generator], Load]], ...] = (
    ("stock", 40, _stock),
    ("interleave", 64, _interleaved),
    ("scattered", 24, _scattered),
    ("scattered on a track", 12, _scattered_on_a_track),
    ("across zones", 24, _across_zones),
    ("one block", 16, _one_block),
    ("far", 16, _far),
    ("late entry", 17, _late_entry),
    ("double-sided", 24, _double_sided),
    ("80-track", 16, _on_80_tracks),
)
