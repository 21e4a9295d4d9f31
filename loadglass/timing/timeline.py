"""One load in the order of time: command, start of loader and motor, search, then the tracks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from formats.geometry import DATA_BYTES, Geometry
from loadglass.timing.loads import count_images
from loadglass.timing.motion import unpack_blocks
from loadglass.timing.places import ImagePlaces
from loadglass.timing.prices import STAGES
from loadglass.timing.rig import Rig

BEFORE_BLOCKS = ("command", "setup", "spin_up", "find")
"""Stages that are over before the file's first block is read, in this order."""


@dataclass(frozen=True, slots=True)
class Leg:
    """A part of a load: one of BEFORE_BLOCKS, or a run of blocks on one track."""

    stages: dict[str, float]
    """Mean seconds of each of STAGES in this leg."""
    start_s: float
    """From RETURN to its beginning."""
    track: int | None = None
    """None before the file's first block."""
    first: int = 0
    """Place of its first block in the order in which the loader takes them, from 1."""
    blocks: int = 0
    cylinder: int = 0
    """Where the head stands, or on an SD card would; before the first block, on the directory."""
    moved: int = 0
    """Tracks that the head goes for this run, upwards; 0 where nothing moves."""
    move_s: float = 0.0
    """Stepping and settling; for the first run the model counts them as finding the file."""

    @property
    def seconds(self) -> float:
        return sum(self.stages.values())

    @property
    def name(self) -> str:
        """The stage, or `track N`."""
        if self.track is not None:
            return f"track {self.track}"
        return max(self.stages, key=lambda stage: self.stages[stage])


@dataclass(frozen=True, slots=True)
class HeadWay:
    """How far the head goes, and how long it takes."""

    moves: int
    tracks: int
    seconds: float
    """Stepping and settling, to the file's first block as well."""


def head_way(legs: Sequence[Leg]) -> HeadWay:
    """The way of the head in the course of these legs, from the directory on."""
    moving = [leg for leg in legs if leg.moved]
    return HeadWay(
        len(moving),
        sum(abs(leg.moved) for leg in moving),
        sum(leg.move_s for leg in moving),
    )


def timeline(
    geometry: Geometry,
    directory_blocks: Sequence[int],
    file_blocks: Sequence[int],
    last_bytes: int,
    rig: Rig,
) -> list[Leg]:
    """The legs of a load from rest; they add up to the mean that `clock_file` gives.

    Arguments as for `clock_file`; empty if the rig does not mount the layout. What a run of
    blocks costs is what the load up to its end costs more than that up to its beginning, the way
    of the head to it included.
    """
    if not rig.mounts(geometry):
        return []
    whole = ImagePlaces.of_file(geometry, directory_blocks, file_blocks, last_bytes)
    file_blocks = unpack_blocks(whole.taken(rig.order).files[0].blocks)
    ends: list[tuple[int, int]] = []
    for track, run in groupby(file_blocks, lambda block: geometry.place(block).track):
        ends.append((track, (ends[-1][1] if ends else 0) + len(list(run))))
    parts = [
        ImagePlaces.of_file(
            geometry,
            directory_blocks,
            file_blocks[:end],
            last_bytes if end == len(file_blocks) else DATA_BYTES,
        )
        for _, end in ends
    ]
    costs = count_images(geometry, parts).files.stages(rig).tolist()
    cylinders = geometry.cylinder_of.tolist()
    stands = cylinders[directory_blocks[-1]]
    legs: list[Leg] = []
    now_s = 0.0
    for at, stage in enumerate(STAGES):
        if stage in BEFORE_BLOCKS and costs[0][at]:
            legs.append(Leg(_stages({stage: costs[0][at]}), now_s, cylinder=stands))
            now_s += costs[0][at]
    before = [
        cost if stage in BEFORE_BLOCKS else 0.0
        for stage, cost in zip(STAGES, costs[0], strict=True)
    ]
    first = 1
    for (track, end), cost in zip(ends, costs, strict=True):
        more = dict(zip(STAGES, (b - a for a, b in zip(before, cost, strict=True)), strict=True))
        goes_to = cylinders[file_blocks[first - 1]]
        moved = goes_to - stands if rig.spins else 0
        move_s = (rig.value("step") * abs(moved) + rig.value("settle")) / 1000 if moved else 0.0
        legs.append(Leg(more, now_s, track, first, end - first + 1, goes_to, moved, move_s))
        now_s += legs[-1].seconds
        before, first, stands = cost, end + 1, goes_to
    return legs


def _stages(some: dict[str, float]) -> dict[str, float]:
    return dict.fromkeys(STAGES, 0.0) | some
