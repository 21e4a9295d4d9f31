"""An index, a folder to survey, and the four rigs."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from loadglass.shelf.index import Index, open_index
from loadglass.shelf.survey import SurveyResult, survey
from loadglass.timing.rig import Rig
from loadglass.timing.rig_files import built_in_rigs


@pytest.fixture
def rigs() -> list[Rig]:
    return list(built_in_rigs().values())


@pytest.fixture
def index(tmp_path: Path) -> Index:
    return open_index(tmp_path / "home" / "index.sqlite")


@pytest.fixture
def club(tmp_path: Path) -> Path:
    """The folder that is surveyed."""
    folder = tmp_path / "club"
    folder.mkdir()
    return folder


@pytest.fixture
def surveyed(index: Index, rigs: Sequence[Rig], club: Path) -> Callable[..., SurveyResult]:
    """Surveys the club's folder, or other paths, in this process."""

    def run(*paths: str | os.PathLike[str]) -> SurveyResult:
        return survey(index, [os.fspath(path) for path in paths or (club,)], rigs, workers=0)

    return run
