"""Following a chain from block to block, and what stopped it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import Enum

from formats.geometry import DATA_BYTES, END, Geometry
from formats.image import DiskImage


class Ending(Enum):
    """What stopped a walk along a chain; only END is as it should be."""

    END = "end"
    NO_START = "no start"
    LOOP = "loop"
    OFF_DISK = "off disk"
    IN_DIRECTORY = "in directory"
    BAD_BLOCK = "bad block"
    MISSING = "missing"
    BLANK = "blank"
    SHARED = "shared"
    """It runs into a block that another chain of the same file has."""


@dataclass(frozen=True, slots=True)
class Chain:
    """The blocks of a chain that can be read, in reading order."""

    blocks: Sequence[int]
    ending: Ending
    last_byte: int = 0
    """Index of the last byte used in the last block (2 to 255; 0 or 1: none); 0 if not ended."""
    stopped_at: int | None = None
    """The block that stopped it: the bad, blank, missing, barred or repeated one; for
    OFF_DISK the one whose link is bad. None where the chain ends, or never starts."""

    @property
    def ended(self) -> bool:
        return self.ending is Ending.END

    @property
    def size_bytes(self) -> int:
        """Bytes of data, the load address of a program included."""
        if not self.ended:
            return len(self.blocks) * DATA_BYTES
        return (len(self.blocks) - 1) * DATA_BYTES + max(self.last_byte - 1, 0)

    @property
    def last_bytes(self) -> int:
        """Bytes of data in the last block."""
        return max(self.last_byte - 1, 0) if self.ended else DATA_BYTES


NO_CHAIN = Chain([], Ending.NO_START)

OWN, BARRED, TAKEN = 1, 2, 3
"""Marks of blocks that a walk must not enter: its own, the directory's, its file's others."""
_ENDING_OF_MARK = {OWN: Ending.LOOP, BARRED: Ending.IN_DIRECTORY, TAKEN: Ending.SHARED}


def marks(geometry: Geometry, blocks: Iterable[int], mark: int = BARRED) -> bytearray:
    """A byte a block: `mark` for these, 0 for the others."""
    marked = bytearray(geometry.blocks)
    for block in blocks:
        marked[block] = mark
    return marked


def follow(
    image: DiskImage,
    start: int,
    stated_blocks: int | None,
    barred: bytes | bytearray | None = None,
) -> Chain:
    """Follow the links from block `start`.

    stated_blocks: the length that the entry states. A blank block stops the walk while
    blocks are still owed; None: nothing is known to be owed, blank blocks are read as links.
    barred: the `marks` of blocks that the chain must not enter; it is not changed.

    A blank block other than of 00 may be real data: a file full of 01 can have its next
    block at 1/1. So if the links read on to a proper end at exactly the stated length, the
    chain stands.
    """
    chain = _walk(image, start, stated_blocks, barred)
    if chain.ending is Ending.BLANK and image.link(chain.stopped_at or 0)[0]:
        trusting = _walk(image, start, stated_blocks, barred, trust_filled=True)
        if trusting.ended and len(trusting.blocks) == stated_blocks:
            return trusting
    return chain


def _walk(
    image: DiskImage,
    start: int,
    stated_blocks: int | None,
    barred: bytes | bytearray | None,
    trust_filled: bool = False,
) -> Chain:
    following = image.next_blocks
    hurdles = image.hurdles
    seen = bytearray(image.geometry.blocks) if barred is None else bytearray(barred)
    owed = -1 if stated_blocks is None else stated_blocks
    blocks: list[int] = []
    block = start
    while True:
        if seen[block]:
            return Chain(blocks, _ENDING_OF_MARK[seen[block]], stopped_at=block)
        if hurdles[block]:
            if image.fails[block]:
                missing = block >= image.present_blocks
                ending = Ending.MISSING if missing else Ending.BAD_BLOCK
                return Chain(blocks, ending, stopped_at=block)
            if (
                len(blocks) < owed
                and image.is_blank(block)
                and not (trust_filled and image.link(block)[0])
            ):
                return Chain(blocks, Ending.BLANK, stopped_at=block)
        seen[block] = OWN
        blocks.append(block)
        block = following[block]
        if block < 0:
            last = blocks[-1]
            if block == END:
                return Chain(blocks, Ending.END, last_byte=image.link(last)[1])
            return Chain(blocks, Ending.OFF_DISK, stopped_at=last)


def read_bytes(image: DiskImage, chain: Chain) -> bytes:
    """The data of a chain, as far as it can be read; a program's load address first."""
    data = b"".join(image.block(block)[2:] for block in chain.blocks)
    return data[: chain.size_bytes]


def remains(image: DiskImage, chain: Chain) -> list[int]:
    """Blocks that the links name past the bad one that stopped a chain.

    Nobody can read them as this file, but they explain why the map marks them used.
    """
    if chain.ending is not Ending.BAD_BLOCK or chain.stopped_at is None:
        return []
    following = image.next_blocks
    beyond: list[int] = []
    seen = set(chain.blocks)
    block = chain.stopped_at
    while block >= 0 and block not in seen:
        seen.add(block)
        beyond.append(block)
        block = following[block]
    return beyond
