"""What no plain save does: a file on chosen tracks, raw blocks, a decorated directory.

Each function takes an image's bytes and gives new ones. Nothing but the directory may lie on its
track.
"""

from collections.abc import Collection, Iterable
from itertools import cycle

import numpy as np
from numpy.typing import NDArray

from formats.blockmap import read_map, write_map
from formats.compose import (
    NOWHERE,
    Allocator,
    NewFile,
    blocks_for,
    entry_bytes,
    write_chain,
    write_directory,
)
from formats.directory import DEL, ENTRIES_IN_SECTOR, PRG, read_directory
from formats.geometry import BLOCK_BYTES
from formats.image import DiskImage
from formats.petscii import from_text


def add_file(data: bytes, file: NewFile, tracks: Collection[int] | None = None) -> bytes:
    """One more file at the directory's end, on these tracks only if any are given.

    On tracks past those of the map every block counts as free.
    """
    image, sectors = DiskImage.from_bytes(data), bytearray(data)
    geometry = image.geometry
    marks = read_map(image).free.copy()
    allocator = Allocator(geometry, extra_tracks=True)
    mapped = geometry.first_block[geometry.map_tracks]
    allocator.free[:mapped] = marks[:mapped]
    if tracks is not None:
        allocator.free &= np.isin(geometry.track_of, list(tracks))
    chain = allocator.chain(blocks_for(file.data))
    write_chain(sectors, geometry, chain, file.data)
    marks[chain] = False
    entry = entry_bytes(file, geometry.place(chain[0]), len(chain))
    return _with_directory(image, sectors, marks, [*_entries(image), entry])


def store_raw(data: bytes, first_track: int, content: bytes) -> bytes:
    """Blocks of no file, from sector 0 of a track on, and the map calls them used."""
    image, sectors = DiskImage.from_bytes(data), bytearray(data)
    first = image.geometry.first_block[first_track - 1]
    sectors[first * BLOCK_BYTES : first * BLOCK_BYTES + len(content)] = content
    marks = read_map(image).free.copy()
    marks[first : first + len(content) // BLOCK_BYTES] = False
    write_map(image.geometry, sectors, marks)
    return bytes(sectors)


def decorate(data: bytes, above: Iterable[str], below: Iterable[str]) -> bytes:
    """Lines of up to 16 characters around the directory's entries, none of them a file.

    By turns a line is of type DEL and starts nowhere, or a program of no blocks that starts at the
    header.
    """
    image = DiskImage.from_bytes(data)
    styles = ((DEL, NOWHERE), (PRG, image.geometry.header))

    def lines(texts: Iterable[str]) -> list[bytes]:
        return [
            entry_bytes(NewFile(from_text(text), b"", type_code), start, blocks=0)
            for text, (type_code, start) in zip(texts, cycle(styles))
        ]

    marks = read_map(image).free.copy()
    entries = [*lines(above), *_entries(image), *lines(below)]
    return _with_directory(image, bytearray(data), marks, entries)


def _entries(image: DiskImage) -> list[bytes]:
    """The directory's entries, without the sectors' links that stand before some of them."""
    return [bytes(2) + entry.raw[2:] for entry in read_directory(image).entries]


def _with_directory(
    image: DiskImage, sectors: bytearray, marks: NDArray[np.bool_], entries: list[bytes]
) -> bytes:
    """The sectors with these entries in the directory and these marks (True: free) in the map."""
    geometry = image.geometry
    marks[read_directory(image).blocks] = True
    directory = Allocator(geometry).directory_chain(-(-len(entries) // ENTRIES_IN_SECTOR))
    marks[directory] = False
    write_directory(sectors, directory, geometry, b"".join(entries))
    write_map(geometry, sectors, marks)
    return bytes(sectors)
