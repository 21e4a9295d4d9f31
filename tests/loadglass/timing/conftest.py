"""Rigs and layouts that the timing tests share."""

import dataclasses
from collections.abc import Callable, Mapping

import pytest

from formats.compose import Allocator
from formats.geometry import TRACKS_35, Geometry
from loadglass.timing.rig import Rig
from loadglass.timing.rig_files import load_rigs


@pytest.fixture(scope="session")
def rigs() -> Mapping[str, Rig]:
    """The four built-in rigs, and one whose loader takes a track's sectors as they come."""
    rigs = dict(load_rigs().rigs)
    rigs["any-spinning"] = dataclasses.replace(
        rigs["fast-spinning"], name="any-spinning", order="any"
    )
    return rigs


@pytest.fixture(scope="session")
def laid() -> Callable[..., list[int]]:
    """The blocks of a file of so many, laid out on an empty disk by the stock drive's rule."""

    def lay(count: int, geometry: Geometry = TRACKS_35) -> list[int]:
        return Allocator(geometry).chain(count)

    return lay
