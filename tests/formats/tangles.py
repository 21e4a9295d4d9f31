"""Images whose links and entries are random but mostly valid: chains are long and tangled."""

from collections.abc import Callable
from random import Random

from formats.geometry import BLOCK_BYTES, TRACKS_80, Geometry
from tests.formats.builders import STOCK_FILLING, Disk, program, relative

CODES = (0x00, 0x01, 0x02, 0x05, 0x06, 0x0B, 0x0F, 0x55)


def tangled(layout: Geometry, seed: int) -> bytes:
    """The bytes of such an image; sometimes with error bytes, cut short or with bytes behind."""
    chance = Random(seed)
    disk = Disk(program(3), relative(300), geometry=layout, filling=chance.randbytes(256))
    near = [chance.randrange(layout.blocks) for _ in range(chance.choice([3, 20, 200]))]

    def link() -> bytes:
        odds = chance.random()
        if odds < 0.05:
            return bytes((0, chance.randrange(256)))
        if odds < 0.1:
            return chance.randbytes(2)
        if odds < 0.13:
            return bytes(layout.directory if odds < 0.12 else layout.header)
        return bytes(layout.place(chance.choice(near) if odds < 0.5 else _any(chance, layout)))

    for block in range(layout.blocks):
        if block not in layout.system_blocks and chance.random() < 0.9:
            at = block * BLOCK_BYTES
            disk.sectors[at : at + 2] = link()
            if chance.random() < 0.03:
                filling = chance.choice((STOCK_FILLING, bytes([chance.randrange(40)]) * 256))
                disk.sectors[at : at + BLOCK_BYTES] = filling
    for block in [layout.directory_block, *chance.sample(near, min(len(near), 5))]:
        for at in range(block * BLOCK_BYTES, (block + 1) * BLOCK_BYTES, 32):
            if chance.random() < 0.8:
                disk.sectors[at + 2 : at + 32] = _entry(chance, link)
    if chance.random() < 0.2:
        disk.put(layout.header, chance.randbytes(chance.choice([3, 256])))
    if chance.random() < 0.3:
        disk.errors = bytearray(chance.choices(CODES, (50, 50, 1, 1, 1, 1, 1, 1), k=layout.blocks))
    elif chance.random() < 0.2:
        disk.extra = chance.randbytes(chance.randrange(300))
    elif chance.random() < 0.1 and layout is not TRACKS_80 and layout.tracks == 35:
        del disk.sectors[chance.randrange(disk.offset((19, 1)), len(disk.sectors)) :]
    return disk.data


def _any(chance: Random, layout: Geometry) -> int:
    return chance.randrange(layout.blocks)


def _entry(chance: Random, link: Callable[[], bytes]) -> bytes:
    """Thirty bytes of an entry from its type on."""
    kind = chance.choice((0x82, 0x82, 0x84, 0x83, 0x81, 0x80, 0x85, 0x87, 0x02, 0))
    name = chance.choice((b"AHOI", b'"*?', chance.randbytes(16))).ljust(16, b"\xa0")
    desktop = bytes((chance.choice((0, 1, 127)), chance.choice((0, 7)), 0, 0, 0, 0, 0))
    blocks = chance.choice((0, 0, 1, 2, 5, 40, chance.randrange(65536)))
    return bytes([kind]) + link() + name + link() + desktop + blocks.to_bytes(2, "little")
