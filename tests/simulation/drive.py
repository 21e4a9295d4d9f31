"""A drive at work in SimPy's time: the disk turns, the head steps, sectors come by, bytes cross.

No formula for the wait here: the drive looks at the angle that the disk has at that moment, and a
sector that has just gone by comes back when the disk has turned.
"""

from collections.abc import Callable, Generator, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Literal, Protocol

import numpy as np
import simpy

from .figures import Figures, draw_figures
from .geometry import Geometry, Place

FULL_BLOCK_BYTES = 254
STAGES = ("command", "setup", "spin_up", "find", "seek", "rotate", "read", "transfer")

# A sector reached to within this part of a turn is caught: floating point, not physics.
CAUGHT_TURNS = 1e-9

Process = Generator[simpy.Event, Any, None]


@dataclass(frozen=True)
class Load:
    """One file to load: where the drive has to go for it.

    `directory` holds the directory's sectors in chain order up to the one with the entry, without
    the header; `last_bytes` is what the file's last block carries, 1 to 254.
    """

    geometry: Geometry
    directory: tuple[Place, ...]
    blocks: tuple[Place, ...]
    last_bytes: int = FULL_BLOCK_BYTES

    def sent_bytes(self) -> dict[Place, int]:
        sent = dict.fromkeys(self.blocks, FULL_BLOCK_BYTES)
        sent[self.blocks[-1]] = self.last_bytes
        return sent


@dataclass(frozen=True)
class Variant:
    """Where the design page simplifies the physics, which of the two to simulate.

    `any_wait`: for loaders that take sectors as they come, "pitch" is the page's rule (a uniform
    wait within one sector's pitch), "passing" the next wanted sector that really comes by.
    `skew`: "track" gives each track one angle for a run, so that coming back to a track finds it as
    it was; "arrival" draws a new angle after every seek, the page's "the angle is unknown".
    """

    any_wait: Literal["pitch", "passing"] = "pitch"
    skew: Literal["track", "arrival"] = "track"


PAGE = Variant()


class Chance(Protocol):
    def uniform(self) -> float: ...

    def normal(self) -> float: ...


class Dice:
    """Random numbers one at a time, drawn in batches."""

    def __init__(self, rng: np.random.Generator) -> None:
        self._uniforms = _one_by_one(rng.random)
        self._normals = _one_by_one(rng.standard_normal)

    def uniform(self) -> float:
        return next(self._uniforms)

    def normal(self) -> float:
        return next(self._normals)


def _one_by_one(draw: Callable[[int], np.ndarray]) -> Iterator[float]:
    while True:
        yield from draw(256).tolist()


class Stopwatch:
    """Lets time pass in SimPy and writes down, stage by stage, what it was spent on."""

    def __init__(self, env: simpy.Environment) -> None:
        self.env = env
        self.spent_ms = dict.fromkeys(STAGES, 0.0)

    def spend(self, stage: str, ms: float) -> simpy.Event:
        self.spent_ms[stage] += ms
        return self.env.timeout(ms)


class CardDrive:
    """A drive without motion: every block takes the same time to fetch."""

    def __init__(self, watch: Stopwatch, figures: Figures) -> None:
        self._watch = watch
        self._figures = figures

    def wake(self) -> Process:
        yield from ()

    def directory_sector(self, _place: Place) -> Process:
        yield self._watch.spend("find", self._figures.fetch_ms)
        yield self._watch.spend("find", self._figures.scan_ms)

    def file_blocks(self, load: Load) -> Process:
        figures = self._figures
        for sent in load.sent_bytes().values():
            yield self._watch.spend("read", figures.fetch_ms)
            yield self._watch.spend("transfer", sent * figures.byte_ms + figures.block_ms)


class SpinningDrive:
    """A turning disk under a head; one processor, so nothing is read while bytes are sent."""

    def __init__(
        self,
        watch: Stopwatch,
        figures: Figures,
        geometry: Geometry,
        chance: Chance,
        variant: Variant,
    ) -> None:
        self._watch = watch
        self._figures = figures
        self._geometry = geometry
        self._chance = chance
        self._variant = variant
        self._turn_ms = figures.turn_ms
        self._first_angle_turns = chance.uniform()
        self._skew_turns: dict[int, float] = {}
        self._motor_on = False
        self._track = geometry.header.track
        self._meet(self._track)

    def wake(self) -> Process:
        if not self._motor_on:
            self._motor_on = True
            yield self._watch.spend("spin_up", self._figures.spin_up_ms)

    def directory_sector(self, place: Place) -> Process:
        yield from self._seek(place.track, stage="find")
        yield self._watch.spend("find", self._figures.lead_ms)
        yield self._watch.spend("find", self._until_ms(place))
        yield self._watch.spend("find", self._geometry.reading_ms(place.track))
        yield from self._work(("find", self._figures.decode_ms), ("find", self._figures.scan_ms))

    def file_blocks(self, load: Load) -> Process:
        sent = load.sent_bytes()
        if self._figures.order == "chain":
            for place in load.blocks:
                yield from self._file_block(place, sent[place], self._until_ms)
            return
        for track in dict.fromkeys(place.track for place in load.blocks):
            wanted = [place for place in load.blocks if place.track == track]
            if self._variant.any_wait == "pitch":
                for place in wanted:
                    yield from self._file_block(place, sent[place], self._within_pitch_ms)
            else:
                yield from self._as_they_pass(wanted, sent)

    def _as_they_pass(self, wanted: list[Place], sent: dict[Place, int]) -> Process:
        yield from self._seek(wanted[0].track, stage="seek")
        while wanted:
            yield self._watch.spend("rotate", self._figures.lead_ms)
            place = min(wanted, key=self._until_ms)
            wanted.remove(place)
            yield self._watch.spend("rotate", self._until_ms(place))
            yield from self._take(place, sent[place])

    def _file_block(self, place: Place, sent: int, wait_ms: Callable[[Place], float]) -> Process:
        yield from self._seek(place.track, stage="seek")
        yield self._watch.spend("rotate", self._figures.lead_ms)
        yield self._watch.spend("rotate", wait_ms(place))
        yield from self._take(place, sent)

    def _take(self, place: Place, sent: int) -> Process:
        """Read the sector under the head, decode it and send its bytes."""
        figures = self._figures
        yield self._watch.spend("read", self._geometry.reading_ms(place.track))
        yield from self._work(
            ("read", figures.decode_ms), ("transfer", sent * figures.byte_ms + figures.block_ms)
        )

    def _seek(self, track: int, stage: str) -> Process:
        if track == self._track:
            return
        distance = abs(self._geometry.cylinder(track) - self._geometry.cylinder(self._track))
        for _ in range(distance):
            yield self._watch.spend(stage, self._figures.step_ms)
        yield self._watch.spend(stage, self._figures.settle_ms)
        self._track = track
        self._meet(track)

    def _meet(self, track: int) -> None:
        if self._variant.skew == "arrival" or track not in self._skew_turns:
            self._skew_turns[track] = self._chance.uniform()

    def _work(self, *parts: tuple[str, float]) -> Process:
        """Be busy for the parts in turn, all of them stretched or shrunk by one jitter."""
        busy_ms = sum(ms for _, ms in parts)
        deviation_ms = max(0.01 * busy_ms, 1.5)
        jittered_ms = max(0.0, busy_ms + deviation_ms * self._chance.normal())
        stretch = jittered_ms / busy_ms if busy_ms else 0.0
        for stage, ms in parts:
            yield self._watch.spend(stage, ms * stretch)

    def _until_ms(self, place: Place) -> float:
        """From now until the sector's start is under the head, the disk being where it is now."""
        now_turns = self._first_angle_turns + self._watch.env.now / self._turn_ms
        start_turns = place.sector / self._geometry.sectors(place.track)
        ahead_turns = (start_turns + self._skew_turns[place.track] - now_turns) % 1.0
        return 0.0 if ahead_turns > 1 - CAUGHT_TURNS else ahead_turns * self._turn_ms

    def _within_pitch_ms(self, place: Place) -> float:
        return self._chance.uniform() * self._turn_ms / self._geometry.sectors(place.track)


def run(
    loads: Sequence[Load], figures: Figures, chance: Chance, variant: Variant = PAGE
) -> list[dict[str, float]]:
    """Load files of one disk one after the other; the first finds the drive at rest.

    Returns for each file the seconds of every stage of STAGES, and "total" by SimPy's own clock.
    """
    env = simpy.Environment()
    watch = Stopwatch(env)
    drive = (
        SpinningDrive(watch, figures, loads[0].geometry, chance, variant)
        if figures.spins
        else CardDrive(watch, figures)
    )
    times: list[dict[str, float]] = []

    def computer() -> Process:
        for load in loads:
            begun_ms, watch.spent_ms = env.now, dict.fromkeys(STAGES, 0.0)
            yield watch.spend("command", figures.command_ms)
            yield watch.spend("setup", figures.setup_ms)
            yield from drive.wake()
            header = () if times else (load.geometry.header,)
            for place in header + load.directory:
                yield from drive.directory_sector(place)
            yield from drive.file_blocks(load)
            seconds = {stage: ms / 1000 for stage, ms in watch.spent_ms.items()}
            times.append(seconds | {"total": (env.now - begun_ms) / 1000})

    env.process(computer())
    env.run()
    return times


def simulate(
    load: Load, figures: Figures, rng: np.random.Generator, variant: Variant = PAGE
) -> dict[str, float]:
    """Load one file once, the drive at rest before: seconds by stage, and "total"."""
    return run([load], figures, Dice(rng), variant)[0]


def simulate_many(
    load: Load, figures: Figures, runs: int, rng: np.random.Generator, variant: Variant = PAGE
) -> np.ndarray:
    """Total seconds of `runs` loads of one file at the same figures, shape (runs,)."""
    dice = Dice(rng)
    return np.array([run([load], figures, dice, variant)[0]["total"] for _ in range(runs)])


def simulate_spread(
    load: Load, nominal: Figures, runs: int, rng: np.random.Generator, variant: Variant = PAGE
) -> np.ndarray:
    """As `simulate_many`, but every run on a rig of its own, drawn from the spreads."""
    dice = Dice(rng)
    return np.array(
        [run([load], draw_figures(nominal, rng), dice, variant)[0]["total"] for _ in range(runs)]
    )


def simulate_row(
    loads: Sequence[Load], figures: Figures, rng: np.random.Generator, variant: Variant = PAGE
) -> list[dict[str, float]]:
    """Load several files of one disk in a row, once: for each its seconds by stage, and "total"."""
    return run(loads, figures, Dice(rng), variant)


def simulate_row_many(
    loads: Sequence[Load],
    figures: Figures,
    runs: int,
    rng: np.random.Generator,
    variant: Variant = PAGE,
) -> np.ndarray:
    """Total seconds of every file over `runs` loads of the row, shape (runs, files)."""
    dice = Dice(rng)
    return np.array(
        [[times["total"] for times in run(loads, figures, dice, variant)] for _ in range(runs)]
    )
