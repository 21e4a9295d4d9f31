"""Mending spoilt disks: it helps, it takes nothing away, and it never forges soundness."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.audit import Audit, FileAudit, audit
from formats.chains import read_bytes
from formats.files import Role, claims_index
from formats.findings import Severity, Verdict
from formats.geometry import LAYOUTS, TRACKS_35, Geometry
from formats.image import DiskImage
from formats.mend import Mended, mend
from formats.rules.facts import gather
from formats.rules.map import unowned_blocks
from tests.examples import examples, few_or_all
from tests.formats.tangles import tangled
from tests.proofs.strategies import Edited, Spoilt, edited, spoilt

Record = Callable[[str, object], None]
by_layout = pytest.mark.parametrize("geometry", LAYOUTS, ids=lambda geometry: geometry.name)

KEPT: dict[str, set[str]] = {"map-strands": set(), "own-loader": {"own-loader"}}
"""What is still found after strands have been freed."""
NEVER_MENDED = {"entry-no-start", "image-short", "side-sector-broken"}
"""What is not on the image cannot be put there."""


def mended(data: bytes) -> Mended:
    """Mend, and hold the result to all that every copy promises."""
    before = audit(DiskImage.from_bytes(data))
    result = mend(before)
    assert before.image.to_bytes() == data
    assert len(result.data) == len(data)
    after = audit(DiskImage.from_bytes(result.data))
    assert after.image.error_bytes == before.image.error_bytes
    assert after.image.extra == before.image.extra
    assert not (after.block_map.free & ~before.block_map.free).any()
    whole_files_are_the_same(before, after)
    never_sound(before, after)
    grave = [item for item in after.findings if item.severity is not Severity.NOTE]
    assert [any(item.says in left for left in result.left) for item in grave] == [True] * len(grave)
    return result


def whole_files_are_the_same(before: Audit, after: Audit) -> None:
    for file in before.files:
        if file.whole:
            copied = after.by_slot[file.entry.slot]
            assert copied.whole
            assert read_bytes(before.image, file.chain) == read_bytes(after.image, copied.chain)


def never_sound(before: Audit, after: Audit) -> None:
    """What was broken still shows: it is damaged, or unclosed and in doubt."""
    for file in before.files:
        copied = after.by_slot.get(file.entry.slot)
        if file.verdict is not Verdict.DAMAGED or copied is None:
            continue
        assert copied.verdict is not Verdict.SOUND, file.entry
        if copied.whole:
            assert not copied.entry.closed and copied.entry.being_replaced


def why_left(code: str, slot: int | None, before: Audit) -> bool:
    """Whether there is a reason why mend cannot help."""
    if code in NEVER_MENDED:
        return True
    if slot is None:  # the header, a map sector or the first sector of the directory
        return code == "directory-bad-block"
    file = before.by_slot[slot]
    # All that is shared from the start on must be copied whole, or the entry would start nowhere.
    no_room = code == "chain-shared" and len(file.chain.blocks) > before.block_map.blocks_free
    return is_more_than_a_chain(file) or not file.chain.blocks or no_room


def is_more_than_a_chain(file: FileAudit) -> bool:
    return file.facts.side is not None or claims_index(file.entry)


@few_or_all(20, 700)
@pytest.mark.parametrize("faults", [1, 2, 3])
@by_layout
def test_a_copy_is_better_and_never_too_good(
    geometry: Geometry, faults: int, count: int, record_property: Record
) -> None:
    tally: Counter[str] = Counter()

    @examples(count)
    @given(spoilt(geometry, [None] * faults))
    def holds(disk: Spoilt) -> None:
        once = mended(disk.after)
        tally[f"mend, {faults} faults: {once.before.verdict} to {once.after.verdict}"] += 1
        damage = [item for item in once.after.findings if item.severity is Severity.DAMAGE]
        if faults == 1:
            for item in damage:
                assert why_left(item.code, item.slot, once.before), (item, disk.faults)
        twice = mended(once.data)
        never_sound(once.before, twice.after)

    holds()
    record_property("proof tally", dict(tally))


@few_or_all(30, 1000)
@by_layout
def test_promises_hold_on_disks_edited_at_random(
    geometry: Geometry, count: int, record_property: Record
) -> None:
    tally: Counter[str] = Counter()

    @examples(count)
    @given(edited(geometry))
    def holds(disk: Edited) -> None:
        once = mended(disk.data)
        tally[f"mend, edited: {once.before.verdict} to {once.after.verdict}"] += 1
        never_sound(once.before, mended(once.data).after)

    holds()
    record_property("proof tally", dict(tally))


@few_or_all(10, 200)
@by_layout
def test_promises_hold_on_arbitrary_sectors(geometry: Geometry, count: int) -> None:
    @examples(count)
    @given(st.integers(0, 2**32))
    def holds(seed: int) -> None:
        once = mended(tangled(geometry, seed))
        never_sound(once.before, mended(once.data).after)

    holds()


@few_or_all(30, 500)
@pytest.mark.parametrize("code", ["map-strands", "own-loader", "chain-loop", "directory-loop"])
def test_only_strands_are_freed(code: str, count: int) -> None:
    @examples(count)
    @given(st.sampled_from(LAYOUTS).flatmap(lambda geometry: spoilt(geometry, [code])))
    def holds(disk: Spoilt) -> None:
        before = audit(DiskImage.from_bytes(disk.after))
        after = mend(before, free_strands=True).after
        freed = np.flatnonzero(after.block_map.free & ~before.block_map.free)
        _, strands = unowned_blocks(gather(before.image))
        assert set(freed) == set(strands)
        whole_files_are_the_same(before, after)
        if code in KEPT:
            assert {item.code for item in after.findings} & {code} == KEPT[code]

    holds()


@few_or_all(40, 700)
@pytest.mark.parametrize("other", [None, "chain-loop", "chain-shared"])
def test_a_scratched_file_comes_back_to_the_byte(other: str | None, count: int) -> None:
    """Though a broken file is mended at the same time, and takes free blocks for its copies."""
    codes = ["deleted-remains"] if other is None else ["deleted-remains", other]

    @examples(count)
    @given(st.sampled_from(LAYOUTS).flatmap(lambda geometry: spoilt(geometry, codes)))
    def holds(disk: Spoilt) -> None:
        slot = disk.faults[0].slot
        assert slot is not None
        was = audit(DiskImage.from_bytes(disk.before))
        file = was.by_slot[slot]
        result = mend(audit(DiskImage.from_bytes(disk.after)), restore=[file.entry.text])
        restored = result.after.by_slot[slot]
        assert (restored.role, restored.whole) == (Role.FILE, True)
        assert restored.entry.blocks == file.entry.blocks
        content = read_bytes(result.after.image, restored.chain)
        assert content == read_bytes(was.image, file.chain)
        whole_files_are_the_same(result.before, result.after)
        never_sound(result.before, result.after)

    holds()


@few_or_all(60, 2000)
def test_shared_blocks_of_three_files_in_any_order(count: int) -> None:
    @examples(count)
    @given(spoilt(TRACKS_35, ["chain-shared", "chain-shared", "chain-shared"]))
    def holds(disk: Spoilt) -> None:
        once = mended(disk.after)
        shared = [item for item in once.after.findings if item.code == "chain-shared"]
        uncut = any(is_more_than_a_chain(file) for file in once.before.files)
        assert not shared or uncut or once.before.block_map.blocks_free < 100, shared
        never_sound(once.before, mended(once.data).after)

    holds()
