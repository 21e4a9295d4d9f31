"""Where index, log, rigs and settings live: the only place that knows.

`LOADGLASS_HOME` moves all of it; otherwise the usual places of the operating system.
Nothing is made on disk until something is written.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

import platformdirs

from formats.errors import LoadglassError

APPLICATION = "loadglass"


class NoHome(LoadglassError):
    """The folder for what is kept cannot be used."""


@dataclass(frozen=True)
class Home:
    """Paths of what is kept. The index can be thrown away; the rest is the user's own."""

    data: Path
    """The user's own: bench log, choices, rigs."""
    cache: Path
    """What can be made again: the index."""
    config: Path
    """Settings of the screen."""

    @property
    def index(self) -> Path:
        return self.cache / "index.sqlite"

    @property
    def choices(self) -> Path:
        """Picks, ratings, tags, corrections."""
        return self.data / "choices.sqlite"

    @property
    def bench_log(self) -> Path:
        return self.data / "bench.jsonl"

    @property
    def rigs(self) -> Path:
        return self.data / "rigs"

    @property
    def reports(self) -> Path:
        """Reports of faults of ours."""
        return self.data / "reports"

    @property
    def settings(self) -> Path:
        return self.config / "settings.toml"


def home() -> Home:
    """The places in force now. Makes nothing."""
    moved = os.environ.get("LOADGLASS_HOME")
    if moved:
        folder = Path(os.path.expanduser(moved)).absolute()
        return Home(folder, folder, folder)
    places = platformdirs.PlatformDirs(APPLICATION, appauthor=False)
    return Home(places.user_data_path, places.user_cache_path, places.user_config_path)


def make_folder(folder: Path) -> Path:
    """Make a folder of ours where there is none yet. Raises NoHome."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise NoHome(
            f"cannot make the folder {folder} ({error.strerror}): "
            "set LOADGLASS_HOME to a folder that you can write to"
        ) from error
    return folder
