"""Images for the tests of the Disk view: disks of the harbour town's club, and broken ones."""

from __future__ import annotations

import random
from collections.abc import Callable

from formats.audit import audit
from formats.compose import NewFile, compose
from formats.directory import REL, SEQ
from formats.geometry import (
    BLOCK_BYTES,
    LAYOUTS,
    TRACKS_35,
    TRACKS_40,
    TRACKS_42,
    TRACKS_70,
    TRACKS_80,
    Geometry,
    Place,
)
from formats.image import DiskImage
from formats.programs import tokenise
from loadglass.opened import Opened
from loadglass.sources import Source

LISTING = [
    "10 REM *** HAFENLOTSE ***",
    '20 PRINT "WILLKOMMEN IN GRAUHAVEN"',
    "30 FOR I=1 TO 10:PRINT I*I:NEXT",
    '40 LOAD "LOTSE.MC",8,1',
]
TIDES = b"HOCHWASSER 04:12\rNIEDRIGWASSER 10:30\r"
SIGNS = bytes([0xA4, 0xA4]) + b" NEBEL " + bytes([0xB0, 0xC1, 0xD3])
HOSTILE = [
    b"[RED]ROT[/RED]",
    bytes([0x1B]) + b"[31MESC" + bytes([0x07]),
    bytes([0x0D, 0x0A, 0x00, 0x93, 0x12]),
    b"../../HAFEN",
    b'"QUOTE",8,1:*?',
    b"[@CLICK=QUIT]X[/",
]


def program(size_bytes: int, load: int) -> bytes:
    """A program of that size whose bytes never repeat within a page."""
    body = bytes((i * 7 + i // 256) % 256 for i in range(size_bytes - 2))
    return load.to_bytes(2, "little") + body


def tidy_files() -> list[NewFile]:
    return [
        NewFile(b"HAFENLOTSE", tokenise(LISTING), locked=True),
        NewFile(b"LOTSE.MC", program(20_000, 0x1000)),
        NewFile(b"KARTE", program(9_000, 0x2000)),
        NewFile(b"TIDEN", TIDES * 30, type_code=SEQ),
        NewFile(SIGNS, program(700, 0x0801)),
        NewFile(b"SCHIFFE", bytes(range(1, 51)) * 40, type_code=REL, record_length=50),
    ]


def opened(data: bytes, path: str = "/bench/hafen.d64") -> Opened:
    """As if the image had been opened from that path."""
    image = DiskImage.from_bytes(data)
    return Opened(Source(path, path), image, audit(image))


def tidy(geometry: Geometry = TRACKS_35) -> bytes:
    return compose(b"HAFENLOTSE", tidy_files(), geometry)


def chain_of(data: bytes, slot: int) -> list[int]:
    return opened(data).audit.by_slot[slot].chain.blocks


def relinked(data: bytes, block: int, to: Place) -> bytes:
    """The image with another link in one block."""
    changed = bytearray(data)
    changed[block * BLOCK_BYTES : block * BLOCK_BYTES + 2] = bytes(to)
    return bytes(changed)


def looped() -> bytes:
    """LOTSE.MC comes back to its third block after its tenth."""
    data = tidy()
    chain = chain_of(data, 1)
    return relinked(data, chain[9], TRACKS_35.place(chain[2]))


def off_disk() -> bytes:
    data = tidy()
    return relinked(data, chain_of(data, 1)[5], Place(77, 3))


def shared() -> bytes:
    """KARTE runs into the middle of LOTSE.MC."""
    data = tidy()
    middle = chain_of(data, 1)[40]
    return relinked(data, chain_of(data, 2)[3], TRACKS_35.place(middle))


def bad_block() -> bytes:
    """A read error in the eighth block of LOTSE.MC, and one outside every file."""
    data = tidy()
    errors = bytearray([1]) * TRACKS_35.blocks
    errors[chain_of(data, 1)[7]] = 0x05
    errors[TRACKS_35.index(1, 0)] = 0x02
    return data + bytes(errors)


def short() -> bytes:
    return tidy()[: TRACKS_35.first_block[19] * BLOCK_BYTES]


def empty() -> bytes:
    return compose(b"LEER", [])


def no_directory() -> bytes:
    """Raw blocks throughout: neither a header nor a directory."""
    return bytes((i * 31 + i // 251) % 255 + 1 for i in range(TRACKS_35.size_bytes))


def zeros() -> bytes:
    return bytes(TRACKS_35.size_bytes)


def hostile() -> bytes:
    files = [NewFile(name, program(600 + i, 0x0801)) for i, name in enumerate(HOSTILE)]
    return compose(b"[B]\x1b[2J\x00", files)


def twins() -> bytes:
    """Twenty files, some of one name."""
    files = [NewFile(b"BOJE %d" % (i % 15), program(300 + 200 * i, 0x0801)) for i in range(20)]
    return compose(b"BOJEN", files)


def scribbled(seed: int) -> bytes:
    """A tidy disk with a directory of noise, and links of noise in one block of four."""
    dice = random.Random(seed)
    data = bytearray(tidy())
    at = TRACKS_35.directory_block * BLOCK_BYTES
    data[at + 2 : at + BLOCK_BYTES] = dice.randbytes(BLOCK_BYTES - 2)
    for block in dice.sample(range(TRACKS_35.blocks), TRACKS_35.blocks // 4):
        if block != TRACKS_35.header_block:
            link = (dice.randrange(40), dice.randrange(24))
            data[block * BLOCK_BYTES : block * BLOCK_BYTES + 2] = bytes(link)
    return bytes(data)


DISKS: dict[str, Callable[[], bytes]] = {
    "tidy": tidy,
    "looped": looped,
    "off-disk": off_disk,
    "shared": shared,
    "bad-block": bad_block,
    "short": short,
    "empty": empty,
    "no-directory": no_directory,
    "zeros": zeros,
    "hostile": hostile,
    "twins": twins,
    "scribbled": lambda: scribbled(1),
    "scribbled more": lambda: scribbled(2),
    **{
        geometry.name: lambda geometry=geometry: tidy(geometry)  # type: ignore[misc]
        for geometry in LAYOUTS
    },
}
__all__ = ["DISKS", "TRACKS_40", "TRACKS_42", "TRACKS_70", "TRACKS_80"]
