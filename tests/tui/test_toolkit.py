"""What the toolkit is told before it is loaded, and what is mended in it."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

BEAT = "import tui.app; from textual.constants import MAX_FPS; print(MAX_FPS)"


@pytest.mark.parametrize(("asked_for", "painted"), [(None, "240"), ("30", "30")])
def test_it_paints_at_our_beat_unless_another_is_asked_for(
    asked_for: str | None, painted: str
) -> None:
    environment = {k: v for k, v in os.environ.items() if k != "TEXTUAL_FPS"}
    if asked_for is not None:
        environment["TEXTUAL_FPS"] = asked_for
    done = subprocess.run(
        [sys.executable, "-c", BEAT], env=environment, capture_output=True, text=True, timeout=60
    )
    assert done.stdout.strip() == painted, done.stderr
