"""Rules about the directory: its own chain, its entries' roles, types and names."""

from __future__ import annotations

from collections.abc import Iterator

from formats.chains import Ending
from formats.directory import UNKNOWN_KIND, Entry
from formats.files import Role
from formats.findings import Finding, finding
from formats.geometry import Place
from formats.rules.chains import error_values, short_values
from formats.rules.facts import Facts, format_mark

AWKWARD = {
    0x22: "a quote",
    0x2A: "an asterisk",
    0x3F: "a question mark",
    0x2C: "a comma",
    0x3A: "a colon",
}


def check(facts: Facts) -> Iterator[Finding]:
    if not facts.has_directory:
        yield finding("no-directory", place=facts.image.geometry.header, what=_undirected(facts))
        return
    yield from _chain(facts)
    yield from _header(facts)
    yield from _roles(facts)
    yield from _names(facts)


def _undirected(facts: Facts) -> str:
    """What an image without a directory is."""
    if not facts.image.blank.all():
        return "no directory: a store of raw blocks, used by a title's own loader or by nothing"
    if any(facts.image.sectors):
        return "every block is blank: never written"
    return "the whole image is zeros: never written"


def _chain(facts: Facts) -> Iterator[Finding]:
    image, chain = facts.image, facts.directory.chain
    for block in image.geometry.system_blocks:
        if image.fails[block]:
            yield _bad_block(facts, block)
    at = chain.stopped_at
    if at is None:
        return
    place = facts.place(at)
    if chain.ending in (Ending.LOOP, Ending.IN_DIRECTORY):
        yield finding("directory-loop", place=place)
    elif chain.ending is Ending.BLANK:
        yield finding("directory-blank", place=place)
    elif chain.ending is Ending.OFF_DISK:
        yield finding("directory-off-disk", place=place, link=Place(*image.link(at)))
    elif chain.ending is Ending.BAD_BLOCK:
        yield _bad_block(facts, at)
    elif chain.ending is Ending.MISSING:
        hit = f", directory sector {place} among it"
        yield finding("image-short", place=place, **short_values(image, hit))


def _bad_block(facts: Facts, block: int) -> Finding:
    geometry = facts.image.geometry
    what = "directory sector"
    if block in geometry.system_blocks:
        what = "the header" if block == geometry.header_block else "map sector"
    values = error_values(facts.image, block)
    return finding("directory-bad-block", place=facts.place(block), what=what, **values)


def _header(facts: Facts) -> Iterator[Finding]:
    directory, geometry = facts.directory, facts.image.geometry
    troubles = []
    expected = format_mark(facts.image)
    if directory.format_mark != expected:
        troubles.append(f"format mark {directory.format_mark:02X} in place of {expected:02X}")
    if directory.first_link != geometry.directory:
        troubles.append(
            f"a first directory link to {directory.first_link} in place of {geometry.directory}"
        )
    if troubles:
        yield finding("header-odd", place=geometry.header, trouble=" and ".join(troubles))


def _roles(facts: Facts) -> Iterator[Finding]:
    for file in facts.files:
        entry = file.entry
        if file.role is Role.DECORATION:
            yield finding("decoration", entry.slot)
        elif file.role is Role.ALIAS:
            other = facts.by_slot[file.alias_of or 0].entry
            yield finding("alias", entry.slot, entry.start, other=f'"{other.text}"')
        elif file.role is Role.PARTITION:
            if file.chain.blocks:
                yield finding("partition", entry.slot, entry.start, stated=entry.blocks)
        else:
            if entry.kind == UNKNOWN_KIND:
                yield finding(
                    "type-unknown",
                    entry.slot,
                    entry.start,
                    type=entry.type_code,
                    walked=file.walked_blocks,
                )
            if not entry.closed:
                start = entry.start if file.chain.blocks else None
                yield finding("entry-unclosed", entry.slot, start)


def _names(facts: Facts) -> Iterator[Finding]:
    seen: set[bytes] = set()
    for file in facts.own_files:
        entry = file.entry
        if entry.name in seen:
            yield finding("name-twin", entry.slot)
        seen.add(entry.name)
        if characters := _awkward(entry):
            yield finding("name-awkward", entry.slot, characters=characters)


def _awkward(entry: Entry) -> str:
    return ", ".join(word for code, word in AWKWARD.items() if code in entry.name)
