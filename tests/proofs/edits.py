"""A composed disk changed by a short script of edits: realistic, but tangled in any way.

Links, starts and lengths are bent mostly to places that are in use, so that chains loop, run
together and yet now and then have the length that an entry states.
"""

from __future__ import annotations

from collections.abc import Callable

from formats.image import ERROR_MEANINGS
from tests.proofs.scene import (
    DESKTOP_KIND,
    SIDE,
    START,
    STOCK_FILLING,
    STRUCTURE,
    TYPE,
    Choose,
    Scene,
    Unfit,
)

BYTES = range(256)
TYPES = (0x80, 0x81, 0x82, 0x83, 0x84, 0x85, 0x86, 0x87, 0x02, 0x00, 0xC2, 0x9A)


def edit(scene: Scene, choose: Choose) -> None:
    """One edit of a scene; what the scene says of its files is true no more. Raises Unfit."""
    choose(EDITS)(scene, choose)


def _block(scene: Scene, choose: Choose) -> int:
    """A block that is in use; now and then any."""
    used = sorted(scene.owned | set(scene.system))
    return choose(used) if choose(range(8)) else choose(range(scene.geometry.blocks))


def _place(scene: Scene, choose: Choose) -> tuple[int, int]:
    what = choose(range(10))
    if what == 0:
        return choose(BYTES), choose(BYTES)
    if what == 1:
        return 0, choose(BYTES)
    return scene.place(_block(scene, choose))


def _slot(scene: Scene, choose: Choose) -> int:
    if not scene.directory:
        raise Unfit
    return choose(range(min(8 * len(scene.directory), len(scene.used_slots()) + 2)))


def _link(scene: Scene, choose: Choose) -> None:
    scene.link(_block(scene, choose), _place(scene, choose))


def _start(scene: Scene, choose: Choose) -> None:
    field = choose((START, START, START, SIDE))
    scene.set_field(_slot(scene, choose), field, _place(scene, choose))


def _length(scene: Scene, choose: Choose) -> None:
    slot = _slot(scene, choose)
    stated = scene.files[slot].stated if slot in scene.files else 1
    blocks = choose((0, 0, 1, 2, 3, max(stated - 1, 0), stated, stated + 1, 0xFFFF))
    scene.set_length(slot, min(blocks, 0xFFFF))


def _type(scene: Scene, choose: Choose) -> None:
    scene.set_field(_slot(scene, choose), TYPE, [choose(TYPES)])


def _desktop(scene: Scene, choose: Choose) -> None:
    scene.set_field(_slot(scene, choose), STRUCTURE, [choose((0, 1, 127))])
    scene.set_field(_slot(scene, choose), DESKTOP_KIND, [choose((0, 7))])


def _swap_entries(scene: Scene, choose: Choose) -> None:
    """An entry moves: the same names, but another order."""
    one, other = scene.entry_at(_slot(scene, choose)), scene.entry_at(_slot(scene, choose))
    first, second = scene.sectors[one + 2 : one + 32], scene.sectors[other + 2 : other + 32]
    scene.write(one + 2, second)
    scene.write(other + 2, first)


def _fill(scene: Scene, choose: Choose) -> None:
    filling = choose((bytes(256), STOCK_FILLING, bytes([choose(BYTES)]) * 256))
    scene.put(_block(scene, choose), filling)


def _error(scene: Scene, choose: Choose) -> None:
    try:
        scene.error(_block(scene, choose), choose(sorted(ERROR_MEANINGS)))
    except Unfit:  # it has one already
        scene.errors = None


def _byte(scene: Scene, choose: Choose) -> None:
    scene.put(_block(scene, choose), [choose(BYTES)], at=choose(BYTES))


def _mark(scene: Scene, choose: Choose) -> None:
    block = _block(scene, choose)
    if scene.mapped(block):
        scene.mark(block, free=choose((False, True)))


EDITS: tuple[Callable[[Scene, Choose], None], ...] = (
    _link,
    _link,
    _link,
    _start,
    _start,
    _length,
    _length,
    _type,
    _desktop,
    _swap_entries,
    _fill,
    _error,
    _byte,
    _mark,
)
