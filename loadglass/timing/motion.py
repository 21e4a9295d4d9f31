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
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

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
COMING = slice(STEP.start, MOVE.stop)
"""From another block."""
ANY = slice(STEP.start, FRESH.stop)
ARRIVALS = ANY.stop

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


def pack_blocks(blocks: Sequence[int]) -> bytes:
    """Block indexes as two bytes each, low byte first: what is kept of a file to clock it again."""
    return struct.pack(f"<{len(blocks)}H", *blocks)


def unpack_blocks(packed: bytes) -> tuple[int, ...]:
    return struct.unpack(f"<{len(packed) // 2}H", packed)


def unpacked_array(packed: bytes) -> IntArray:
    """As unpack_blocks, but an array to count with."""
    return np.frombuffer(packed, dtype="<u2").astype(np.intp)


@dataclass(frozen=True, eq=False)
class _Ground:
    """A layout's blocks as the counting needs them; each array of shape (blocks,)."""

    track: NDArray[np.uint8]
    cylinder: NDArray[np.int16]
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
        track=geometry.track_of,
        cylinder=geometry.cylinder_of.astype(np.int16),
        turn=turn,
        step=np.concatenate([[0], np.cumsum(ZONE_SECTORS)])[zone],
        move=MOVE.start + zone,
        fresh=FRESH.start + zone,
    )


def count_searches(
    geometry: Geometry,
    heads: IntArray,
    at_rest: bool,
    directory: IntArray,
    lengths: IntArray,
    firsts: IntArray,
) -> FloatArray:
    """Counts of the ways from the command to a file's first block; (searches, SEARCH_FEATURES).

    heads: the block that the head read last, or at rest the one where it stands, of each search.
    at_rest: the motor has to spin up. directory: the blocks read to find the entry, search after
    search. lengths: how many of them each search has, at least one. firsts: the first block of
    each file.
    """
    ground = _ground(geometry)
    ends = np.cumsum(lengths)
    starts = ends - lengths
    before = _shifted(directory)
    before[starts] = heads
    arrivals, cylinders = _ways(ground, before, directory)
    # The command takes its time, so at the directory's first block the angle is unknown even on
    # the same track.
    fresh = starts[arrivals[starts] < STEP.stop]
    arrivals[fresh] = ground.fresh[directory[fresh]]
    onward, onward_cylinders = _ways(ground, directory[ends - 1], firsts)
    counts = _counted(arrivals, lengths, SEARCH_FEATURES)
    counts[np.arange(len(lengths)), FIRST + onward] = 1
    counts[:, SEARCH_CYLINDERS] = _sums(cylinders, starts) + onward_cylinders
    counts[:, COMMANDS] = 1
    counts[:, SPIN_UPS] = at_rest
    return counts


def count_files(
    geometry: Geometry, blocks: IntArray, lengths: IntArray, last_bytes: IntArray
) -> FloatArray:
    """Counts of the reading of files; shape (files, FILE_FEATURES).

    blocks: those of each file in reading order, file after file. lengths: how many each has, at
    least one. last_bytes: the bytes sent of each file's last block. The first block is read and
    sent here, but the way to it belongs to the search.
    """
    ground = _ground(geometry)
    starts = np.cumsum(lengths) - lengths
    arrivals, cylinders = _ways(ground, _shifted(blocks), blocks)
    arrivals[starts] = ground.fresh[blocks[starts]]
    cylinders[starts] = 0
    counts = _counted(arrivals, lengths, FILE_FEATURES)
    counts[:, CYLINDERS] = _sums(cylinders, starts)
    counts[:, BYTES] = DATA_BYTES * (lengths - 1) + last_bytes
    return counts


def _ways(ground: _Ground, before: IntArray, after: IntArray) -> tuple[IntArray, NDArray[np.int16]]:
    """How the head comes to each block from another, a step or a move, and over how many cylinders.

    Blocks are numbered sector by sector, so on one track a difference of blocks is one of sectors.
    """
    same_track = ground.track[before] == ground.track[after]
    gaps = (after - before) % ground.turn[after]
    arrivals = np.where(same_track, ground.step[after] + gaps, ground.move[after])
    return arrivals, np.abs(ground.cylinder[after] - ground.cylinder[before])


def _shifted(blocks: IntArray) -> IntArray:
    """Before each block the one that stands before it; before the first any."""
    return np.concatenate([blocks[:1], blocks[:-1]])


def _counted(features: IntArray, lengths: IntArray, width: int) -> FloatArray:
    """How often each feature occurs in each row; shape (rows, width)."""
    rows = np.repeat(np.arange(len(lengths)) * width, lengths)
    counts = np.bincount(rows + features, minlength=len(lengths) * width)
    return counts.reshape(len(lengths), width).astype(np.float64)


def _sums(values: NDArray[np.int16], starts: IntArray) -> IntArray:
    """The sum of each row of values; rows have at least one."""
    return np.add.reduceat(values, starts, dtype=np.intp)
