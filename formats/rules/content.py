"""Rules about what files hold and where they lie, and about the image as a whole."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from formats.directory import PRG
from formats.files import FileFacts
from formats.findings import Finding, Severity, finding
from formats.geometry import TRACKS_40, TRACKS_42
from formats.image import GOOD
from formats.programs import load_address
from formats.rules.chains import short_values
from formats.rules.facts import Facts

STOCK_TRACKS = 35
STRETCHED = (TRACKS_40, TRACKS_42)
"""Layouts with tracks that the stock drive refuses."""
MEMORY_END = 0x10000

TIGHT = (
    (0x0000, 0x0400, "below 0400, over the machine's own work space"),
    (0x8000, 0xA000, "into 8000–9FFF, the cartridge's window"),
    (0xA000, 0xC000, "under ROM at A000–BFFF"),
    (0xD000, 0xE000, "under I/O at D000–DFFF"),
    (0xE000, 0x10000, "under ROM at E000–FFFF"),
)
"""Stretches of memory where a load is in the way of something: start, end past it, words."""


def check(facts: Facts) -> Iterator[Finding]:
    image, geometry = facts.image, facts.image.geometry
    if image.present_blocks < geometry.blocks:
        yield finding("image-short", **short_values(image))
    if image.extra:
        alike = len(set(image.extra)) == 1
        yield finding(
            "image-long",
            count=len(image.extra),
            layout=geometry.name,
            severity=Severity.NOTE if alike else Severity.ODDITY,
        )
    for file in facts.own_files:
        yield from _past_35(facts, file)
        yield from _memory(facts, file)
    yield from _outside(facts)


def _past_35(facts: Facts, file: FileFacts) -> Iterator[Finding]:
    geometry = facts.image.geometry
    if geometry not in STRETCHED:
        return
    limit = geometry.first_block[STOCK_TRACKS]
    past = [block for block in file.owned_blocks if block >= limit]
    if past:
        yield finding("past-35", file.entry.slot, facts.place(past[0]), walked=len(past))


def _memory(facts: Facts, file: FileFacts) -> Iterator[Finding]:
    if file.entry.type_code != PRG or not file.chain.ended or file.chain.size_bytes <= 2:
        return
    first = facts.image.block(file.chain.blocks[0])
    load = load_address(first[2:4])
    assert load is not None
    end = load + file.chain.size_bytes - 2
    slot, start = file.entry.slot, file.entry.start
    if end > MEMORY_END:
        yield finding("program-wraps", slot, start, load=f"{load:04X}")
    reasons = [words for low, high, words in TIGHT if load < high and end > low]
    if reasons:
        yield finding(
            "address-tight",
            slot,
            start,
            load=f"{load:04X}",
            end=f"{(end - 1) % MEMORY_END:04X}",
            why=" and ".join(reasons),
        )


def _outside(facts: Facts) -> Iterator[Finding]:
    """Error bytes, and written blocks past track 35, outside every file."""
    image, geometry = facts.image, facts.image.geometry
    if image.error_bytes is not None and image.error_bytes.strip(b"\0\1"):
        codes = np.frombuffer(image.error_bytes, dtype=np.uint8)
        outside = ~facts.owned
        outside[_unread_info_blocks(facts)] = True
        outside[_blocks_at_fault(facts)] = False
        marked = np.flatnonzero((codes > GOOD) & outside)
        if marked.size:
            yield finding(
                "error-bytes",
                place=facts.place(int(marked[0])),
                count=marked.size,
                tracks=_whole_tracks(facts, marked),
            )
    if geometry in STRETCHED:
        written = ~image.blank & ~facts.owned
        written[: geometry.first_block[STOCK_TRACKS]] = False
        extra = np.flatnonzero(written)
        if extra.size:
            yield finding("tracks-extra", place=facts.place(int(extra[0])), count=extra.size)


def _unread_info_blocks(facts: Facts) -> list[int]:
    """Info blocks of files that load without them."""
    plain = (file for file in facts.own_files if file.records is None)
    return [file.info_block for file in plain if file.info_block is not None]


def _blocks_at_fault(facts: Facts) -> list[int]:
    """Blocks that stopped a chain or a list of side sectors: these have findings of their own."""
    stops = [facts.directory.chain.stopped_at]
    for file in facts.own_files:
        stops.append(file.chain.stopped_at)
        stops += [record.chain.stopped_at for record in file.records or ()]
        if file.side and file.side.trouble:
            stops.append(file.side.trouble[1])
    return [block for block in stops if block is not None]


def _whole_tracks(facts: Facts, marked: np.ndarray) -> str:
    geometry = facts.image.geometry
    counts = np.bincount(geometry.track_of[marked], minlength=geometry.tracks + 1)[1:]
    whole = [str(t + 1) for t in np.flatnonzero(counts == geometry.sectors)]
    if not whole:
        return ""
    tracks = "track" if len(whole) == 1 else "tracks"
    return f"; the whole of {tracks} {', '.join(whole)}: probably copy protection"
