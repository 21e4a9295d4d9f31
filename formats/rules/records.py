"""Rules about records: REL side sectors, and the desktops' indexed files."""

from __future__ import annotations

from collections.abc import Iterator

from formats.findings import Finding, finding
from formats.rules.facts import Facts


def check(facts: Facts) -> Iterator[Finding]:
    for file in facts.own_files:
        slot = file.entry.slot
        if file.records is not None:
            yield finding("record-index", slot, file.entry.start, count=len(file.records))
        if file.side and file.side.trouble:
            trouble, block = file.side.trouble
            place = None if block is None else facts.place(block)
            yield finding("side-sector-broken", slot, place, trouble=trouble)
