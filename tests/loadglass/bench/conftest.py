"""An image of the Grauhaven club's, and readings of it."""

from collections.abc import Callable
from pathlib import Path

import pytest

from formats.compose import NewFile, compose
from formats.directory import SEQ
from loadglass.bench.log import BenchLog
from loadglass.bench.reading import Reading, take_reading, timed_all, timed_file
from loadglass.opened import Opened, open_and_audit
from loadglass.timing.rig import Rig
from loadglass.timing.rig_files import built_in_rigs

FILE_BLOCKS = (60, 8, 20, 120)


def program(blocks: int, start: int = 0x0801) -> bytes:
    """A program that fills so many blocks, the last of them by half."""
    length = (blocks - 1) * 254 + 125
    return start.to_bytes(2, "little") + bytes((7 * i + i // 256) % 256 for i in range(length))


@pytest.fixture
def image_path(tmp_path: Path) -> Path:
    """Four programs of 60, 8, 20 and 120 blocks, then a text."""
    names = [b"NEBELHORN", b"LOTSE", b"TIDENUHR", b"HAFENRUNDFAHRT"]
    files = [NewFile(name, program(n)) for name, n in zip(names, FILE_BLOCKS, strict=True)]
    path = tmp_path / "grauhaven.d64"
    path.write_bytes(compose(b"GRAUHAVEN 1", [*files, NewFile(b"LOGBUCH", b"LEINEN LOS", SEQ)]))
    return path


@pytest.fixture
def opened(image_path: Path) -> Opened:
    return open_and_audit(str(image_path))


@pytest.fixture
def rig() -> Rig:
    return built_in_rigs()["fast-card"]


@pytest.fixture
def reading(opened: Opened, rig: Rig) -> Reading:
    return take_reading(timed_file(opened, 0), rig, 4.6, "Stoppuhr", "2025-03-09T20:15:00+01:00")


@pytest.fixture
def read(opened: Opened) -> Callable[..., Reading]:
    """A reading of a slot (or all) on a built-in rig."""

    def make(slot: int | None, seconds: float, rig_name: str = "fast-card") -> Reading:
        timed = timed_all(opened) if slot is None else timed_file(opened, slot)
        return take_reading(timed, built_in_rigs()[rig_name], seconds)

    return make


@pytest.fixture
def log(tmp_path: Path) -> BenchLog:
    return BenchLog(tmp_path / "home" / "bench.jsonl")
