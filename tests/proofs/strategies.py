"""Spoilt disks drawn by hypothesis, and how many of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

from hypothesis import assume
from hypothesis import strategies as st

from formats.findings import TABLE
from formats.geometry import LAYOUTS, Geometry
from tests.proofs.edits import edit
from tests.proofs.faults import ONLY_ON, Fault, inject, names
from tests.proofs.scene import Choose, Scene, Unfit, compose_scene

T = TypeVar("T")

EVERYDAY = ("alias", "decoration", "own-loader", "map-strands", "deleted-remains", "record-index")
"""What no disk is the worse for."""
TRIES = 4


def codes_on(geometry: Geometry) -> list[str]:
    """The findings that the layout can have."""
    return [code for code in TABLE if geometry in ONLY_ON.get(code, LAYOUTS)]


def chooser(draw: st.DrawFn) -> Choose:
    def choose(options: Sequence[T]) -> T:
        return options[draw(st.integers(0, len(options) - 1))]

    return choose


@dataclass(repr=False)
class Spoilt:
    faults: list[Fault]
    before: bytes
    """The image without the faults."""
    after: bytes

    def __repr__(self) -> str:
        return f"Spoilt({names(self.faults)})"


@st.composite
def spoilt(draw: st.DrawFn, geometry: Geometry, codes: Sequence[str | None]) -> Spoilt:
    """A composed disk with everyday oddities, then with a fault for each code; None: any code."""
    choose = chooser(draw)
    try:
        scene = compose_scene(geometry, choose)
    except Unfit:
        assume(False)
    for code in draw(st.lists(st.sampled_from(EVERYDAY), max_size=2)):
        try_to_inject(scene, code, choose)
    before = scene.bytes
    faults = []
    for code in codes:
        for _ in range(TRIES):
            fault = try_to_inject(scene, code or choose(codes_on(geometry)), choose)
            if fault:
                faults.append(fault)
                break
    assume(len(faults) == len(codes))
    return Spoilt(faults, before, scene.bytes)


@dataclass(repr=False)
class Edited:
    data: bytes

    def __repr__(self) -> str:
        return f"Edited({len(self.data)} bytes)"


@st.composite
def edited(draw: st.DrawFn, geometry: Geometry) -> Edited:
    """A composed disk after up to a dozen edits at random."""
    choose = chooser(draw)
    try:
        scene = compose_scene(geometry, choose)
    except Unfit:
        assume(False)
    for _ in range(draw(st.integers(1, 12))):
        edit(scene, choose)
    return Edited(scene.bytes)


def try_to_inject(scene: Scene, code: str, choose: Choose) -> Fault | None:
    """The fault, or None and the scene as it was."""
    saved = scene.copy()
    try:
        return inject(scene, code, choose)
    except Unfit:
        scene.become(saved)
        return None
