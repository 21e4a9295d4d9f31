"""Mending spoilt disks: it helps, it takes nothing away, and it never forges soundness."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection

import pytest
from hypothesis import given

from formats.audit import Audit, audit
from formats.chains import read_bytes
from formats.files import Role
from formats.findings import Severity, Verdict
from formats.geometry import LAYOUTS, Geometry
from formats.image import DiskImage
from formats.mend import CannotRestore, Mended, mend
from tests.examples import examples
from tests.proofs.strategies import Spoilt, few_or_all, spoilt

CANNOT_BE_CUT = {
    "chain-bad-block",  # where its first block is the bad one, or it is a REL or indexed file
    "chain-blank",
    "chain-in-directory",
    "chain-loop",
    "chain-off-disk",
    "chain-shared",
    "directory-bad-block",
    "directory-blank",
    "entry-no-start",
    "image-short",
    "side-sector-broken",
}
"""Damage that a copy may still have, with the conditions of may_be_left."""

Record = Callable[[str, object], None]


def mended(data: bytes, **wishes: object) -> Mended:
    return mend(audit(DiskImage.from_bytes(data)), **wishes)  # type: ignore[arg-type]


def may_be_left(code: str, slot: int | None, before: Audit) -> bool:
    """Whether there is a reason why mend cannot help."""
    if code in ("entry-no-start", "image-short", "side-sector-broken", "directory-bad-block"):
        return True
    if slot is None:
        return code == "directory-blank" and not before.directory.blocks
    file = before.by_slot[slot]
    has_lists = file.facts.side is not None or file.facts.records is not None
    return code in CANNOT_BE_CUT and (has_lists or not file.chain.blocks)


@few_or_all(50, 4000)
@pytest.mark.parametrize("faults", [1, 2, 3])
@pytest.mark.parametrize("geometry", LAYOUTS, ids=lambda geometry: geometry.name)
def test_a_copy_is_better_and_never_too_good(
    geometry: Geometry, faults: int, count: int, record_property: Record
) -> None:
    tally: Counter[str] = Counter()

    @examples(count)
    @given(spoilt(geometry, [None] * faults))
    def holds(disk: Spoilt) -> None:
        result = mended(disk.after)
        before, after = result.before, audit(DiskImage.from_bytes(result.data))
        tally[f"{faults} faults: {before.verdict} to {after.verdict}"] += 1
        damage = [item for item in after.findings if item.severity is Severity.DAMAGE]
        if faults == 1:
            for item in damage:
                assert may_be_left(item.code, item.slot, before), (item, disk.faults)
        assert len(result.left) >= len(damage)
        promises_hold(before, after)
        frees_nothing(before, after)
        assert (len(result.data), result.data[-1:]) == (len(disk.after), disk.after[-1:])
        assert after.image.error_bytes == before.image.error_bytes
        twice = mended(result.data)
        promises_hold(after, twice.after)
        never_sound(before, twice.after, but=shared_slots(before))

    holds()
    record_property("proof tally", dict(tally))


def promises_hold(before: Audit, after: Audit) -> None:
    """What was whole is the same to the byte, and what was broken is nowhere called sound."""
    for file in before.files:
        copied = after.by_slot.get(file.entry.slot)
        if file.whole:
            assert copied is not None and copied.whole
            assert read_bytes(before.image, file.chain) == read_bytes(after.image, copied.chain)
    never_sound(before, after)


def shared_slots(judged: Audit) -> set[int | None]:
    """Files with blocks of another: once copied, nothing tells them from whole unclosed ones."""
    return {item.slot for item in judged.findings if item.code == "chain-shared"}


def never_sound(before: Audit, after: Audit, but: Collection[int | None] = ()) -> None:
    for file in before.files:
        copied = after.by_slot.get(file.entry.slot)
        if file.entry.slot in but or file.facts.alias_of in but:
            continue
        if file.verdict is Verdict.DAMAGED and copied is not None:
            assert copied.verdict is not Verdict.SOUND, file.entry


def frees_nothing(before: Audit, after: Audit) -> None:
    newly_free = after.block_map.free & ~before.block_map.free
    assert not newly_free.any()


@few_or_all(60, 2000)
@pytest.mark.parametrize("code", ["map-strands", "own-loader", "deleted-remains"])
def test_only_strands_are_freed(code: str, count: int) -> None:
    @examples(count)
    @given(spoilt(LAYOUTS[0], [code]))
    def holds(disk: Spoilt) -> None:
        result = mended(disk.after, free_strands=True)
        freed = result.after.block_map.free & ~result.before.block_map.free
        codes = {item.code for item in result.after.findings}
        assert "map-strands" not in codes
        if any(item.code == "own-loader" for item in result.before.findings):
            assert "own-loader" in codes
        owned = [b for f in result.before.files for b in f.facts.owned_blocks]
        if result.before.has_directory and owned:
            assert not freed[owned].any()
        promises_hold(result.before, result.after)

    holds()


@few_or_all(60, 2000)
def test_a_scratched_file_comes_back_to_the_byte(count: int) -> None:
    @examples(count)
    @given(spoilt(LAYOUTS[0], ["deleted-remains"]))
    def holds(disk: Spoilt) -> None:
        found = audit(DiskImage.from_bytes(disk.after))
        (slot,) = {fault.slot for fault in disk.faults}
        assert slot is not None
        was = audit(DiskImage.from_bytes(disk.before)).by_slot[slot]
        try:
            result = mend(found, restore=[was.entry.text])
        except CannotRestore:  # a namesake stands before it, or its name cannot be typed
            return
        restored = result.after.by_slot.get(slot)
        if restored is not None and restored.role is Role.FILE:
            assert read_bytes(result.after.image, restored.chain) == read_bytes(
                found.image, was.chain
            )
        promises_hold(result.before, result.after)

    holds()
