"""A repaired copy of an image, and what was done. The original is never touched.

It never forges soundness: a file whose chain was broken stays marked unclosed with its
old length, error bytes are never cleared, and no block is freed unless asked for.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from formats.audit import Audit, FileAudit, audit
from formats.blockmap import write_map
from formats.chains import follow, read_bytes
from formats.compose import CLOSED, Allocator
from formats.directory import ENTRIES_IN_SECTOR, ENTRY_BYTES, PRG, Entry
from formats.errors import LoadglassError
from formats.files import Role
from formats.findings import Severity, Verdict
from formats.geometry import BLOCK_BYTES, Place
from formats.image import DiskImage
from formats.petscii import from_text, to_text
from formats.rules.facts import Facts, gather
from formats.rules.map import scratched_is_whole, unowned_blocks

WHOLE_BLOCK_END = Place(0, 0xFF)
"""The link of a last block that is used to its end."""


class CannotRestore(LoadglassError):
    """No scratched file of that name is still whole."""


@dataclass(frozen=True)
class Mended:
    """A repaired copy in memory."""

    data: bytes
    """The bytes of the copy: same layout, error bytes and extra bytes as the original."""
    done: list[str]
    """One sentence for each thing that was changed; empty: the copy is the original."""
    left: list[str]
    """One sentence for each damage or oddity that the copy still has."""
    before: Audit
    after: Audit


@dataclass
class _Work:
    """The copy while it is being made."""

    facts: Facts
    sectors: bytearray
    free: NDArray[np.bool_]
    """What the map of the copy will say."""
    taken: dict[int, int] = field(default_factory=dict)
    """Blocks that belong to a file of the copy, and that file's slot."""
    done: list[str] = field(default_factory=list)

    @property
    def image(self) -> DiskImage:
        return self.facts.image

    def set_link(self, block: int, link: Place) -> None:
        self.sectors[block * BLOCK_BYTES : block * BLOCK_BYTES + 2] = bytes(link)

    def entry_at(self, slot: int) -> int:
        """Offset of an entry in the sectors."""
        sector, position = divmod(slot, ENTRIES_IN_SECTOR)
        block = self.facts.directory.blocks[sector]
        return block * BLOCK_BYTES + position * ENTRY_BYTES

    def set_type(self, slot: int, type_byte: int) -> None:
        self.sectors[self.entry_at(slot) + 2] = type_byte

    def set_start(self, slot: int, start: Place) -> None:
        at = self.entry_at(slot) + 3
        self.sectors[at : at + 2] = bytes(start)

    def set_length(self, slot: int, blocks: int) -> None:
        at = self.entry_at(slot) + 0x1E
        self.sectors[at : at + 2] = blocks.to_bytes(2, "little")

    def take(self, slot: int, blocks: Iterable[int]) -> None:
        for block in blocks:
            self.taken[block] = slot
            self.free[block] = False


def mend(before: Audit, *, free_strands: bool = False, restore: Sequence[str] = ()) -> Mended:
    """Make a repaired copy of an audited image.

    free_strands: free blocks that the map marks used though nothing explains them; blocks
    that a title's own loader may read are never freed. restore: names of scratched files,
    as typed, to bring back. Raises CannotRestore.
    """
    image = before.image
    facts = gather(image)
    work = _Work(facts, bytearray(image.sectors), facts.block_map.free.copy())
    if before.has_directory:
        _mend_directory(work)
        _mend_files(work, before)
        for name in restore:
            _restore(work, name)
        _mend_map(work, before, free_strands)
    elif restore:
        raise CannotRestore("there is no directory on this image: no file can be restored")
    data = replace(image, sectors=bytes(work.sectors)).to_bytes()
    after = audit(DiskImage.from_bytes(data))
    check_copy(before, after)
    left = [
        f"{_owner_words(after, item.slot)}{item.says}"
        for item in after.findings
        if item.severity is not Severity.NOTE
    ]
    return Mended(data, work.done, left, before, after)


def check_copy(before: Audit, after: Audit) -> None:
    """Hold a copy to its promise. Raises AssertionError: a fault of ours, nothing is written.

    What was whole is the same to the byte; what was broken is nowhere called sound.
    """
    for file in before.files:
        copied = after.by_slot.get(file.entry.slot)
        if file.whole:
            assert copied is not None and copied.whole, file.entry
            assert read_bytes(before.image, file.chain) == read_bytes(after.image, copied.chain)
        elif file.verdict is Verdict.DAMAGED and copied is not None:
            assert copied.verdict is not Verdict.SOUND, file.entry


def _owner_words(judged: Audit, slot: int | None) -> str:
    file = judged.by_slot.get(slot) if slot is not None else None
    return f'"{file.entry.text}": ' if file else ""


def _mend_directory(work: _Work) -> None:
    chain = work.facts.directory.chain
    if chain.ended or not chain.blocks:
        return
    last = chain.blocks[-1]
    work.set_link(last, WHOLE_BLOCK_END)
    work.done.append(f"the directory ends at its last good sector {work.facts.place(last)}")


def _mend_files(work: _Work, before: Audit) -> None:
    own = [file for file in before.files if file.role in (Role.FILE, Role.PARTITION)]
    sound = [file for file in own if file.verdict is not Verdict.DAMAGED]
    for file in sound:
        work.take(file.entry.slot, file.facts.owned_blocks)
    for file in own:
        if file.verdict is not Verdict.DAMAGED:
            if file.role is Role.FILE:
                _close(work, file)
        elif file.facts.side or file.facts.records is not None or not file.chain.blocks:
            work.take(file.entry.slot, file.facts.owned_blocks)  # cannot be cut: left as it is
        else:
            _mend_broken(work, file)


def _close(work: _Work, file: FileAudit) -> None:
    """Correct the length of a whole file, and close it.

    One that is unclosed and owes blocks, or ends with a block used to its end, may be one that
    mend itself has cut: it stays as it is, so that mending twice forges nothing either.
    """
    entry, walked = file.entry, file.walked_blocks
    may_be_cut = entry.blocks > walked or file.chain.last_byte == WHOLE_BLOCK_END.sector
    if not file.whole or (not entry.closed and may_be_cut):
        return
    if entry.blocks != walked:
        work.set_length(entry.slot, walked)
        work.done.append(f'"{entry.text}": length corrected from {entry.blocks} to {walked} blocks')
    if not entry.closed:
        work.set_type(entry.slot, entry.type_byte | CLOSED)
        work.done.append(f'"{entry.text}": closed')


def _mend_broken(work: _Work, file: FileAudit) -> None:
    """Give a broken file a chain of its own that ends; it stays unclosed with its old length."""
    entry, chain = file.entry, file.chain
    blocks = list(chain.blocks)
    meets = next((i for i, block in enumerate(blocks) if block in work.taken), None)
    ended = chain.ended
    if meets is not None:
        copies = _copies(work, len(blocks) - meets)
        if copies is None and meets == 0:
            work.take(entry.slot, [])
            return
        if copies is None:
            blocks, ended = blocks[:meets], False
        else:
            _copy(work, file, meets, copies)
            blocks[meets:] = copies
    if not ended:
        work.set_link(blocks[-1], WHOLE_BLOCK_END)
        work.done.append(
            f'"{entry.text}": ends at its last good block {work.facts.place(blocks[-1])}, '
            f"{len(blocks)} of {entry.blocks} blocks; it stays unclosed"
        )
    if entry.closed:
        work.set_type(entry.slot, entry.type_byte & ~CLOSED)
        if ended:
            work.done.append(f'"{entry.text}": marked unclosed, since its content is in doubt')
    work.take(entry.slot, blocks)


def _copies(work: _Work, count: int) -> list[int] | None:
    """Free blocks for copies, taken; None where there is no room."""
    image = work.image
    allocator = Allocator(image.geometry)
    allocator.free &= work.free & ~image.fails & ~work.facts.owned
    if count > allocator.available_blocks:
        return None
    return allocator.chain(count)


def _copy(work: _Work, file: FileAudit, meets: int, copies: Sequence[int]) -> None:
    """Copy the blocks from position `meets` on, and link the file to the copies."""
    geometry, entry, blocks = work.image.geometry, file.entry, file.chain.blocks
    for position, (block, copy) in enumerate(zip(blocks[meets:], copies, strict=True)):
        content = bytearray(work.image.block(block))
        if position + 1 < len(copies):
            content[:2] = bytes(geometry.place(copies[position + 1]))
        work.sectors[copy * BLOCK_BYTES : (copy + 1) * BLOCK_BYTES] = content
    first = geometry.place(copies[0])
    if meets:
        work.set_link(blocks[meets - 1], first)
    else:
        for slot in (entry.slot, *_aliases(work, entry.slot)):
            work.set_start(slot, first)
    work.done.append(
        f'"{entry.text}": {len(copies)} blocks that it shared are copied, from {first} on'
    )


def _aliases(work: _Work, slot: int) -> list[int]:
    return [file.entry.slot for file in work.facts.files if file.alias_of == slot]


def _restore(work: _Work, name: str) -> None:
    entry = _scratched_named(work.facts, name)
    geometry = work.image.geometry
    chain = follow(
        work.image, geometry.index(*entry.start), entry.blocks, work.facts.directory.barred
    )
    if any(block in work.taken for block in chain.blocks):
        raise CannotRestore(f'"{entry.text}" cannot be restored: its blocks are in use by now')
    work.set_type(entry.slot, PRG | CLOSED)
    work.take(entry.slot, chain.blocks)
    work.done.append(
        f'"{entry.text}": restored as PRG, {entry.blocks} blocks from {entry.start} '
        "(scratching forgets the type)"
    )


def _scratched_named(facts: Facts, name: str) -> Entry:
    wanted = from_text(name)
    whole = [entry for entry in facts.directory.scratched if scratched_is_whole(facts, entry)]
    for entry in whole:
        if entry.name == wanted:
            return entry
    names = ", ".join(f'"{entry.text}"' for entry in whole) or "there are none"
    raise CannotRestore(
        f'no scratched file "{to_text(wanted)}" is still whole here; those that are: {names}'
    )


def _mend_map(work: _Work, before: Audit, free_strands: bool) -> None:
    block_map = work.facts.block_map
    for block in work.facts.directory.owned:
        work.free[block] = False
    marked = int(np.count_nonzero(block_map.free & ~work.free))
    if marked:
        work.done.append(f"{marked} blocks in use are marked used in the map")
    if free_strands:
        _, strands = unowned_blocks(work.facts)
        strands = np.array([block for block in strands if block not in work.taken], dtype=np.intp)
        work.free[strands] = True
        if strands.size:
            work.done.append(f"{strands.size} blocks that no file owns are freed")
    counts_differ = bool((block_map.counts != block_map.counted).any())
    if counts_differ:
        work.done.append("the map's free counts are counted anew")
    if counts_differ or (work.free != block_map.free).any():
        write_map(work.image.geometry, work.sectors, work.free)
