"""Calls of the command line inside the test's own process."""

from __future__ import annotations

import contextlib
import io
import json
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from unittest import mock

from tui.__main__ import run


@dataclass(frozen=True)
class Called:
    status: int
    out: str
    err: str

    @property
    def records(self) -> list[dict[str, Any]]:
        """Standard output as JSON, one object a line, ASCII only."""
        assert self.out.isascii()
        return [json.loads(line) for line in self.out.splitlines()]


@contextlib.contextmanager
def _arguments(*arguments: str) -> Iterator[None]:
    with mock.patch.object(sys, "argv", ["loadglass", *arguments]):
        yield


def call(*arguments: str) -> Called:
    """Run `loadglass ARGUMENTS` with its output caught, as in a pipe."""
    out, err = io.StringIO(), io.StringIO()
    with _arguments(*arguments), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            status = run()
        except SystemExit as stop:  # argparse ends wrong calls itself
            status = int(stop.code or 0)
    assert "Traceback" not in err.getvalue()
    return Called(status, out.getvalue(), err.getvalue())
