"""What if: a file with its blocks laid otherwise; and one load beside another, stage by stage."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil, floor

import numpy as np

from formats.audit import Audit
from formats.compose import Allocator
from formats.errors import DoesNotFit, LoadglassError, NotReadable
from formats.geometry import DATA_BYTES, Geometry
from loadglass.timing.estimate import Estimate, Times, estimates
from loadglass.timing.loads import count_images
from loadglass.timing.motion import ZONE_SECTORS, pack_blocks
from loadglass.timing.places import ImagePlaces
from loadglass.timing.prices import READ_MS, STAGES
from loadglass.timing.rig import Rig

INTERLEAVES = range(1, 17)
WIDEST = 20
"""The longest track has 21 sectors."""


class BadInterleave(LoadglassError):
    """Blocks cannot be laid so far apart."""


@dataclass(frozen=True)
class WhatIf:
    """A file as it lies, and as it would if the drive had placed its blocks so far apart."""

    slot: int
    today: Times
    gap: int | None
    """Today's usual distance from a block to the next on its track; None if there is none."""
    laid: dict[int, Times]
    """By interleave."""
    says: dict[str, str]
    """By rig, a sentence on what makes the difference."""

    def best(self, rig: str) -> int | None:
        """The interleave with which the file loads soonest, the smallest of equals."""
        seconds = {
            interleave: estimate.seconds
            for interleave, times in self.laid.items()
            if (estimate := times[rig]) is not None
        }
        return min(seconds, key=lambda k: (round(seconds[k], 3), k), default=None)


def interleave_whatif(
    audit: Audit, slot: int, rigs: Iterable[Rig], interleaves: Sequence[int] = INTERLEAVES
) -> WhatIf:
    """What a file would take at other interleaves.

    It is laid anew by the stock drive's rule on its own disk as if it were not there yet, or on
    an empty one if it would not fit. Raises BadInterleave, NotReadable of a file that cannot be
    read whole, DoesNotFit of one that no disk of its layout holds by that rule.
    """
    for interleave in interleaves:
        if not 1 <= interleave <= WIDEST:
            raise BadInterleave(f"blocks cannot be laid {interleave} apart: give 1 to {WIDEST}")
    file = audit.by_slot[slot]
    if not file.whole or not file.chain.blocks:
        raise NotReadable(f'"{file.entry.text}" cannot be read whole, so it has no load time')
    whole = ImagePlaces.of(audit)
    places = next(each for each in whole.files if each.slot == slot)

    def with_blocks(blocks: Sequence[int]) -> ImagePlaces:
        moved = places._replace(blocks=pack_blocks(blocks))
        return ImagePlaces(whole.geometry, whole.header, whole.directory, (moved,))

    today = file.chain.blocks
    laid = [lay_anew(audit, slot, interleave) for interleave in interleaves]
    rigs = list(rigs)
    times = _times([with_blocks(blocks) for blocks in (today, *laid)], rigs)
    return WhatIf(
        slot=slot,
        today=times[0],
        gap=usual_gap(whole.geometry, today),
        laid=dict(zip(interleaves, times[1:], strict=True)),
        says={rig.name: _says(rig, whole.geometry, today) for rig in rigs},
    )


def lay_anew(audit: Audit, slot: int, interleave: int) -> list[int]:
    """Places for the file's blocks by the stock drive's rule. Raises DoesNotFit."""
    count = len(audit.by_slot[slot].chain.blocks)
    geometry = audit.image.geometry
    owner = np.array(audit.owner)
    own = owner == slot
    allocator = Allocator(geometry, interleave, extra_tracks=True)
    allocator.free &= own | (audit.block_map.free & (owner < 0))
    allocator.free[list(audit.directory.owned)] = False
    try:
        return allocator.chain(count)
    except DoesNotFit:
        return Allocator(geometry, interleave, extra_tracks=True).chain(count)


def usual_gap(geometry: Geometry, blocks: Sequence[int]) -> int | None:
    """The commonest distance in sectors, around the track, from a block to the next on it."""
    gaps = Counter(
        (after.sector - before.sector) % geometry.sectors[before.track - 1]
        for before, after in pairwise(geometry.place(block) for block in blocks)
        if before.track == after.track
    )
    return min(gaps, key=lambda gap: (-gaps[gap], gap), default=None)


def _times(images: Sequence[ImagePlaces], rigs: Sequence[Rig]) -> list[Times]:
    """Of the one file on each image; all of one layout."""
    found: list[Times] = [{} for _ in images]
    for rig in rigs:
        taken = [image.taken(rig.order) for image in images]
        loads = count_images(images[0].geometry, taken).files
        for times, estimate in zip(found, estimates(loads, rig), strict=True):
            times[rig.name] = estimate
    return found


def _says(rig: Rig, geometry: Geometry, blocks: Sequence[int]) -> str:
    if not rig.mounts(geometry):
        return f"{rig.name} does not mount {geometry.name} images"
    if not rig.spins:
        return f"{rig.name} has no disk to wait for: the interleave changes nothing"
    if rig.order == "any":
        return f"{rig.name} takes a track's sectors as they come: the interleave changes little"
    zone = int(np.bincount(geometry.zone_of[list(blocks)]).argmax())
    sectors = ZONE_SECTORS[zone]
    turn_ms = 60_000 / rig.value("rpm")
    busy_ms = rig.value("decode") + DATA_BYTES * rig.value("byte") + rig.value("block")
    passing = (READ_MS[zone] + busy_ms + rig.value("lead")) / turn_ms * sectors
    turns, gone = divmod(passing, sectors)
    before = f"{turns:.0f} turns and " if turns > 1 else "a turn and " if turns else ""
    first, last = geometry.zones[zone].first, geometry.zones[zone].last
    return (
        f"on {rig.name} {before}{gone:.1f} sectors of tracks {first} to {last} go by while the "
        f"drive is busy with a block: the next one {floor(gone)} further on is just missed and "
        f"costs a turn, {turn_ms:.0f} ms, and {ceil(gone)} further on it is caught (past the end "
        "of a track the drive's rule goes one sector less far)"
    )


@dataclass(frozen=True)
class StageChange:
    """A stage of a load on one rig, and on another."""

    before_s: float
    after_s: float

    @property
    def saved_s(self) -> float:
        return self.before_s - self.after_s

    @property
    def remains(self) -> float | None:
        """The share of the stage that is still there; None where there was nothing before."""
        return self.after_s / self.before_s if self.before_s > 0 else None


@dataclass(frozen=True)
class Comparison:
    """One load on two rigs."""

    saved_s: float
    factor: float
    """How many times as fast the second is."""
    stages: dict[str, StageChange]
    """By each of STAGES."""


def compare(before: Estimate, after: Estimate) -> Comparison:
    """What the second rig saves of the first one's time, and what remains of each stage."""
    return Comparison(
        saved_s=before.seconds - after.seconds,
        factor=before.seconds / after.seconds,
        stages={stage: StageChange(before.stages[stage], after.stages[stage]) for stage in STAGES},
    )
