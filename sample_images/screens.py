"""Screens of characters by formula: 25 rows of 40 screen codes, one after the other."""

import numpy as np
from numpy.typing import NDArray

COLUMNS, ROWS = 40, 25
SPACE, DASH, DOT, STAR = 0x20, 0x2D, 0x2E, 0x2A
SOLID, HALF, BALL, LINE = 0xA0, 0x66, 0x51, 0x43
TOWN = "GRAUHAVEN"

Numbers = NDArray[np.int64]
Screen = NDArray[np.uint8]

y, x = np.mgrid[0:ROWS, 0:COLUMNS]


def triangle(values: Numbers, period: int) -> Numbers:
    """A wave of whole numbers from 0 to half the period."""
    wave: Numbers = np.abs(values % period - period // 2)
    return wave


def fog(moment: int) -> bytes:
    """The harbour, its light, and the fog that drifts past."""
    screen = _sea(moment, from_row=19)
    screen[18] = SOLID  # the quay
    screen[7:18, 30:33] = np.where(y[7:18, 30:33] // 3 % 2, HALF, SOLID)  # the tower
    screen[6, 30:33] = BALL
    if moment % 8 < 3:
        screen[6, :30] = LINE  # the beam
    density = (
        triangle(x + 2 * moment + 3 * y, 26)
        + triangle(2 * x - moment + 5 * y, 34)
        + triangle(3 * moment + 7 * y - x, 18)
    )
    screen[density > 21] = DOT
    screen[density > 26] = HALF
    return _captioned(screen, f"FOG, {5 * moment} MINUTES AFTER SUNSET")


def night(number: int) -> bytes:
    """A night on watch: stars, the moon on its way, ships on the horizon."""
    screen = _sea(number, from_row=17)
    screen[:16][(7 * x + 13 * y + 5 * number)[:16] % 29 == 0] = DOT
    screen[3 + abs(number - 7), 2 + 5 * (number % 8)] = BALL
    for ship in range(number % 4 + 1):
        left = (11 * ship + 7 * number) % (COLUMNS - 5)
        screen[16, left : left + 5] = SOLID
        screen[15, left + 2] = STAR
    return _captioned(screen, f"NIGHT {number + 1} OF THE WATCH")


def tunnel(number: int) -> bytes:
    """A stretch of the smugglers' tunnel; never one value for a quarter of the screen."""
    middle = 12 + triangle(x + 40 * number, 26) // 2 - 3
    width = 3 + triangle(x + 23 * number, 14) // 3
    rock = np.where((5 * x + 3 * y + number) % 7 < 2, SOLID, HALF)
    screen = np.where(np.abs(y - middle) <= width, SPACE, rock).astype(np.uint8)
    screen[(y == middle) & ((x + number) % 13 == 0)] = STAR  # torches
    return _captioned(screen, f"TUNNEL {number + 1}, Q TO TURN BACK")


def gallery(number: int) -> bytes:
    """A picture in its frame."""
    rings = np.abs(x - 19) + 2 * np.abs(y - 12) + number * triangle(x * y, 10) // 4
    palette = np.array([SPACE, DOT, DASH, BALL, HALF, SOLID], dtype=np.uint8)
    screen = palette[(rings + number) // 3 % len(palette)]
    screen[[0, -1]] = SOLID
    screen[:, [0, -1]] = SOLID
    return _captioned(screen, f"PICTURE {number + 1}")


def _sea(moment: int, from_row: int) -> Screen:
    wave = (3 * x + 7 * y + moment) % 11 < 3
    return np.where(wave & (y >= from_row), DASH, SPACE).astype(np.uint8)


def _captioned(screen: Screen, caption: str) -> bytes:
    text = caption.ljust(COLUMNS - len(TOWN)) + TOWN
    screen[ROWS - 1] = np.frombuffer(_screen_codes(text), dtype=np.uint8)
    return screen.tobytes()


def _screen_codes(text: str) -> bytes:
    """Screen codes of upper-case ASCII: letters have 01 to 1A, the rest their own code."""
    return bytes(code - 0x40 if code >= 0x40 else code for code in text.encode("ascii"))
