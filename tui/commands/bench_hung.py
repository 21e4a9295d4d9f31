"""A load that hung: which block was on its way, and what the audit says of it.

Say how far it came: the last address that was filled, or the bytes that arrived. An address is
hexadecimal, as in 1F40 or $1F40, or decimal with five digits, as in 08000. The machine shows it
after a reset without loss of memory: PRINT PEEK(174)+256*PEEK(175)-1 (stock routines, from
memory of a memory map of the 1980s).
"""

from __future__ import annotations

import argparse

from formats.findings import Severity
from formats.geometry import Place
from formats.visible import visible
from loadglass.bench.diagnose import CAUTION
from loadglass.bench.in_flight import InFlight, NoSuchMoment, block_in_flight, parse_address
from loadglass.opened import Opened, open_and_audit
from tui import json_out
from tui.calls import BAD, FINE, WrongCall, json_option
from tui.commands.clock import chosen_files
from tui.tables import say
from tui.wording import NOTHING


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("image", metavar="IMAGE", help="an image, or archive.zip/member")
    parser.add_argument("name", metavar="NAME", help="the file that was loaded")
    where = parser.add_mutually_exclusive_group(required=True)
    where.add_argument("--address", metavar="A", help="the last address that was filled")
    where.add_argument(
        "--bytes", metavar="N", type=int, help="bytes that arrived, the load address included"
    )
    json_option(parser)


def run(args: argparse.Namespace) -> int:
    try:
        address = None if args.address is None else parse_address(args.address)
    except NoSuchMoment as error:
        raise WrongCall(str(error)) from error
    opened = open_and_audit(args.image)
    (file,) = chosen_files(opened, [args.name])
    slot = file.entry.slot
    try:
        found = block_in_flight(opened, slot, address=address, bytes_arrived=args.bytes)
    except NoSuchMoment as error:
        raise WrongCall(str(error)) from error
    if args.json:
        json_out.emit(_record(opened, slot, found))
    else:
        _print(opened, slot, found)
    return BAD if any(item.severity is Severity.DAMAGE for item in found.findings) else FINE


def _record(opened: Opened, slot: int, found: InFlight) -> dict[str, object]:
    return {
        "path": opened.path,
        "slot": slot,
        "file": opened.audit.by_slot[slot].entry.text,
        "arrived": found.arrived_bytes,
        "bytes": found.size_bytes,
        "block": found.number,
        "blocks": found.blocks,
        "place": _place(found.place),
        "before": _place(found.before),
        "after": _place(found.after),
        "addresses": list(found.addresses) if found.addresses else None,
        "findings": [json_out.finding(item, opened.audit) for item in found.findings],
        "says": list(found.says),
    }


def _place(place: Place | None) -> dict[str, int] | None:
    return {"track": place.track, "sector": place.sector} if place else None


def _print(opened: Opened, slot: int, found: InFlight) -> None:
    say(f'"{opened.audit.by_slot[slot].entry.text}" on {visible(opened.path)}')
    for sentence in found.says:
        say(sentence)
    places = [found.before, found.place, found.after]
    before, here, after = (str(place) if place else NOTHING for place in places)
    say(f"on the chain: before it {before}, it {here}, after it {after}")
    if found.addresses:
        first, last = found.addresses
        say(f"its bytes go to {first:04X}–{last:04X}")
    say(CAUTION)
