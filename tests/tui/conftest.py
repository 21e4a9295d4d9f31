"""Every test keeps its own things apart from the user's."""

from __future__ import annotations

from pathlib import Path

import pytest

from loadglass.shelf.rows import ShelfRow


@pytest.fixture(autouse=True)
def own_home(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    home = tmp_path_factory.mktemp("home")
    monkeypatch.setenv("LOADGLASS_HOME", str(home))
    monkeypatch.delenv("COLUMNS", raising=False)
    monkeypatch.delenv("NO_COLOR", raising=False)
    return home


@pytest.fixture
def rows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[ShelfRow]:
    """The harbour club's images, in the working folder."""
    from tests.tui.harbour import club_rows  # not for tests that show no screen

    monkeypatch.chdir(tmp_path)
    return club_rows(tmp_path)
