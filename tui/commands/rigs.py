"""The rigs, and where each figure comes from."""

from __future__ import annotations

import argparse

from loadglass.timing.rig import Figure, Rig
from tui import json_out
from tui.calls import FINE, json_option
from tui.rig_calls import known_rigs, named_rig
from tui.tables import Column, print_table, say


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("names", metavar="RIG", nargs="*", help="only these rigs")
    json_option(parser)


def run(args: argparse.Namespace) -> int:
    known = known_rigs()
    rigs = [named_rig(known, name) for name in args.names] or list(known.rigs.values())
    for rig in rigs:
        if args.json:
            json_out.emit(_record(rig))
        else:
            _print(rig)
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
