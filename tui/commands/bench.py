"""Stopwatch readings: take them, keep them, fit a rig to them, find out what went wrong."""

from __future__ import annotations

import argparse

from tui.actions import add_actions
from tui.commands import (
    bench_add,
    bench_calibrate,
    bench_hung,
    bench_import,
    bench_list,
    bench_remove,
    bench_start,
    bench_sum,
)

ACTIONS = {
    "start": bench_start,
    "add": bench_add,
    "list": bench_list,
    "remove": bench_remove,
    "import": bench_import,
    "calibrate": bench_calibrate,
    "hung": bench_hung,
    "sum": bench_sum,
}


def arguments(parser: argparse.ArgumentParser) -> None:
    add_actions(parser, ACTIONS)


def run(args: argparse.Namespace) -> int:
    return ACTIONS[args.action].run(args)
