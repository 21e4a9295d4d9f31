"""At the end of `make proof`: how many examples of what were tried."""

import os
from collections import Counter

import pytest


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
