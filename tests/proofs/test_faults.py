"""Whatever goes wrong with a composed disk, the audit names it, and cries wolf nowhere else."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.audit import Audit, audit
from formats.chains import read_bytes
from formats.findings import TABLE, Finding, Severity, Verdict
from formats.geometry import LAYOUTS, Geometry
from formats.image import DiskImage
from tests.examples import examples, few_or_all
from tests.proofs.faults import (
    DISK_WIDE,
    INJECTORS,
    Fault,
    hides,
    make_decoration,
    make_store,
    names,
    tangled,
)
from tests.proofs.strategies import Spoilt, codes_on, spoilt

Record = Callable[[str, object], None]


def audited(data: bytes) -> Audit:
    return audit(DiskImage.from_bytes(data))


def identity(found: Finding) -> tuple[object, ...]:
    return found.code, found.slot, found.place


def test_every_finding_can_be_injected() -> None:
    assert [code for code, injectors in INJECTORS.items() if not injectors] == []


@few_or_all(10, 560)
@pytest.mark.parametrize("code", TABLE)
def test_one_fault_is_named_and_nothing_else(
    code: str, count: int, record_property: Record
) -> None:
    tally: Counter[str] = Counter()
    layouts = [geometry for geometry in LAYOUTS if code in codes_on(geometry)]

    @examples(count)
    @given(st.sampled_from(layouts).flatmap(lambda geometry: spoilt(geometry, [code])))
    def holds(disk: Spoilt) -> None:
        tally[f"1 fault: {code}"] += 1
        before, after = audited(disk.before), audited(disk.after)
        assert before.verdict is not Verdict.DAMAGED
        (fault,) = disk.faults
        named = is_named(at_the_first(fault, before), after)
        assert named, said(disk, after)
        assert alarms(disk, before, after) == [], said(disk, after)
        assert changed_files(disk, before, after) == [], said(disk, after)

    holds()
    record_property("proof tally", dict(tally))


@few_or_all(30, 2000)
@pytest.mark.parametrize("faults", [2, 3])
@pytest.mark.parametrize("geometry", LAYOUTS, ids=lambda geometry: geometry.name)
def test_several_faults_are_each_named_unless_one_hides_the_other(
    geometry: Geometry, faults: int, count: int, record_property: Record
) -> None:
    tally: Counter[str] = Counter()

    @examples(count)
    @given(spoilt(geometry, [None] * faults))
    def holds(disk: Spoilt) -> None:
        before, after = audited(disk.before), audited(disk.after)
        if not after.has_directory and make_store(disk.faults):
            tally[f"{faults} faults: a store of raw blocks"] += faults
            return
        for fault in disk.faults:
            state = state_of(fault, disk.faults)
            tally[f"{faults} faults: {state}"] += 1
            if state == "named":
                named = is_named(fault, after, alone=False)
                assert named, (fault.code, said(disk, after))
        assert alarms(disk, before, after) == [], said(disk, after)
        assert changed_files(disk, before, after) == [], said(disk, after)

    holds()
    record_property("proof tally", dict(tally))


def at_the_first(fault: Fault, before: Audit) -> Fault:
    """What is found once for the whole disk may have an earlier block, there already."""
    if fault.code not in DISK_WIDE or fault.place is None:
        return fault
    places = [found.place for found in before.findings if found.code == fault.code]
    return replace(fault, place=min([fault.place, *(place for place in places if place)]))


def state_of(fault: Fault, faults: list[Fault]) -> str:
    """What becomes of a fault beside the others: named, hidden or tangled."""
    position = faults.index(fault)
    others = [(nth > position, other) for nth, other in enumerate(faults) if nth != position]
    if fault.file in make_decoration(faults):
        return "hidden"
    if any(hides(other, fault, later=later) for later, other in others):
        return "hidden"
    return "tangled" if any(tangled(fault, other) for _, other in others) else "named"


def is_named(fault: Fault, judged: Audit, alone: bool = True) -> bool:
    """Whether the audit has the finding, of the right file and at the right block."""
    if not alone and fault.code in DISK_WIDE:
        names = {"own-loader", "map-strands"} if fault.code == "own-loader" else {fault.code}
        return any(found.code in names for found in judged.findings)
    found = [identity(item) for item in judged.findings]
    if not alone and (TABLE[fault.code].severity is not Severity.DAMAGE or is_first_of(fault)):
        return any(item[:2] == (fault.code, fault.slot) for item in found)
    also = all(any(item[:2] == more for item in found) for more in fault.also)
    return (fault.code, fault.slot, fault.place) in found and (also or not alone)


def is_first_of(fault: Fault) -> bool:
    """Whether the audit names only the first of such faults of a file."""
    return fault.code == "side-sector-broken"


def alarms(disk: Spoilt, before: Audit, after: Audit) -> list[str]:
    """Damage or oddities found where no fault was made."""
    known = {identity(found) for found in before.findings}
    owed = {(fault.code, fault.slot) for fault in disk.faults}
    owed |= {also for fault in disk.faults for also in fault.also}
    touched = touched_slots(disk, before, after)
    false = []
    for found in after.findings:
        if found.severity is Severity.NOTE or identity(found) in known:
            continue
        if (found.code, found.slot) in owed or found.slot in touched:
            continue
        if found.code in DISK_WIDE and found.code in {fault.code for fault in disk.faults}:
            continue
        false.append(f"{found.code} in {found.slot} at {found.place}")
    return false


def touched_slots(disk: Spoilt, before: Audit, after: Audit) -> set[int | None]:
    """Slots of files that a fault was made on, and of their aliases."""
    touched: set[int | None] = {fault.file for fault in disk.faults if fault.file is not None}
    touched |= {slot for fault in disk.faults for slot in fault.touches}
    if len(disk.faults) > 1:  # whoever of two is to blame may change with the next fault
        touched |= {slot for fault in disk.faults for slot in fault.about}
    entries = (*before.files, *after.files)
    return touched | {file.entry.slot for file in entries if file.facts.alias_of in touched}


def changed_files(disk: Spoilt, before: Audit, after: Audit) -> list[int]:
    """Slots of files that no fault touches, and that are not read as before."""
    touched = touched_slots(disk, before, after)
    lost = {slot for fault in disk.faults for slot in fault.lost}
    changed = []
    for file in before.files:
        slot = file.entry.slot
        if slot in touched or slot in lost:
            continue
        now = after.by_slot.get(slot)
        same = now is not None and now.whole == file.whole and now.role == file.role
        if not same or content(before, slot) != content(after, slot):
            changed.append(slot)
    return changed


def content(judged: Audit, slot: int) -> bytes:
    return read_bytes(judged.image, judged.by_slot[slot].chain)


def said(disk: Spoilt, after: Audit) -> str:
    found = "; ".join(f"{f.code} in {f.slot} at {f.place}" for f in after.findings)
    return f"made: {names(disk.faults)} -- found: {found}"
