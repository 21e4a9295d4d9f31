"""The rigs that a call names."""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from pathlib import Path

from formats.visible import visible
from loadglass.home import home
from loadglass.timing.rig import Rig, RigError
from loadglass.timing.rig_files import Rigs, load_rigs
from tui.calls import WrongCall
from tui.tables import warn


def rig_option(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--rig",
        action="append",
        metavar="R",
        help="only on this rig; may be given several times (`loadglass rigs` lists them)",
    )


def known_rigs() -> Rigs:
    """Every rig, the user's own too; says what is wrong with those that cannot be used."""
    rigs = load_rigs(home().rigs)
    for problem in rigs.problems:
        warn(str(problem))
    return rigs


def chosen_rigs(names: Iterable[str] | None) -> list[Rig]:
    """The rigs named, or all of them. Raises WrongCall on an unknown one."""
    rigs = known_rigs()
    if not names:
        return list(rigs.rigs.values())
    return [named_rig(rigs, name) for name in names]


def named_rig(rigs: Rigs, name: str) -> Rig:
    """Raises WrongCall where there is no such rig."""
    try:
        return rigs.named(name)
    except RigError as error:
        raise WrongCall(str(error)) from error


def set_aside_text(name: str, aside: Path) -> str:
    """What was done to a rig that is no longer to be used."""
    return f"{name} is removed; its file is kept as {visible(str(aside))}"
