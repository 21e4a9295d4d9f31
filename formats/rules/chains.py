"""Rules about chains: where they break, and where they run together."""

from __future__ import annotations

from collections import defaultdict
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
    Ending.SHARED: "chain-shared",
}


def error_values(image: DiskImage, block: int) -> dict[str, Any]:
    """What a sentence about a block with an error byte needs."""
    code = image.error_byte(block)
    return {"meaning": ERROR_MEANINGS.get(code, "unknown"), "status": status_number(code)}


def _break_of(facts: Facts, file: FileFacts, chain: Chain, walked: int) -> Finding | None:
    """The finding for a chain that does not end as it should, or None."""
    slot, stated = file.entry.slot, file.entry.blocks
    if chain.ending is Ending.NO_START:
        return finding("entry-no-start", slot, None, stated=stated, link=file.entry.start)
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
    if chain.ending is Ending.SHARED:
        values["other"] = "another of its records"
    return finding(code, slot, facts.place(at), **values)


def _first_break(facts: Facts, file: FileFacts) -> Finding | None:
    """The finding for the first chain of a file that does not end as it should, or None."""
    found = _break_of(facts, file, file.chain, len(file.chain.blocks))
    for record in file.records or ():
        if found:
            break
        if record.chain.ending is Ending.NO_START:
            found = finding(
                "chain-off-disk",
                file.entry.slot,
                file.entry.start,
                link=record.start,
                walked=file.walked_blocks,
                stated=file.entry.blocks,
            )
        else:
            found = _break_of(facts, file, record.chain, file.walked_blocks)
    return found or _info_break(facts, file)


def _info_break(facts: Facts, file: FileFacts) -> Finding | None:
    """Of an indexed file: the desktop, which alone can load it, needs its info block."""
    info = file.info_block
    if file.records is None or info is None or not facts.image.fails[info]:
        return None
    missing = info >= facts.image.present_blocks
    chain = Chain([], Ending.MISSING if missing else Ending.BAD_BLOCK, stopped_at=info)
    return _break_of(facts, file, chain, file.walked_blocks)


def short_values(image: DiskImage, hit: str = "") -> dict[str, Any]:
    return {"present": image.present_blocks, "total": image.geometry.blocks, "hit": hit}


def check(facts: Facts) -> Iterator[Finding]:
    files = [file for file in facts.files if file.role in (Role.FILE, Role.PARTITION)]
    breaks = [found for file in files if (found := _first_break(facts, file))]
    damage = [*breaks, *_shared(facts, files)]
    yield from damage
    damaged = {found.slot for found in damage}
    for file in files:
        if file.reads_whole and file.entry.slot not in damaged:
            yield from _oddities(facts, file)


def _shared(facts: Facts, files: list[FileFacts]) -> Iterator[Finding]:
    """Files that start apart and run together, each with its first block that another has.

    Both are at fault, unless exactly one has its stated length: then the other. So a file that
    fits is blamed for what it shares with one that fits, any other for whatever it shares.
    """
    if sum(len(file.owned_blocks) for file in files) == len(facts.owner) - facts.owner.count(-1):
        return
    everyone: dict[int, list[FileFacts]] = defaultdict(list)
    fitting: dict[int, list[FileFacts]] = defaultdict(list)
    for file in files:
        for holders in (everyone, fitting) if file.fits else (everyone,):
            for block in file.owned_blocks:
                if len(holders[block]) < 2 and file not in holders[block]:
                    holders[block].append(file)
    for file in files:
        holders = fitting if file.fits else everyone
        for block in file.owned_blocks:
            other = next((holder for holder in holders[block] if holder is not file), None)
            if other:
                yield finding(
                    "chain-shared",
                    file.entry.slot,
                    facts.place(block),
                    other=f'"{other.entry.text}"',
                )
                break


def _oddities(facts: Facts, file: FileFacts) -> Iterator[Finding]:
    slot, last = file.entry.slot, file.chain.blocks[-1]
    start = facts.place(file.chain.blocks[0])
    if file.walked_blocks != file.entry.blocks:
        yield finding(
            "count-differs", slot, start, stated=file.entry.blocks, walked=file.walked_blocks
        )
    if file.chain.last_byte < 2:
        yield finding("end-byte-odd", slot, facts.place(last), byte=f"{file.chain.last_byte:02X}")
