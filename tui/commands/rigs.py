"""The rigs, and where each figure comes from.

`loadglass rigs new NAME --from RIG` writes a commented file for a rig of your own, based on
another; change in it what differs. `loadglass rigs remove NAME` takes a rig of your own away: its
file is set aside, not deleted.
"""

from __future__ import annotations

import argparse

from formats.visible import visible
from loadglass.home import home, make_folder
from loadglass.own_rigs import set_rig_aside
from loadglass.saving import write_whole
from loadglass.timing.rig import Figure, Rig, is_rig_name
from loadglass.timing.rig_files import BUILT_IN, starting_file
from tui import json_out
from tui.calls import FINE, WrongCall, json_option
from tui.rig_calls import known_rigs, named_rig, set_aside_text
from tui.tables import Column, print_table, say

NEW, REMOVE = "new", "remove"
DEFAULT_BASE = "fast-card"


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "names", metavar="RIG", nargs="*", help="only these rigs; or: new NAME, remove NAME"
    )
    parser.add_argument(
        "--from", dest="base", metavar="RIG", help="with new: the rig to start from"
    )
    json_option(parser)


def run(args: argparse.Namespace) -> int:
    if args.names[:1] == [NEW]:
        return _write_new(args)
    if args.base:
        raise WrongCall("--from goes with `rigs new NAME`")
    if args.names[:1] == [REMOVE]:
        return _remove(args.names[1:])
    known = known_rigs()
    rigs = [named_rig(known, name) for name in args.names] or list(known.rigs.values())
    for rig in rigs:
        if args.json:
            json_out.emit(_record(rig))
        else:
            _print(rig)
    return FINE


def _write_new(args: argparse.Namespace) -> int:
    known = known_rigs()
    if len(args.names) != 2:
        raise WrongCall("name one new rig: `loadglass rigs new my-cartridge --from fast-card`")
    name = args.names[1]
    if not is_rig_name(name) or name in known.rigs:
        raise WrongCall(
            f'"{visible(name)}" cannot be the name of a new rig: take small letters, digits and '
            f"hyphens, and none of {', '.join(known.rigs)}"
        )
    base = named_rig(known, args.base or DEFAULT_BASE)
    path = make_folder(home().rigs) / f"{name}.toml"
    write_whole(path, starting_file(name, base).encode())
    say(f"{visible(str(path))} is written: change in it what differs from {base.name}")
    return FINE


def _remove(names: list[str]) -> int:
    if len(names) != 1:
        raise WrongCall("name one rig of your own: `loadglass rigs remove my-fast-card`")
    if names[0] in BUILT_IN:
        raise WrongCall(f"{names[0]} is a rig we bring, which stays")
    say(set_aside_text(names[0], set_rig_aside(names[0], home().rigs)))
    return FINE


def _record(rig: Rig) -> dict[str, object]:
    return {
        "name": rig.name,
        "drive": rig.drive,
        "loader": rig.loader,
        "order": rig.order,
        "layouts": list(rig.layouts),
        "figures": {
            name: {
                "value": figure.value,
                "unit": figure.unit,
                "spread": figure.spread,
                "source": figure.source,
            }
            for name, figure in rig.figures.items()
        },
    }


def _print(rig: Rig) -> None:
    say(f"{rig.name}: {rig.description}")
    print_table(
        [
            Column("Figure"),
            Column("Value", right=True),
            Column("Unit"),
            Column("Spread", right=True),
            Column("Source", wraps=True),
        ],
        [_row(name, figure) for name, figure in rig.figures.items()],
    )
    say("")


def _row(name: str, figure: Figure) -> list[str]:
    return [name, f"{figure.value:g}", figure.unit, f"{figure.spread:.0%}", figure.source]
