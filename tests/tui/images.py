"""Small images for the tests of commands and screens."""

from __future__ import annotations

from pathlib import Path

from formats.compose import NewFile, compose
from formats.geometry import TRACKS_35
from formats.programs import tokenise

FOG_HORN = tokenise(["10 PRINT CHR$(147)", "20 FOR I=1 TO 500:NEXT", "30 GOTO 20"])
PICTURE = bytes([0x00, 0x20]) + bytes(i * 7 % 251 for i in range(8000))
MUSIC = bytes([0x00, 0xC0]) + bytes(i * 3 % 256 for i in range(2000))


def sound(title: bytes = b"HARBOUR NIGHT") -> bytes:
    """Three programs, nothing wrong."""
    files = [
        NewFile(b"FOG HORN", FOG_HORN),
        NewFile(b"PICTURE", PICTURE),
        NewFile(b"MUSIC", MUSIC),
    ]
    return compose(title, files)


def looped() -> bytes:
    """The chain of PICTURE comes back to its own first block; the other files are whole."""
    data = bytearray(sound(b"HARBOUR LOOP"))
    start = TRACKS_35.index(17, 1)
    second = TRACKS_35.index(*data[start * 256 : start * 256 + 2])
    data[second * 256 : second * 256 + 2] = bytes((17, 1))
    return bytes(data)


def hostile() -> bytes:
    """Names with terminal escapes and markup in them."""
    files = [
        NewFile(b"\x1b[31mRED\x1b[0m", FOG_HORN),
        NewFile(b"[bold]LOUD[/]", FOG_HORN),
        NewFile(b"A\r\nB\x00C\x93", FOG_HORN),
    ]
    return compose(b"\x1b]0;TITLE\x07[red]", files)


def put(folder: Path, name: str, data: bytes) -> Path:
    path = folder / name
    path.write_bytes(data)
    return path
