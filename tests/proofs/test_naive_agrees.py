"""A second checker, which shares nothing with formats/, agrees on which files can be read whole."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.audit import Audit, FileAudit, audit
from formats.chains import read_bytes
from formats.files import Role
from formats.geometry import LAYOUTS, Geometry
from formats.image import DiskImage
from tests.examples import examples, few_or_all
from tests.formats.tangles import tangled
from tests.naive.checker import Verdict, check
from tests.proofs.strategies import Edited, Spoilt, edited, spoilt

Record = Callable[[str, object], None]
by_layout = pytest.mark.parametrize("geometry", LAYOUTS, ids=lambda geometry: geometry.name)


def disagreements(data: bytes, tally: Counter[str]) -> list[str]:
    """Slots on which the two differ, and what each says."""
    ours, naive = audit(DiskImage.from_bytes(data)), check(data)
    if not ours.has_directory or naive.no_directory:
        tally["stores of raw blocks"] += 1
        return [] if naive.no_directory and not ours.has_directory else ["whether a directory"]
    theirs = {entry.slot: entry for entry in naive.entries}
    if list(theirs) != list(ours.by_slot):
        return [f"entries: {list(ours.by_slot)}, naive {list(theirs)}"]
    found = []
    for slot, file in ours.by_slot.items():
        entry = theirs[slot]
        if beyond_naive(ours, file, naive):
            tally["files of desktops, not compared"] += 1
            continue
        tally["files whole" if file.whole else "entries not whole"] += 1
        if whole(file) != entry.whole:
            found.append(f"slot {slot}: {file.role} {file.verdict}, naive {entry}")
        elif file.whole and read_bytes(ours.image, file.chain) != entry.data:
            found.append(f"slot {slot}: other bytes")
    return found


def whole(file: FileAudit) -> bool | None:
    """None: no file, so that nobody can say."""
    return file.whole if file.role in (Role.FILE, Role.ALIAS) else None


def beyond_naive(ours: Audit, file: FileAudit, naive: Verdict) -> bool:
    """The naive checker knows neither record chains nor info blocks.

    So it cannot judge a desktop's file, nor whom of two to blame where one shares blocks with it.
    """
    desktop = {f.entry.slot for f in ours.files if f.facts.info_block is not None}
    desktop |= {f.entry.slot for f in ours.files if f.facts.records is not None}
    if not desktop:
        return False
    if file.entry.slot in desktop:
        return True
    shared = any(found.code == "chain-shared" for found in ours.findings)
    return shared or any("chain-shared" in entry.reasons for entry in naive.entries)


@few_or_all(40, 1000)
@by_layout
def test_on_disks_with_up_to_three_faults(
    geometry: Geometry, count: int, record_property: Record
) -> None:
    tally: Counter[str] = Counter()
    disks = st.integers(0, 3).flatmap(lambda faults: spoilt(geometry, [None] * faults))

    @examples(count)
    @given(disks)
    def holds(disk: Spoilt) -> None:
        tally["images"] += 1
        assert disagreements(disk.after, tally) == [], disk.faults

    holds()
    record_property("proof tally", {f"naive, faulted: {k}": v for k, v in tally.items()})


@few_or_all(40, 2000)
@by_layout
def test_on_disks_edited_at_random(geometry: Geometry, count: int, record_property: Record) -> None:
    tally: Counter[str] = Counter()

    @examples(count)
    @given(edited(geometry))
    def holds(disk: Edited) -> None:
        tally["images"] += 1
        assert disagreements(disk.data, tally) == []

    holds()
    record_property("proof tally", {f"naive, edited: {k}": v for k, v in tally.items()})


@few_or_all(12, 400)
@by_layout
def test_on_arbitrary_sectors_whose_links_tangle(
    geometry: Geometry, count: int, record_property: Record
) -> None:
    tally: Counter[str] = Counter()

    @examples(count)
    @given(st.integers(0, 2**32))
    def holds(seed: int) -> None:
        tally["images"] += 1
        assert disagreements(tangled(geometry, seed), tally) == []

    holds()
    record_property("proof tally", {f"naive, tangled: {k}": v for k, v in tally.items()})
