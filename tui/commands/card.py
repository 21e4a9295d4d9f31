"""Choose what goes onto an SD card, put it there safely, and check it."""

from __future__ import annotations

import argparse

from tui.actions import add_actions
from tui.commands import card_check, card_contents, card_fill, card_keep, card_plan

ACTIONS = {
    "plan": card_plan,
    "fill": card_fill,
    "check": card_check,
    "keep": card_keep,
    "contents": card_contents,
}


def arguments(parser: argparse.ArgumentParser) -> None:
    add_actions(parser, ACTIONS)


def run(args: argparse.Namespace) -> int:
    return ACTIONS[args.action].run(args)
