"""Rules about records: REL side sectors, and the desktops' indexed files."""

from __future__ import annotations

from collections.abc import Iterator

from formats.findings import Finding, finding
from formats.rules.facts import Facts
from formats.side_sectors import disagreement


def check(facts: Facts) -> Iterator[Finding]:
    for file in facts.own_files:
        slot = file.entry.slot
        if file.record_chains is not None:
            count = len(file.record_chains)
            yield finding("record-index", slot, file.entry.start, count=count)
        if file.side is None:
            continue
        troubles = list(file.side.troubles)
        if file.chain.ended and not troubles:
            apart = disagreement(facts.image.geometry, file.side.named, file.chain)
            troubles += [apart] if apart else []
        if troubles:
            trouble, block = troubles[0]
            place = None if block is None else facts.place(block)
            yield finding("side-sector-broken", slot, place, trouble=trouble)
