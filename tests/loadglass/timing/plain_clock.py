"""A load clocked step by step as the page tells it, to check the counted way against.

No counts, no tables, no closed form: each block in its turn, and the wait with its jitter by
adding up its definition over the normal distribution.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from functools import cache
from statistics import NormalDist

import numpy as np

from formats.geometry import Geometry
from loadglass.timing.rig import Rig

BIT_CELL_US = {21: 3.25, 19: 3.5, 18: 3.75, 17: 4.0}
DRAWN = NormalDist()


@cache
def wait_with_jitter(nominal: float, jitter: float, turn: float) -> tuple[float, float]:
    """Mean of the wait, and variance of wait and jitter together, by its definition."""
    edges = np.linspace(-8, 8, 40_001)
    middles = (edges[1:] + edges[:-1]) / 2 * jitter
    weights = np.exp(-((edges[1:] + edges[:-1]) ** 2) / 8)
    weights /= weights.sum()
    wait = (nominal - middles) % turn
    together = wait + middles
    mean = float(weights @ together)
    return float(weights @ wait), float(weights @ (together - mean) ** 2)


class PlainClock:
    def __init__(self, geometry: Geometry, rig: Rig):
        self.geometry = geometry
        self.rig = rig
        self.stages: dict[str, float] = defaultdict(float)
        self.variance = 0.0

    def load(
        self,
        directory: Sequence[int],
        file: Sequence[int],
        last_bytes: int,
        head: int | None = None,
    ) -> int:
        """One load; `head` is the block read last by the load before, None at rest.

        Returns the block read last.
        """
        value = self.rig.value
        self.stages["command"] += value("command")
        self.stages["setup"] += value("setup")
        if head is None:
            self.stages["spin_up"] += value("spin_up")
        look = value("decode") + value("scan")
        before = head
        busy = None
        for block in directory:
            if busy is None and (before is None or self._track(before) == self._track(block)):
                self._unknown_angle("find", "find")
            else:
                self._go("find", "find", before, block, busy, in_file=False)
            self.stages["find"] += self._read(block) + look
            before, busy = block, look
        for position, (block, sent) in enumerate(self._as_taken(file, last_bytes)):
            if position == 0:
                self._go("find", "find", before, block, busy, in_file=True)
            else:
                self._go("seek", "rotate", before, block, busy, in_file=True)
            transfer = sent * value("byte") + value("block")
            self.stages["read"] += self._read(block) + value("decode")
            self.stages["transfer"] += transfer
            before, busy = block, value("decode") + transfer
        self.variance += self._jitter(value("decode") + 254 * value("byte") + value("block")) ** 2
        return before

    def _as_taken(self, file: Sequence[int], last_bytes: int) -> list[tuple[int, int]]:
        """Each block and the bytes sent of it; as they come, a track is done before the next."""
        sent = [254] * (len(file) - 1) + [last_bytes]
        blocks = list(zip(file, sent, strict=True))
        if self.rig.order != "any":
            return blocks
        tracks = dict.fromkeys(self._track(block) for block in file)
        return [each for track in tracks for each in blocks if self._track(each[0]) == track]

    def _track(self, block: int) -> int:
        return self.geometry.place(block).track

    def _read(self, block: int) -> float:
        if not self.rig.spins:
            return self.rig.value("fetch")
        return 354 * 8 * BIT_CELL_US[self.geometry.sectors[self._track(block) - 1]] / 1000

    def _jitter(self, busy: float) -> float:
        return max(0.01 * busy, 1.5)

    @property
    def _turn(self) -> float:
        return 60_000 / self.rig.value("rpm")

    def _unknown_angle(self, stage: str, lead_stage: str) -> None:
        if self.rig.spins:
            self.stages[stage] += self._turn / 2
            self.stages[lead_stage] += self.rig.value("lead")
            self.variance += self._turn**2 / 12

    def _go(
        self, seek: str, rotate: str, before: int, block: int, busy: float | None, in_file: bool
    ) -> None:
        """From having sent or searched `before` to the sector of `block` under the head."""
        jitter = self._jitter(busy) if busy is not None else 0.0
        if not self.rig.spins:
            self.variance += jitter**2
            return
        sectors = self.geometry.sectors[self._track(block) - 1]
        pitch = self._turn / sectors
        same_track = self._track(before) == self._track(block)
        if not same_track:
            tracks_a_side = self.geometry.tracks // self.geometry.sides
            distance = abs(
                (self._track(before) - 1) % tracks_a_side - (self._track(block) - 1) % tracks_a_side
            )
            self.stages[seek] += self.rig.value("step") * distance + self.rig.value("settle")
        if in_file and self.rig.order == "any":
            self.stages[rotate] += self.rig.value("lead") + pitch / 2
            self.variance += pitch**2 / 12 + jitter**2
        elif not same_track:
            self._unknown_angle(rotate, rotate)
            self.variance += jitter**2
        else:
            assert busy is not None
            lead = self.rig.value("lead")
            apart = self.geometry.place(block).sector - self.geometry.place(before).sector
            nominal = (apart * pitch - self._read(block) - busy - lead) % self._turn
            wait, variance = wait_with_jitter(nominal, jitter, self._turn)
            self.stages[rotate] += wait + lead
            self.variance += variance
