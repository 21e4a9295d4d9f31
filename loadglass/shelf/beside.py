"""All that stands beside one image on the shelf: its set, its twins, sound twins of its files."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from formats.petscii import to_text
from loadglass.shelf.choices import Choices
from loadglass.shelf.index import Index
from loadglass.shelf.query import Shelf
from loadglass.shelf.rows import ShelfRow
from loadglass.shelf.sets import DiskSet, marks_of, set_of
from loadglass.shelf.twins import (
    FileTwins,
    SoundTwin,
    Twin,
    damaged_files,
    image_twins,
    sound_twins,
    twins_of_files,
)

NAMED = 12
"""So many places of one content are named; the loader that everybody had is on every disk."""


@dataclass(frozen=True, slots=True)
class Beside:
    image: ShelfRow
    disk_set: DiskSet | None
    marks: Mapping[int, str]
    """By image: which disk of the set it is, in the words of its name."""
    said: Mapping[int, str]
    """By image what the user said of its set, where that is anything; see Choice.set_name."""
    same: tuple[Twin, ...]
    """Images of the same content."""
    files: tuple[FileTwins, ...]
    sound: tuple[SoundTwin, ...]
    lost: tuple[tuple[int, str], ...]
    """Slot and name of each damaged file without a sound twin."""
    rows: Mapping[int, ShelfRow]
    """Every image that is named, by its id."""

    @property
    def has_twins(self) -> bool:
        return bool(self.same or self.files or self.sound)


def beside(index: Index, choices: Choices, shelf: Shelf, image: int) -> Beside | None:
    """What stands beside an image; None if it is not on the shelf any more.

    Opens the images that may have a sound twin: not for the screen's own thread. Raises
    DatabaseTrouble.
    """
    row = shelf.row(image)
    if row is None:
        return None
    disks = set_of(index, choices, image)
    same = tuple(image_twins(index, image)) if row.sha256 else ()
    files = tuple(twins_of_files(index, image, NAMED))
    sound = tuple(sound_twins(index, image))
    saved = {each.slot for each in sound}
    lost = tuple(
        (slot, to_text(name)) for slot, name in damaged_files(index, image) if slot not in saved
    )
    named = dict.fromkeys(_images(disks, [*files, *sound], same), None)
    rows = {each: found for each in named if (found := shelf.row(each)) is not None}
    return Beside(
        image=row,
        disk_set=disks,
        marks=marks_of(disks) if disks is not None else {},
        said=_said(choices, [row, *rows.values()]),
        same=tuple(twin for twin in same if twin.image in rows),
        files=files,
        sound=sound,
        lost=lost,
        rows={**rows, image: row},
    )


def _said(choices: Choices, rows: Iterable[ShelfRow]) -> dict[int, str]:
    chosen = choices.all()
    said = {row.id: chosen[row.sha256].set_name for row in rows if row.sha256 in chosen}
    return {image: name for image, name in said.items() if name is not None}


def _images(
    disks: DiskSet | None, files: list[FileTwins | SoundTwin], same: tuple[Twin, ...]
) -> Iterator[int]:
    yield from (disk.id for disk in disks.disks) if disks is not None else ()
    yield from (twin.image for twin in same)
    yield from (twin.image for file in files for twin in file.twins)
