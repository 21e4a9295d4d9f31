"""Every test keeps its own things apart from the user's."""

from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture(autouse=True)
def own_home(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    home = tmp_path_factory.mktemp("home")
    monkeypatch.setenv("LOADGLASS_HOME", str(home))
    monkeypatch.delenv("COLUMNS", raising=False)
    return home
