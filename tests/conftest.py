"""How many workers run the tests; at the end of `make proof`: how many examples were tried."""

import os
from collections import Counter

import pytest


def pytest_xdist_auto_num_workers(config: pytest.Config) -> int:
    """Two more than there are cores: a test of the screen waits half of its time."""
    return (os.cpu_count() or 1) + 2


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    if "LOADGLASS_PROOF" not in os.environ:
        return
    total: Counter[str] = Counter()
    for report in terminalreporter.getreports("passed"):
        for name, tally in report.user_properties:
            if name == "proof tally":
                total.update(tally)
    if total:
        terminalreporter.section("tried in the proofs")
    for what, count in sorted(total.items()):
        terminalreporter.write_line(f"{count:>9,}  {what}")
