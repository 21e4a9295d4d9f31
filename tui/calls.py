"""What commands share: the exit statuses, wrong calls, common options."""

from __future__ import annotations

import argparse

from formats.errors import LoadglassError

FINE, BAD, WRONG_CALL, FAULT, STOPPED = 0, 1, 2, 3, 130
"""Exit statuses: BAD is for what was asked about, or for what could not be done."""


class WrongCall(LoadglassError):
    """The call was wrong: exit status 2."""


def json_option(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help="one JSON object a line")
