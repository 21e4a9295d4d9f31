"""Where an image's files lie: all that is needed to clock it, without the image.

The index keeps this and can clock every title again when a rig changes; a reading of the bench
log keeps it too, so that an image that moves does not spoil a calibration.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING, NamedTuple

from formats.geometry import LAYOUTS, Geometry
from loadglass.timing.motion import pack_blocks, unpack_blocks

if TYPE_CHECKING:  # what is clocked from the index needs no parser of images
    from formats.audit import Audit
    from loadglass.timing.rig import Order

_LAYOUT_OF_BLOCKS = {layout.blocks: layout for layout in LAYOUTS}
_LOADABLE = 0x8000


class FilePlaces(NamedTuple):
    """One file that can be read whole."""

    slot: int
    sectors: int
    """Directory sectors up to the one that holds its entry."""
    loadable: bool
    """A program: it counts for `start` and `all`."""
    last_bytes: int
    """Bytes that are sent of its last block."""
    blocks: bytes
    """Packed block indexes in reading order; at least one."""


@dataclass(frozen=True)
class ImagePlaces:
    """An image's directory and those of its files that can be clocked, in slot order."""

    geometry: Geometry
    header: int
    directory: tuple[int, ...]
    """Directory sectors in chain order."""
    files: tuple[FilePlaces, ...]

    @classmethod
    def of(cls, audit: Audit) -> ImagePlaces:
        return cls(
            geometry=audit.image.geometry,
            header=audit.directory.header_block,
            directory=tuple(audit.directory.blocks),
            files=tuple(
                FilePlaces(
                    file.entry.slot,
                    len(audit.directory.search_blocks(file.entry.slot)) - 1,
                    file.loadable,
                    file.chain.last_bytes,
                    pack_blocks(file.chain.blocks),
                )
                for file in audit.files
                if file.whole and file.chain.blocks
            ),
        )

    @classmethod
    def of_file(
        cls,
        geometry: Geometry,
        directory_blocks: Sequence[int],
        file_blocks: Sequence[int],
        last_bytes: int,
    ) -> ImagePlaces:
        """One program alone; `directory_blocks` are the header and the sectors up to its entry's.

        Raises ValueError if a sector of the directory or a block of the file is missing.
        """
        if len(directory_blocks) < 2 or not file_blocks:
            raise ValueError("a load reads the header, a directory sector and a block at the least")
        header, *directory = directory_blocks
        file = FilePlaces(0, len(directory), True, last_bytes, pack_blocks(file_blocks))
        return cls(geometry, header, tuple(directory), (file,))

    def taken(self, order: Order) -> ImagePlaces:
        """The same files with their blocks in the order in which a loader takes them.

        One that takes a track's sectors as they come stays on a track until it has the file's
        blocks there, so it comes to each track once; in which order it takes them there is chance.
        """
        if order != "any":
            return self
        track_of = self.geometry.track_of.tolist()

        @cache  # thousands of entries can name one chain
        def track_by_track(packed: bytes) -> bytes:
            blocks = unpack_blocks(packed)
            visit = {track: i for i, track in enumerate(dict.fromkeys(track_of[b] for b in blocks))}
            return pack_blocks(sorted(blocks, key=lambda block: visit[track_of[block]]))

        files = (file._replace(blocks=track_by_track(file.blocks)) for file in self.files)
        return replace(self, files=tuple(files))

    def to_bytes(self) -> bytes:
        """All of it as numbers of two bytes, low byte first."""
        parts = [
            struct.pack(
                "<4H", self.geometry.blocks, self.header, len(self.directory), len(self.files)
            ),
            pack_blocks(self.directory),
        ]
        for slot, sectors, loadable, last_bytes, blocks in self.files:
            flags = last_bytes | (_LOADABLE if loadable else 0)
            parts += (struct.pack("<4H", slot, sectors, flags, len(blocks) // 2), blocks)
        return b"".join(parts)

    @classmethod
    def from_bytes(cls, data: bytes) -> ImagePlaces:
        """What to_bytes gave. Raises ValueError on anything else."""
        try:
            blocks, header, sectors, count = struct.unpack_from("<4H", data)
            directory = struct.unpack_from(f"<{sectors}H", data, 8)
            at = 8 + 2 * sectors
            files = []
            for _ in range(count):
                slot, held_by, flags, length = struct.unpack_from("<4H", data, at)
                at += 8 + 2 * length
                places = data[at - 2 * length : at]
                last_bytes = flags & ~_LOADABLE
                files.append(FilePlaces(slot, held_by, flags != last_bytes, last_bytes, places))
            geometry = _LAYOUT_OF_BLOCKS[blocks]
        except (struct.error, KeyError) as error:
            raise ValueError("these are not the places of an image's files") from error
        named = unpack_blocks(b"".join(file.blocks for file in files)) if at == len(data) else ()
        if (
            at != len(data)
            or not all(file.blocks and 1 <= file.sectors <= sectors for file in files)
            or max((header, *directory, *named)) >= geometry.blocks
        ):
            raise ValueError("the places of an image's files do not fit together")
        return cls(geometry, header, directory, tuple(files))
