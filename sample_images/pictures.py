"""Pictures by formula, as the machine shows them from 2000: a bit map and its colours."""

from math import isqrt

import numpy as np
from numpy.typing import NDArray

from sample_images.screens import Numbers, triangle

WIDTH, HEIGHT = 320, 200
BIT_MAP_BYTES = WIDTH * HEIGHT // 8
PICTURE_BYTES = BIT_MAP_BYTES + 1000

SEA_COLOURS, LAND_COLOURS = 0x6E, 0x09
DUSK_COLOURS, WATER_COLOURS = 0x17, 0x06
"""Colour of set bits in the high half, of the others in the low half."""

y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
_ROOTS = np.array([isqrt(n) for n in range(WIDTH**2 + HEIGHT**2)], dtype=np.int64)


def chart(number: int) -> bytes:
    """A sea chart: islands, lines of equal depth around them, and a grid."""
    depth = np.full((HEIGHT, WIDTH), WIDTH, dtype=np.int64)
    for island in range(3 + number % 3):
        east = (97 * island + 61 * number + 40) % WIDTH
        south = (53 * island + 37 * number + 30) % HEIGHT
        size = 8 + (7 * island + 5 * number) % 17
        depth = np.minimum(depth, _ROOTS[(x - east) ** 2 + (y - south) ** 2] - size)
    depth += triangle(x + 2 * y + 9 * number, 46) // 6
    land = depth < 0
    lines = ((depth % 12 == 0) & (depth < 72)) | (x % 80 == 0) | (y % 50 == 0)
    bits = np.where(land, (x + y) % 4 == 0, lines)
    return _picture(bits, np.where(land[4::8, 4::8], LAND_COLOURS, SEA_COLOURS))


def pier(hour: int) -> bytes:
    """The long pier at an hour of the evening: the sun sinks, the tide comes in."""
    horizon = 90
    sun = _ROOTS[(x - 220) ** 2 + (y - 40 - 8 * hour) ** 2] < 22
    sky = (y < horizon) & (sun | ((3 * x + 5 * y) % 61 < hour))
    depth = np.maximum(y - horizon, 1)
    waves = (y >= horizon) & (triangle(x * 40 // depth + 7 * y + 3 * hour, 16) > 6)
    deck = (y >= 76) & (y < 82) & (x > 30)
    posts = (x % 36 < 4) & (x > 30) & (y >= 82) & (y < 150 + 6 * hour)
    rail = (y == 66) | ((x % 12 == 0) & (y > 66) & (y < 76))
    bits = sky | waves | deck | posts | (rail & (x > 30))
    colours = np.where(np.arange(25)[:, None] < 11, DUSK_COLOURS, WATER_COLOURS)
    return _picture(bits, np.broadcast_to(colours, (25, 40)))


def _picture(bits: NDArray[np.bool_], colours: Numbers) -> bytes:
    """The bytes from 2000: eight of the bit map for each cell, then a byte of colours for each.

    bits: shape (200, 320). colours: shape (25, 40).
    """
    cells = np.packbits(bits.reshape(25, 8, 40, 8).transpose(0, 2, 1, 3))
    return cells.tobytes() + colours.astype(np.uint8).tobytes()
