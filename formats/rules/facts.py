"""What the rules look at: an image read and walked once, nothing judged yet."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from formats.blockmap import BlockMap, read_map
from formats.directory import (
    ENTRIES_IN_SECTOR,
    UNKNOWN_KIND,
    Directory,
    Entry,
    read_directory,
)
from formats.files import FileFacts, Role, owners, walk_files
from formats.geometry import END, TRACKS_80, Geometry, Place
from formats.image import DiskImage

FORMAT_MARKS = {False: 0x41, True: 0x44}
"""The format mark in the header; True: of the 80-track layout."""
UNUSED_TYPE_BITS = 0x18


def format_mark(image: DiskImage) -> int:
    """What the stock drive writes at offset 02 of the header."""
    return FORMAT_MARKS[image.geometry is TRACKS_80]


@dataclass(frozen=True)
class Facts:
    image: DiskImage
    directory: Directory
    has_directory: bool
    files: list[FileFacts]
    owner: list[int]
    block_map: BlockMap

    @cached_property
    def by_slot(self) -> dict[int, FileFacts]:
        return {file.entry.slot: file for file in self.files}

    @cached_property
    def own_files(self) -> list[FileFacts]:
        """Entries that stand for a file of their own."""
        return [file for file in self.files if file.role is Role.FILE]

    @cached_property
    def owned(self) -> NDArray[np.bool_]:
        """Whether each block belongs to a file, the directory or the map; shape (blocks,)."""
        owned = np.array(self.owner) >= 0
        owned[list(self.directory.owned)] = True
        return owned

    def place(self, block: int) -> Place:
        return self.image.geometry.place(block)


def looks_like_directory(image: DiskImage, directory: Directory) -> bool:
    """Whether header or first directory sector are what a drive writes there.

    A disk whose header lies on purpose still has its directory; one that has neither is a
    store of raw blocks. One that cannot be read there is damaged, and no store.
    """
    geometry, first = image.geometry, image.geometry.directory_block
    mark_is_right = directory.format_mark == format_mark(image)
    link_is_right = directory.first_link == geometry.directory
    if image.fails[directory.header_block] or image.fails[first]:
        return True
    if mark_is_right and link_is_right:
        return not (image.is_blank(first) and image.link(first)[0])
    if image.is_blank(first):
        return False
    used = [entry for entry in directory.entries if entry.slot < ENTRIES_IN_SECTOR]
    leads_on = image.next_blocks[first] >= END
    if leads_on and (link_is_right or not used):
        return link_is_right or mark_is_right
    if not leads_on and not (used and (link_is_right or mark_is_right)):
        return False
    return 2 * sum(_makes_sense(geometry, entry) for entry in used) >= len(used)


def _makes_sense(geometry: Geometry, entry: Entry) -> bool:
    """Whether an entry is one that a drive, or a decorator of directories, might have written."""
    starts = entry.start.track == 0 or geometry.exists(*entry.start)
    file_or_line = (entry.kind != UNKNOWN_KIND and starts) or not entry.blocks
    return file_or_line and not entry.type_byte & UNUSED_TYPE_BITS


def gather(image: DiskImage) -> Facts:
    """Read header, directory and map, and walk every file."""
    directory = read_directory(image)
    has_directory = looks_like_directory(image, directory)
    if not has_directory:
        chain = replace(directory.chain, blocks=[])
        directory = replace(directory, entries=(), scratched=(), chain=chain)
    files = walk_files(image, directory)
    return Facts(
        image=image,
        directory=directory,
        has_directory=has_directory,
        files=files,
        owner=owners(files, image.geometry.blocks),
        block_map=read_map(image),
    )
