"""Rules about chains: where they break, and where they run together."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from formats.chains import Chain, Ending
from formats.files import FileFacts, Role
from formats.findings import Finding, finding
from formats.geometry import Place
from formats.image import ERROR_MEANINGS, DiskImage, status_number
from formats.rules.facts import Facts

CODE_OF_ENDING = {
    Ending.LOOP: "chain-loop",
    Ending.OFF_DISK: "chain-off-disk",
    Ending.IN_DIRECTORY: "chain-in-directory",
    Ending.BAD_BLOCK: "chain-bad-block",
    Ending.BLANK: "chain-blank",
    Ending.MISSING: "image-short",
}


def error_values(image: DiskImage, block: int) -> dict[str, Any]:
    """What a sentence about a block with an error byte needs."""
    code = image.error_byte(block)
    return {"meaning": ERROR_MEANINGS.get(code, "unknown"), "status": status_number(code)}


def break_of(
    facts: Facts, file: FileFacts, chain: Chain, stated: int, walked: int
) -> Finding | None:
    """The finding for a chain that does not end as it should, or None."""
    slot = file.entry.slot
    if chain.ending is Ending.NO_START:
        return finding(
            "entry-no-start", slot, None, stated=file.entry.blocks, link=file.entry.start
        )
    code = CODE_OF_ENDING.get(chain.ending)
    if code is None or chain.stopped_at is None:
        return None
    image, at = facts.image, chain.stopped_at
    values: dict[str, Any] = {"walked": walked, "stated": stated}
    if chain.ending is Ending.OFF_DISK:
        values["link"] = Place(*image.link(at))
    if chain.ending is Ending.BAD_BLOCK:
        values |= error_values(image, at)
    if chain.ending is Ending.MISSING:
        values |= short_values(image, f", block {facts.place(at)} of this file among it")
    return finding(code, slot, facts.place(at), **values)


def short_values(image: DiskImage, hit: str = "") -> dict[str, Any]:
    return {"present": image.present_blocks, "total": image.geometry.blocks, "hit": hit}


def check(facts: Facts) -> Iterator[Finding]:
    broken: set[int] = set()
    for file in facts.own_files:
        stated = file.entry.blocks
        found = break_of(facts, file, file.chain, stated, len(file.chain.blocks))
        if found is None and file.record_chains:
            inner = (break_of(facts, file, c, stated, len(c.blocks)) for c in file.record_chains)
            found = next((f for f in inner if f), None)
        if found:
            broken.add(file.entry.slot)
            yield found
    shared = list(_shared(facts))
    broken |= {item.slot for item in shared if item.slot is not None}
    yield from shared
    for file in facts.own_files:
        if file.entry.slot not in broken:
            yield from _oddities(facts, file)


def has_stated_length(file: FileFacts) -> bool:
    return file.chain.ended and file.walked_blocks == file.entry.blocks


def _shared(facts: Facts) -> Iterator[Finding]:
    """Files that start apart and run together, each with the first block they share."""
    holder: dict[int, list[FileFacts]] = {}
    files = [file for file in facts.files if file.role in (Role.FILE, Role.PARTITION)]
    if sum(len(file.owned_blocks) for file in files) == len(facts.owner) - facts.owner.count(-1):
        return
    blamed: dict[int, Finding] = {}
    for file in files:
        for block in file.owned_blocks:
            for other in holder.setdefault(block, []):
                for culprit, victim in _blame(file, other):
                    blamed.setdefault(
                        culprit.entry.slot,
                        finding(
                            "chain-shared",
                            culprit.entry.slot,
                            facts.place(block),
                            other=f'"{victim.entry.text}"',
                        ),
                    )
            if file not in holder[block]:
                holder[block].append(file)
    yield from (blamed[slot] for slot in sorted(blamed))


def _blame(one: FileFacts, two: FileFacts) -> list[tuple[FileFacts, FileFacts]]:
    """Who is at fault: both, unless exactly one has its stated length: then the other."""
    if one is two:
        return []
    fits_one, fits_two = has_stated_length(one), has_stated_length(two)
    pairs = []
    if not fits_one or fits_two:
        pairs.append((one, two))
    if not fits_two or fits_one:
        pairs.append((two, one))
    return pairs


def _oddities(facts: Facts, file: FileFacts) -> Iterator[Finding]:
    if not file.chain.ended:
        return
    slot, last = file.entry.slot, file.chain.blocks[-1]
    start = facts.place(file.chain.blocks[0])
    if file.walked_blocks != file.entry.blocks:
        yield finding(
            "count-differs", slot, start, stated=file.entry.blocks, walked=file.walked_blocks
        )
    if file.chain.last_byte < 2:
        yield finding("end-byte-odd", slot, facts.place(last), byte=f"{file.chain.last_byte:02X}")
