"""Folders that a journey may use, and a watch on everything that is written anywhere else."""

from __future__ import annotations

import hashlib
import os
import random
import sys
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from functools import cache
from gzip import compress
from pathlib import Path

import pytest

from loadglass.home import home
from loadglass.shelf.choices import open_choices
from loadglass.shelf.index import open_index
from loadglass.shelf.query import Shelf
from loadglass.shelf.survey import survey
from tests.tui import disks, harbour
from tui.rig_calls import known_rigs
from tui.session import Session
from tui.shelves import OpenShelf

WRITING_MODES = frozenset("wax+")
WRITING_FLAGS = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND
CHANGES = {"os.rename", "os.remove", "os.mkdir", "os.rmdir", "os.link", "os.symlink", "os.truncate"}
"""Audit events that carry one path or two."""

SCRATCH = f"temp{os.sep}loadglass-"

FILE_NAMES = (
    harbour.HOSTILE_FILE_NAME,
    "[red]markup [bold] [@click=app.quit]x[.d64",
    "\x1b[2J\x1b[31mescapes\x07\r\n.d64",
    "\u202eright to left\u200f.d64",
    "港の灯台の霧笛とその他の物語.d64",
    "e\u0301 combining \u200b.d64",
    os.fsdecode(b"not utf-8 \xe9\xff.d64"),
    "'; DROP TABLE images; --.d64",
    "%s {0} ${HOME} ~.d64",
    "a" * 200 + ".d64",
)


@dataclass
class Cage:
    root: Path
    originals: dict[Path, str] = field(default_factory=dict)
    """SHA-256 of every file of the collection."""
    escapes: list[str] = field(default_factory=list)
    """What was written outside."""

    @property
    def home(self) -> Path:
        return self.root / "home"

    @property
    def images(self) -> Path:
        return self.root / "images"

    @property
    def card(self) -> Path:
        return self.root / "card"

    @property
    def desk(self) -> Path:
        """The working folder."""
        return self.root / "desk"

    def holds(self, path: str | bytes | os.PathLike[str]) -> bool:
        full = os.path.realpath(os.path.expanduser(os.fsdecode(path)))
        return full == str(self.root) or full.startswith(f"{self.root}{os.sep}")

    def changed_images(self) -> list[Path]:
        return [path for path, digest in self.originals.items() if digest_of(path) != digest]


def digest_of(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else "gone"


_watched: Cage | None = None


def _watch(event: str, arguments: tuple[object, ...]) -> None:
    cage = _watched
    if cage is None:
        return
    paths: tuple[object, ...] = ()
    if event == "open":
        path, mode, flags = arguments
        by_mode = isinstance(mode, str) and bool(WRITING_MODES & set(mode))
        if by_mode or (isinstance(flags, int) and flags & WRITING_FLAGS):
            paths = (path,)
    elif event == "sqlite3.connect":
        paths = arguments[:1]
    elif event in CHANGES:
        paths = arguments[:2]
    for path in paths:
        if isinstance(path, str | bytes) and path != os.devnull and not cage.holds(path):
            if SCRATCH in os.fsdecode(path):  # of a shelf of samples of the evening before
                continue
            cage.escapes.append(f"{event} {path!r}")


sys.addaudithook(_watch)


@contextmanager
def caged(root: Path, files: dict[str, bytes]) -> Iterator[Cage]:
    """A collection of these files, an empty home, card and desk; all below `root`."""
    global _watched
    cage = Cage(root.resolve())
    temporary = root / "temp"
    for folder in (cage.home, cage.images, cage.card, cage.desk, temporary, root / "person"):
        folder.mkdir(parents=True)
    for name, data in files.items():
        path = cage.images / name
        path.write_bytes(data)
        cage.originals[path] = digest_of(path)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("LOADGLASS_HOME", str(cage.home))
        patch.setenv("HOME", str(root / "person"))
        patch.delenv("NO_COLOR", raising=False)
        patch.setattr(tempfile, "tempdir", str(temporary))
        patch.setattr(sys, "dont_write_bytecode", True)
        patch.chdir(cage.desk)
        _watched = cage
        try:
            yield cage
        finally:
            _watched = None


@contextmanager
def session_on(cage: Cage, *, surveyed: bool = True) -> Iterator[Session]:
    """The kept shelf with the collection on it, as the command line would open it."""
    kept = home()
    rigs = known_rigs().rigs
    index, choices = open_index(kept.index), open_choices(kept.choices)
    with closing(choices), closing(Shelf(index, choices, list(rigs.values()))) as shelf:
        if surveyed and cage.originals:
            survey(index, [str(cage.images)], list(rigs.values()), workers=0)
        yield Session(OpenShelf(index, choices, shelf), rigs, kept, "shelf")


@cache
def _kinds() -> list[bytes]:
    return [make() for make in disks.DISKS.values()] + list(harbour.IMAGES.values())


def collection(count: int, seed: int) -> dict[str, bytes]:
    """So many files: sound, damaged and nonsense, some of them with hostile names."""
    dice = random.Random(seed)
    kinds = _kinds()
    files: dict[str, bytes] = {}
    for number in range(count):
        name = f"{number:02} boje.d64"
        if number < len(FILE_NAMES) and count > 1:
            name = FILE_NAMES[number]
        elif count == 1:
            name = dice.choice(FILE_NAMES)
        data = dice.choice(kinds)
        if number % 11 == 10:
            name, data = f"{number:02} packed.d64.gz", compress(data, 1)
        elif number % 13 == 12:
            data = data[: dice.randrange(len(data))]
        files[name] = data
    return files
