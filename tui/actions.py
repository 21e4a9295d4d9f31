"""Commands that have actions, such as `loadglass bench add`: one module an action."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from types import ModuleType


def add_actions(parser: argparse.ArgumentParser, modules: Mapping[str, ModuleType]) -> None:
    """Let `parser` take one of these actions; its name is then `args.action`.

    An action's module says in its docstring what it does, and has `arguments` and `run` as a
    command's module has.
    """
    parsers = parser.add_subparsers(
        dest="action", metavar="ACTION", required=True, title="actions", prog=parser.prog
    )
    for name, module in modules.items():
        says = module.__doc__ or ""
        action = parsers.add_parser(
            name,
            help=says.partition("\n")[0].rstrip("."),
            description=says,
            formatter_class=argparse.RawDescriptionHelpFormatter,
            allow_abbrev=False,
        )
        module.arguments(action)
