"""A load that hung: which block was on its way."""

from __future__ import annotations

import re
from dataclasses import dataclass

from formats.audit import FileAudit
from formats.chains import Ending
from formats.errors import LoadglassError
from formats.findings import Finding
from formats.geometry import DATA_BYTES, Place
from formats.image import ERROR_MEANINGS, GOOD
from formats.programs import MEMORY_BYTES
from formats.visible import visible
from loadglass.opened import Opened

LOAD_ADDRESS_BYTES = 2
_DECIMAL = re.compile(r"\d{5}")
_HEXADECIMAL = re.compile(r"(?:\$|0[xX])?([0-9A-Fa-f]{1,4})")


class NoSuchMoment(LoadglassError):
    """An address or a number of bytes that the load never came to."""


@dataclass(frozen=True)
class InFlight:
    """The block that was being read or sent when a load stopped."""

    arrived_bytes: int
    """Of the file, its load address included."""
    size_bytes: int
    """Of the file, as far as it can be read."""
    number: int
    """Of the block in the chain, from 1; past the last one if all had arrived."""
    blocks: int
    """Of the chain, as far as it can be read."""
    place: Place | None
    """Of the block; None if all had arrived, or if the chain leads off the disk."""
    before: Place | None
    """The block before it on the chain."""
    after: Place | None
    """The block after it."""
    addresses: tuple[int, int] | None
    """Where its bytes go in memory, first and last; None if that is not known."""
    findings: tuple[Finding, ...]
    """Of the audit: at these places, or of the file."""
    says: tuple[str, ...]
    """Sentences for a person."""


def parse_address(text: str) -> int:
    """An address as a person types it: 1F40, $1F40, or decimal with five digits, 08000.

    Raises NoSuchMoment.
    """
    if _DECIMAL.fullmatch(text):
        return int(text)
    typed = _HEXADECIMAL.fullmatch(text)
    if typed is None:
        raise NoSuchMoment(
            f'"{visible(text)}" is no address: write it like 1F40 or $1F40, or decimal with five '
            "digits like 08000"
        )
    return int(typed[1], 16)


def block_in_flight(
    opened: Opened, slot: int, *, address: int | None = None, bytes_arrived: int | None = None
) -> InFlight:
    """The block on its way, by the last address that was filled or by the bytes that arrived.

    bytes_arrived counts the load address, as a file's size does. Give one of the two. Raises
    NoSuchMoment where the load cannot have come to that.
    """
    file = opened.audit.by_slot[slot]
    if not file.chain.blocks:
        raise NoSuchMoment(f'"{file.entry.text}" has no block that can be read: nothing arrives')
    if (address is None) == (bytes_arrived is None):
        raise ValueError("give the last address, or the number of bytes that arrived")
    arrived = _arrived(file, address) if address is not None else bytes_arrived or 0
    if not 0 <= arrived <= file.size_bytes:
        raise NoSuchMoment(
            f'"{file.entry.text}" has {file.size_bytes:,} bytes that can be read: '
            f"{arrived:,} cannot have arrived"
        )
    return _at(opened, file, arrived)


def _arrived(file: FileAudit, address: int) -> int:
    start = file.load_address
    if start is None:
        raise NoSuchMoment(
            f'"{file.entry.text}" has no load address: give the number of bytes that arrived'
        )
    last = (start + file.size_bytes - LOAD_ADDRESS_BYTES - 1) % MEMORY_BYTES
    arrived = (address - start) % MEMORY_BYTES + 1 + LOAD_ADDRESS_BYTES
    if not 0 <= address < MEMORY_BYTES or arrived > file.size_bytes:
        raise NoSuchMoment(
            f"address {address:04X} is outside {start:04X} to {last:04X}, where "
            f'"{file.entry.text}" loads'
        )
    return arrived


def _at(opened: Opened, file: FileAudit, arrived: int) -> InFlight:
    geometry, chain = opened.image.geometry, file.chain
    places = [geometry.place(block) for block in chain.blocks]
    index, sent = divmod(arrived, DATA_BYTES)
    complete = chain.ended and arrived == file.size_bytes
    if complete:
        index, sent = len(places), 0
    elif (
        index == len(places)
        and chain.stopped_at is not None
        and chain.ending is not Ending.OFF_DISK
    ):
        places.append(geometry.place(chain.stopped_at))
    place, before, after = (
        places[i] if 0 <= i < len(places) else None for i in (index, index - 1, index + 1)
    )
    near = {place, before, after} - {None}
    findings = tuple(
        finding
        for finding in opened.audit.findings
        if finding.slot == file.entry.slot or (finding.place in near and finding.slot is None)
    )
    return InFlight(
        arrived_bytes=arrived,
        size_bytes=file.size_bytes,
        number=index + 1,
        blocks=len(chain.blocks),
        place=place,
        before=before,
        after=after,
        addresses=_addresses(file, index),
        findings=findings,
        says=_says(opened, file, arrived, index, sent, place, findings),
    )


def _addresses(file: FileAudit, index: int) -> tuple[int, int] | None:
    start = file.load_address
    if start is None or index >= len(file.chain.blocks):
        return None
    first = max(index * DATA_BYTES - LOAD_ADDRESS_BYTES, 0)
    last = min((index + 1) * DATA_BYTES, file.size_bytes) - LOAD_ADDRESS_BYTES - 1
    return (start + first) % MEMORY_BYTES, (start + last) % MEMORY_BYTES


def _says(
    opened: Opened,
    file: FileAudit,
    arrived: int,
    index: int,
    sent: int,
    place: Place | None,
    findings: tuple[Finding, ...],
) -> tuple[str, ...]:
    blocks = file.chain.blocks
    if place is None and index >= len(blocks) and file.chain.ended:
        return ("all of the file had arrived: it is the title that hangs, not the load",)
    if place is None:
        where = f"after block {index} of {len(blocks)} the chain leads off the disk"
    else:
        where = f"block {index + 1} of {max(len(blocks), index + 1)}, at {place}, was on its way"
    says = [f"{arrived:,} of {file.size_bytes:,} bytes had arrived: {where}"]
    if place is not None:
        error = opened.image.error_byte(opened.image.geometry.index(*place))
        if error > GOOD:
            says.append(f"its error byte says: {ERROR_MEANINGS.get(error, 'unknown')}")
    says += [finding.says for finding in findings]
    if place is not None and not findings:
        says.append(
            "it had been read and was being sent, so look at the cartridge and the bus first"
            if sent
            else "nothing of it had been sent, so it was being looked for or read: the image is "
            "whole here, look at the drive and at how the cartridge asks for a block"
        )
    return tuple(says)
