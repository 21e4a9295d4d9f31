"""What the drive has to do for a load, as counts.

All that a load costs is linear in counts of a few hundred *features*, and the counts depend on
nothing but the places of the blocks. So loads are counted once, for any number of rigs, and a rig
is a vector of prices (prices.py).

Each block is read once, and what that costs depends on how the head comes to it, its *arrival*:

- a *step* to another sector of the track it has just read from: one for each zone and gap (sectors
  on from the last one, around the track);
- a *move* from another track, into each zone;
- *fresh*: the first block of a row, on the track where the head stands, at an angle unknown.

The feature vector is three groups of arrivals with some totals behind them: directory sectors
(the header too), the arrival at the file's first block, and the file's blocks. The first two are
the *search*, counted apart from the *file*, for in a row of loads only the search changes.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import chain
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from formats.geometry import DATA_BYTES, Geometry

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

ZONE_SECTORS = (21, 19, 18, 17)
"""Sectors on a track of each zone: drive manuals of the 1980s, from memory."""
ZONES = len(ZONE_SECTORS)

STEP_ZONE = np.repeat(np.arange(ZONES), ZONE_SECTORS)
"""Zone of each step; shape (75,)."""
STEP_GAP = np.concatenate([np.arange(sectors) for sectors in ZONE_SECTORS])
"""Gap of each step, in sectors; shape (75,)."""

# Within a group of arrivals.
STEP = slice(0, len(STEP_ZONE))
MOVE = slice(STEP.stop, STEP.stop + ZONES)
FRESH = slice(MOVE.stop, MOVE.stop + ZONES)
ARRIVALS = FRESH.stop

# The feature vector of a search.
DIRECTORY = 0
FIRST = ARRIVALS
SEARCH_CYLINDERS = 2 * ARRIVALS
COMMANDS = SEARCH_CYLINDERS + 1
SPIN_UPS = COMMANDS + 1
SEARCH_FEATURES = SPIN_UPS + 1

# The feature vector of a file.
FILE = 0
CYLINDERS = ARRIVALS
BYTES = CYLINDERS + 1
FILE_FEATURES = BYTES + 1

_PACKED = np.dtype("<u2")


def pack_blocks(blocks: Sequence[int]) -> bytes:
    """Block indexes as two bytes each, low byte first: what is kept of a file to clock it again."""
    return struct.pack(f"<{len(blocks)}H", *blocks)


def unpack_blocks(packed: bytes) -> tuple[int, ...]:
    return struct.unpack(f"<{len(packed) // 2}H", packed)


class Search(NamedTuple):
    """The way from the command to the file's first block."""

    head: int
    """The block that the head read last, or at rest the one where it stands."""
    at_rest: bool
    """The motor has to spin up."""
    directory: Sequence[int]
    """Blocks read to find the entry; at least one."""
    first: int
    """The file's first block."""


@dataclass(frozen=True, eq=False)
class _Ground:
    """A layout's blocks as the counting needs them; each array of shape (blocks,)."""

    track: IntArray
    cylinder: IntArray
    turn: IntArray
    """Sectors on the block's track."""
    step: IntArray
    """Arrival by a step of gap 0; the other gaps follow it."""
    move: IntArray
    fresh: IntArray


@cache
def _ground(geometry: Geometry) -> _Ground:
    zone = geometry.zone_of.astype(np.intp)
    turn = np.array(ZONE_SECTORS)[zone]
    if not geometry.has_bit_cells:
        turn = np.ones_like(turn)  # no turning to speak of: every step counts as one of gap 0
    return _Ground(
        track=geometry.track_of.astype(np.intp),
        cylinder=geometry.cylinder_of.astype(np.intp),
        turn=turn,
        step=np.concatenate([[0], np.cumsum(ZONE_SECTORS)])[zone],
        move=MOVE.start + zone,
        fresh=FRESH.start + zone,
    )


def count_searches(geometry: Geometry, searches: Sequence[Search]) -> FloatArray:
    """Counts of each search; shape (searches, SEARCH_FEATURES)."""
    ground = _ground(geometry)
    lengths = np.array([len(search.directory) + 2 for search in searches], dtype=np.intp)
    blocks = _joined((search.head, *search.directory, search.first) for search in searches)
    firsts = np.cumsum(lengths) - 1
    heads = firsts - lengths + 1
    arrivals, cylinders = _arrivals(ground, blocks, heads)
    # The command takes its time, so at the directory's first block the angle is unknown even on
    # the same track.
    begin = heads + 1
    on_track = ground.track[blocks[heads]] == ground.track[blocks[begin]]
    arrivals[begin[on_track]] = ground.fresh[blocks[begin[on_track]]]
    arrivals[firsts] += FIRST
    arrivals[heads] = COMMANDS  # the head is where it is: no arrival, but one command a search
    counts = _counted(arrivals, lengths, SEARCH_FEATURES)
    counts[:, SEARCH_CYLINDERS] = _sums(cylinders, heads)
    counts[:, SPIN_UPS] = [search.at_rest for search in searches]
    return counts


def count_files(
    geometry: Geometry, files: Sequence[bytes], last_bytes: Sequence[int]
) -> FloatArray:
    """Counts of each file; shape (files, FILE_FEATURES).

    `files` are packed block places, at least one block each; `last_bytes` the bytes sent of each
    last block. The first block is read and sent here, but the way to it belongs to the search.
    """
    ground = _ground(geometry)
    lengths = np.array([len(packed) // _PACKED.itemsize for packed in files], dtype=np.intp)
    blocks = np.frombuffer(b"".join(files), dtype=_PACKED).astype(np.intp)
    starts = np.cumsum(lengths) - lengths
    arrivals, cylinders = _arrivals(ground, blocks, starts)
    counts = _counted(arrivals, lengths, FILE_FEATURES)
    counts[:, CYLINDERS] = _sums(cylinders, starts)
    counts[:, BYTES] = DATA_BYTES * (lengths - 1) + np.array(last_bytes, dtype=np.intp)
    return counts


def _arrivals(ground: _Ground, blocks: IntArray, starts: IntArray) -> tuple[IntArray, IntArray]:
    """How the head comes to each block, and over how many cylinders; rows begin at `starts`.

    Shapes (blocks,). The first block of a row is fresh. Blocks are numbered sector by sector, so
    on one track a difference of blocks is one of sectors.
    """
    arrivals = ground.fresh[blocks]
    cylinders = np.zeros_like(arrivals)
    after = blocks[1:]
    track, cylinder = ground.track[blocks], ground.cylinder[blocks]
    gaps = (after - blocks[:-1]) % ground.turn[after]
    steps = track[1:] == track[:-1]
    within = np.ones(len(blocks), dtype=bool)
    within[starts] = False
    within = within[1:]
    ways = np.where(steps, ground.step[after] + gaps, ground.move[after])
    np.copyto(arrivals[1:], ways, where=within)
    np.copyto(cylinders[1:], np.abs(np.diff(cylinder)), where=within)
    return arrivals, cylinders


def _counted(features: IntArray, lengths: IntArray, width: int) -> FloatArray:
    """How often each feature occurs in each row; shape (rows, width)."""
    rows = np.repeat(np.arange(len(lengths)) * width, lengths)
    counts = np.bincount(rows + features, minlength=len(lengths) * width)
    return counts.reshape(len(lengths), width).astype(np.float64)


def _sums(values: IntArray, starts: IntArray) -> IntArray:
    """The sum of each row of values; rows have at least one."""
    return np.add.reduceat(values, starts) if len(starts) else np.zeros(0, dtype=np.intp)


def _joined(rows: Iterable[Iterable[int]]) -> IntArray:
    return np.fromiter(chain.from_iterable(rows), dtype=np.intp)
