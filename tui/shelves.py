"""The shelf that a command or the screen works on: the one that is kept, or a scratch one."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from loadglass.home import home
from loadglass.progress import Job
from loadglass.shelf.choices import Choices, open_choices
from loadglass.shelf.corrections import Correction
from loadglass.shelf.index import Index, open_index
from loadglass.shelf.query import Shelf
from loadglass.shelf.survey import SurveyResult, survey
from loadglass.timing.rig import Rig
from tui.tables import warn


@dataclass(frozen=True)
class OpenShelf:
    index: Index
    choices: Choices
    shelf: Shelf
    surveyed: SurveyResult | None = None
    """Of a scratch shelf: what its survey found."""
    corrections: list[Correction] = field(default_factory=list)
    """What was said of sets while it is open, the latest last."""


@contextmanager
def kept_shelf(rigs: Sequence[Rig]) -> Iterator[OpenShelf]:
    """The shelf that is kept, with the user's choices."""
    index = open_index(home().index)
    choices = open_choices(home().choices)
    for notice in (*index.notices, *choices.notices):
        warn(notice)
    with closing(choices), closing(Shelf(index, choices, rigs)) as shelf:
        yield OpenShelf(index, choices, shelf)


@contextmanager
def scratch_shelf(
    paths: Sequence[str], rigs: Sequence[Rig], job: Job | None = None, *, own_choices: bool = False
) -> Iterator[OpenShelf]:
    """A shelf of these images and folders that is gone at the end.

    own_choices: the user's picks, ratings and tags show on it and can be changed; otherwise
    those made on it are gone with it.
    """
    with tempfile.TemporaryDirectory(prefix="loadglass-") as folder:
        index = open_index(Path(folder, "index.sqlite"))
        result = survey(index, paths, rigs, job)
        choices = open_choices(home().choices if own_choices else Path(folder, "choices.sqlite"))
        with closing(choices), closing(Shelf(index, choices, rigs)) as shelf:
            yield OpenShelf(index, choices, shelf, result)
