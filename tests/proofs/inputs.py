"""From a few bytes, as a fuzzer mutates them, to an image; and all that is asked of it.

Mutating 170 KB is slow and hits little. So the bytes are choices: which composed disk, which faults
and edits; or, in the raw mode, a size, a filling and what to write where.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from functools import cache
from random import Random
from typing import TypeVar

from formats.audit import Audit, audit
from formats.chains import read_bytes
from formats.errors import NotAnImage
from formats.findings import TABLE
from formats.geometry import BLOCK_BYTES, LAYOUTS, Geometry
from formats.image import SHORTEST_BYTES, DiskImage
from formats.mend import CannotRestore, mend
from formats.petscii import to_text
from formats.programs import basic_listing, describe, is_basic, sys_address
from formats.visible import visible
from tests.proofs.edits import edit
from tests.proofs.faults import inject
from tests.proofs.scene import STOCK_FILLING, Choose, Scene, Unfit, compose_scene

T = TypeVar("T")

DISKS_OF_A_LAYOUT = 4
MOST_STEPS = 24
CODES = tuple(TABLE)


class Choices:
    """Takes options by the next bytes of a string; the first of them when there are none left."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._at = 0

    @property
    def left(self) -> bool:
        return self._at < len(self._data)

    def take(self, count: int) -> bytes:
        taken = self._data[self._at : self._at + count]
        self._at += count
        return taken

    def __call__(self, options: Sequence[T]) -> T:
        width = 1 if len(options) <= 256 else 2
        return options[int.from_bytes(self.take(width), "little") % len(options)]


@cache
def composed(geometry: Geometry, nth: int) -> Scene:
    """One of the composed disks that scripts start from."""
    random = Random(nth)

    def choose(options: Sequence[T]) -> T:
        return options[random.randrange(len(options))]

    while True:
        try:
            return compose_scene(geometry, choose)
        except Unfit:
            continue


def image_of(data: bytes) -> bytes:
    """The image that the bytes of an input stand for."""
    choose = Choices(data)
    if choose(range(4)) == 0:
        return _raw(choose)
    scene = composed(choose(LAYOUTS), choose(range(DISKS_OF_A_LAYOUT))).copy()
    for _ in range(MOST_STEPS):
        if not choose.left:
            break
        _step(scene, choose)
    cut = choose((0, 0, 0, 0, 1, 255, 256, 20_000))
    return scene.bytes[: len(scene.bytes) - cut]


def _step(scene: Scene, choose: Choose) -> None:
    saved = scene.copy()
    try:
        if choose(range(3)):
            edit(scene, choose)
        else:
            inject(scene, choose(CODES), choose)
    except Unfit:
        scene.become(saved)


def _raw(choose: Choices) -> bytes:
    geometry = choose(LAYOUTS)
    size = geometry.size_bytes + choose((0, 0, geometry.blocks, -1, 1, 700))
    if geometry is LAYOUTS[0] and choose(range(4)) == 0:
        size = SHORTEST_BYTES + choose(range(size - SHORTEST_BYTES))
    filling = choose((bytes(BLOCK_BYTES), STOCK_FILLING, b"\x12\x01" * 128, bytes(range(256))))
    image = bytearray((filling * (size // BLOCK_BYTES + 1))[:size])
    system = (*geometry.system_blocks, geometry.directory_block)
    while choose.left:
        near = choose((*system, *system, -1))
        block = choose(range(geometry.blocks)) if near < 0 else near
        at = min(block * BLOCK_BYTES + choose(range(BLOCK_BYTES)), size)
        written = choose.take(choose(range(1, 33)))
        image[at : at + len(written)] = written
    return bytes(image[:size])


def examine(data: bytes) -> Audit | None:
    """Ask of an image all that the ground floor can tell; None: it is no image."""
    try:
        image = DiskImage.from_bytes(data)
    except NotAnImage:
        return None
    judged = audit(image)
    assert image.to_bytes() == data
    for found in judged.findings:
        assert visible(found.says)
    for file in judged.files:
        to_text(file.entry.name)
    for file in [file for file in judged.files if file.loadable][:40]:
        content = read_bytes(image, file.chain)
        assert len(content) == file.size_bytes
        describe(content)
        sys_address(content)
        if is_basic(content):
            basic_listing(content)
    _mend(judged)
    return judged


def _mend(judged: Audit) -> None:
    once = mend(judged)
    assert len(once.data) == len(judged.image.to_bytes())
    mend(once.after, free_strands=True)
    if judged.directory.scratched:
        with suppress(CannotRestore):
            mend(judged, restore=[judged.directory.scratched[0].text])
