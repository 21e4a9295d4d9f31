"""What each block of a disk is there for, and how the drive gets from block to block of a file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from formats.audit import Audit, FileAudit
from formats.chains import Ending
from formats.files import Role
from formats.geometry import Geometry


class BlockKind(StrEnum):
    """In the order in which one covers the other."""

    UNREADABLE = "unreadable"
    """A read of it fails, or the image stops before it."""
    DIRECTORY = "directory"
    """The header, the map or the directory."""
    FILE = "file"
    STRANDED = "stranded"
    """In use by no file: marked used in the map, or written where there is no map."""
    FREE = "free"
    """Marked free; something was written there."""
    BLANK = "blank"
    """Never written."""


def kinds_of(audit: Audit) -> list[BlockKind]:
    """The kind of each block, in image order."""
    image, block_map = audit.image, audit.block_map
    kept = audit.has_directory and not block_map.one_value
    free = block_map.free.tolist()
    used = block_map.used.tolist()
    blank = image.blank.tolist()
    reserved = np.isin(image.geometry.track_of, list(image.geometry.reserved_tracks)).tolist()
    kinds = []
    for block, owner in enumerate(audit.owner):
        if owner >= 0:
            kind = BlockKind.FILE
        elif kept and used[block] and not (reserved[block] and blank[block]):
            kind = BlockKind.STRANDED
        elif blank[block]:
            kind = BlockKind.BLANK
        else:
            kind = BlockKind.FREE if kept and free[block] else BlockKind.STRANDED
        kinds.append(kind)
    if audit.has_directory:
        for block in audit.directory.owned:
            kinds[block] = BlockKind.DIRECTORY
    for block in image.fails.nonzero()[0].tolist():
        kinds[block] = BlockKind.UNREADABLE
    return kinds


@dataclass(frozen=True, slots=True)
class Use:
    """One file's use of a block."""

    file: FileAudit
    position: int | None
    """From 1 in the order of reading; None of a block beside the chain (side sectors ...)."""


def uses_of(audit: Audit, block: int) -> list[Use]:
    """Every file that the block belongs to; more than one where chains run together."""
    uses = []
    for file in audit.files:
        if file.role is Role.ALIAS or block not in file.facts.owned_blocks:
            continue
        in_chain = block in file.chain.blocks
        uses.append(Use(file, file.chain.blocks.index(block) + 1 if in_chain else None))
    return uses


@dataclass(frozen=True, slots=True)
class Step:
    """How the drive comes to a block of a chain."""

    block: int
    gap: int | None
    """Sectors on from the block before, around the track; None where that is on another track."""
    cylinders: int
    """How far the head moves; 0 for the first block."""


def steps_of(geometry: Geometry, blocks: Sequence[int]) -> list[Step]:
    """The way along a chain, in reading order."""
    steps = []
    before = blocks[0] if blocks else 0
    for block in blocks:
        here, there = geometry.place(block), geometry.place(before)
        gap = None
        if here.track == there.track and block != before:
            gap = (here.sector - there.sector) % geometry.sectors[here.track - 1]
        cylinders = abs(int(geometry.cylinder_of[block]) - int(geometry.cylinder_of[before]))
        steps.append(Step(block, gap, cylinders))
        before = block
    return steps


ENDING_SAYS = {
    Ending.END: "the chain ends here",
    Ending.NO_START: "the chain starts nowhere",
    Ending.LOOP: "then it comes back to {place}: it never ends",
    Ending.OFF_DISK: "then it leads off the disk",
    Ending.IN_DIRECTORY: "then it runs into the directory at {place}",
    Ending.BAD_BLOCK: "then {place} cannot be read",
    Ending.MISSING: "then {place} is missing from the image",
    Ending.BLANK: "then {place} was never written",
}
"""What becomes of a chain behind its last readable block."""


def ending_text(file: FileAudit, geometry: Geometry) -> str:
    """What stops the chain of a file, in words."""
    stop = file.chain.stopped_at
    place = geometry.place(stop) if stop is not None else None
    return ENDING_SAYS[file.chain.ending].format(place=place)
