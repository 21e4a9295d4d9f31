"""A repaired copy of an image, and what was done. The original is never touched.

It never forges soundness: a file whose chain was broken stays marked unclosed with its
old length, error bytes are never cleared, and no block is freed unless asked for. Such a file
also gets the mark of one that is being replaced, so that mending the copy does not close it.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from formats.audit import Audit, FileAudit, audit
from formats.blockmap import write_map
from formats.chains import follow, read_bytes
from formats.compose import CLOSED, Allocator
from formats.directory import ENTRIES_IN_SECTOR, ENTRY_BYTES, PRG, UNKNOWN_KIND, Entry
from formats.errors import LoadglassError
from formats.files import Role, claims_index, info_block_named
from formats.findings import Severity, Verdict
from formats.geometry import BLOCK_BYTES, Place
from formats.image import DiskImage
from formats.petscii import from_text, to_text
from formats.rules.facts import Facts, gather
from formats.rules.map import scratched_is_whole, unowned_blocks

IN_DOUBT = 0x20
"""Bit 5 of a type byte, being replaced: without bit 7, a version that was never finished."""
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

    @cached_property
    def aliases(self) -> dict[int, list[Entry]]:
        """Of each file its aliases."""
        aliases: dict[int, list[Entry]] = defaultdict(list)
        for file in self.facts.files:
            if file.alias_of is not None:
                aliases[file.alias_of].append(file.entry)
        return aliases

    @cached_property
    def copy_room(self) -> NDArray[np.bool_]:
        """Where copies may go, as far as the image tells; shape (blocks,).

        A map that calls blocks in use free is not believed: what was written may be in use then.
        A block that an entry or a broken chain still points at is not taken either: what was
        copied there would pass for the rest of that file.
        """
        facts, image = self.facts, self.image
        room = ~image.fails & ~facts.owned
        room[_pointed_at(facts)] = False
        if (facts.block_map.free & facts.owned).any():
            room &= image.blank
        return room

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

    def doubt(self, slot: int) -> None:
        """Mark a file unclosed for good, and its aliases with it."""
        for entry in (self.facts.by_slot[slot].entry, *self.aliases[slot]):
            self.set_type(entry.slot, entry.type_byte & ~CLOSED | IN_DOUBT)

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
        for name in dict.fromkeys(restore):
            _restore(work, name)
        _mend_files(work, before)
        _mend_map(work, before, free_strands)
    elif restore:
        raise CannotRestore("there is no directory on this image: no file can be restored")
    data, after = _audited(work)
    if too_good := _too_good(before, after):
        for file in too_good:
            work.doubt(file.entry.slot)
            work.done.append(_in_doubt(file.entry))
        data, after = _audited(work)
    check_copy(before, after)
    left = [
        f"{_owner_words(after, item.slot)}{item.says}"
        for item in after.findings
        if item.severity is not Severity.NOTE
    ]
    if before.has_directory and not facts.directory.chain.ended:
        left += _lost_entries(after)
    return Mended(data, work.done, left, before, after)


def _audited(work: _Work) -> tuple[bytes, Audit]:
    data = replace(work.image, sectors=bytes(work.sectors)).to_bytes()
    return data, audit(DiskImage.from_bytes(data))


def _too_good(before: Audit, after: Audit) -> list[FileAudit]:
    """Entries of the copy that read whole, did not before and are not marked in doubt.

    What they shared may be another file's no more, or the chain that they ran into ends now.
    """
    files = [file for file in after.files if file.role is Role.FILE and file.whole]
    return [file for file in files if not _was_whole(before, file) and not _is_in_doubt(file)]


def _was_whole(before: Audit, file: FileAudit) -> bool:
    """True too of a scratched file, which was looked at before it was restored."""
    earlier = before.by_slot.get(file.entry.slot)
    return earlier is None or earlier.whole


def _is_in_doubt(file: FileAudit) -> bool:
    return file.entry.being_replaced and not file.entry.closed


def check_copy(before: Audit, after: Audit) -> None:
    """Hold a copy to its promise. Raises AssertionError: a fault of ours, nothing is written.

    What was whole is the same to the byte; what was broken is nowhere called sound.
    """
    for file in before.files:
        copied = after.by_slot.get(file.entry.slot)
        if file.whole:
            assert copied is not None and copied.whole, file.entry
            assert read_bytes(before.image, file.chain) == read_bytes(after.image, copied.chain)
    assert not _too_good(before, after), [file.entry for file in _too_good(before, after)]


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


def _lost_entries(after: Audit) -> list[str]:
    """What a directory that was cut may have lost, though the copy has no finding of it."""
    own, strands = unowned_blocks(gather(after.image))
    count = own.size + strands.size
    if not count:
        return []
    return [f"the rest of the directory is lost, and {count} used blocks belong to no file now"]


def _mend_files(work: _Work, before: Audit) -> None:
    own = [file for file in before.files if file.role in (Role.FILE, Role.PARTITION)]
    broken = [file for file in own if file.verdict is Verdict.DAMAGED]
    partitions = [file.facts.owned_blocks for file in broken if file.role is Role.PARTITION]
    contested = {block for blocks in partitions for block in blocks}
    holders = Counter(block for file in own for block in file.facts.owned_blocks)
    to_mend = {
        file.entry.slot
        for file in broken
        if _can_be_mended(file, contested) and not _would_claim(work, file, holders)
    }
    for file in own:
        if file.entry.slot not in to_mend:
            work.take(file.entry.slot, file.facts.owned_blocks)
    for file in own:
        if file.entry.slot in to_mend:
            _mend_broken(work, file)
        elif file.role is Role.FILE and file.whole:
            _close(work, file)


def _can_be_mended(file: FileAudit, contested: set[int]) -> bool:
    """Whether a broken file is a chain and no more, and may be given blocks of its own.

    contested: blocks of partitions that others claim. A partition cannot be marked in doubt, so
    it must not be left alone with them. What claims to be an index must not be cut to one block:
    whatever that block names would be its records then, the blocks of whole files too.
    """
    facts = file.facts
    is_chain = not (facts.side or claims_index(file.entry) or file.role is Role.PARTITION)
    return is_chain and bool(file.chain.blocks) and contested.isdisjoint(file.chain.blocks)


def _would_claim(work: _Work, file: FileAudit, holders: Counter[int]) -> bool:
    """Whether a file whose chain ends would hold another's block as the info of a desktop file."""
    info = info_block_named(file.entry, work.image.geometry)
    return info is not None and holders[info] > (info in file.facts.owned_blocks)


def _close(work: _Work, file: FileAudit) -> None:
    """Correct the length of a whole file, and close it.

    One that is unclosed and owes blocks was cut short, and one in doubt may have been cut by
    mend: both stay as they are, so that mending twice forges nothing either. A length that ends
    before a never written block stays too: it is the block that is one too many. And so does
    that of a file of unknown type: nobody knows what it should count, and one of no stated
    length may be all that tells the directory from raw blocks.
    """
    entry, walked = file.entry, file.walked_blocks
    if not entry.closed and (entry.blocks > walked or _is_in_doubt(file)):
        return
    countable = entry.kind != UNKNOWN_KIND and not work.image.blank[file.facts.owned_blocks].any()
    if entry.blocks != walked and countable:
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
    elif entry.closed:
        work.done.append(_in_doubt(entry))
    work.doubt(entry.slot)
    work.take(entry.slot, blocks)


def _in_doubt(entry: Entry) -> str:
    return f'"{entry.text}": marked unclosed, since its content is in doubt'


def _copies(work: _Work, count: int) -> list[int] | None:
    """Free blocks for copies; None where there is no room."""
    allocator = Allocator(work.image.geometry)
    allocator.free &= work.free & work.copy_room
    if count > allocator.available_blocks:
        return None
    return allocator.chain(count)


def _pointed_at(facts: Facts) -> list[int]:
    """The blocks where entries start, those that stopped a chain, and a desktop file's info."""
    geometry = facts.image.geometry
    starts = [file.entry.start for file in facts.files if geometry.exists(*file.entry.start)]
    stops = [file.chain.stopped_at for file in facts.files]
    infos = [info_block_named(file.entry, geometry) for file in facts.files]
    return [geometry.index(*start) for start in starts] + [
        block for block in (*stops, *infos) if block is not None
    ]


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
        for slot in _slots_that_start_with(work, entry):
            work.set_start(slot, first)
    work.done.append(
        f'"{entry.text}": {len(copies)} blocks that it shared are copied, from {first} on'
    )


def _slots_that_start_with(work: _Work, entry: Entry) -> list[int]:
    """The file's own, and those of its aliases and of lines that point at it."""
    follow_it = (Role.ALIAS, Role.DECORATION)
    return [
        file.entry.slot
        for file in work.facts.files
        if file.entry.slot == entry.slot
        or (file.entry.start == entry.start and file.role in follow_it)
    ]


def _restore(work: _Work, name: str) -> None:
    entry = _scratched_named(work.facts, name)
    geometry = work.image.geometry
    chain = follow(
        work.image, geometry.index(*entry.start), entry.blocks, work.facts.directory.barred
    )
    if any(block in work.taken for block in chain.blocks):
        raise CannotRestore(f'"{entry.text}" cannot be restored: another one has taken its blocks')
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
