"""Images of the harbour club for the screen's tests, and a shelf of them."""

from __future__ import annotations

from pathlib import Path

from formats.compose import NewFile, compose
from formats.directory import SEQ
from loadglass.shelf.rows import ShelfRow
from tests.tui.memory_shelf import row_of


def program(blocks: int) -> bytes:
    return b"\x01\x08" + bytes(range(1, 255)) * blocks


def damaged(image: bytes) -> bytes:
    """The first file's chain comes back to its first block."""
    first = 17 * 21 - 21  # track 17, sector 0: where the drive places the first file
    links = bytearray(image)
    links[first * 256 : first * 256 + 2] = bytes((17, 0))
    return bytes(links)


IMAGES: dict[str, bytes] = {
    "fog-horn.d64": compose(b"FOG HORN", [NewFile(b"FOG HORN", program(120))]),
    "lantern.d64": compose(
        b"LANTERN WATCH",
        [NewFile(b"LANTERN", program(2)), NewFile(b"PART TWO", program(80))],
        interleave=8,
    ),
    "ring-buoy.d64": damaged(compose(b"RING BUOY", [NewFile(b"BUOY", program(40))])),
    "members.d64": compose(b"CLUB MEMBERS", [NewFile(b"LIST", b"AHOI" * 200, SEQ)]),
    "evil-name.d64": compose(b"[BOLD]\x1b\x9b[/]", [NewFile(b"[RED]\x1b\x0d\x93", program(1))]),
}
HOSTILE_FILE_NAME = "evil \x1b]0;owned\x07 [bold]name[red] \u202e.d64"


def write_images(folder: Path) -> list[str]:
    """Write the images below the folder; their names."""
    for name, data in IMAGES.items():
        (folder / name).write_bytes(data)
    return list(IMAGES)


def club_rows(folder: Path) -> list[ShelfRow]:
    """A row of each image, with paths that do not name the folder: make it the working one."""
    return [row_of(Path(name), number) for number, name in enumerate(write_images(folder))]
