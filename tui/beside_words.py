"""What stands beside an image, in words: for the screen and for commands."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from formats.visible import visible
from loadglass.shelf.beside import Beside
from loadglass.shelf.choices import ALONE
from loadglass.shelf.corrections import Correction
from loadglass.shelf.rows import ShelfRow
from loadglass.shelf.sets import DiskSet
from tui.wording import count_text, counted_text

NO_TWINS = "Nothing else on this shelf has this image's content, or a file of it."
ONE_OF_NONE = "Nothing in names and titles says that it is one disk of several."


@dataclass(frozen=True, slots=True)
class Item:
    """A row: an image, and the file on it that is meant."""

    row: ShelfRow
    lead: str
    """Which disk or file it is."""
    slot: int | None = None
    says: str = ""
    """On the line below, beside the path."""
    of_set: bool = False
    """It is listed as a disk of the set."""

    @property
    def place(self) -> tuple[bool, int, int | None]:
        return self.of_set, self.row.id, self.slot


@dataclass(frozen=True, slots=True)
class Section:
    heading: str
    items: Sequence[Item]
    says: Sequence[str] = ()
    """Sentences below its rows."""


def sections(beside: Beside) -> Iterator[Section]:
    """What was found, in words; names of the disks' own are harmless already."""
    yield _set_section(beside)
    if beside.sound or beside.lost:
        yield _sound_section(beside)
    if beside.same:
        items = [Item(beside.rows[twin.image], "same content") for twin in beside.same]
        yield Section("The same content elsewhere", items)
    if beside.files:
        yield _files_section(beside)
    if not beside.has_twins:
        yield Section("No twins", (), (NO_TWINS,))


def _set_section(beside: Beside) -> Section:
    disks, image = beside.disk_set, beside.image
    if disks is None:
        return Section("In no set", [Item(image, "this image", of_set=True)], [_why_alone(beside)])
    items = [
        Item(beside.rows[disk.id], _which(beside, disk.id), of_set=True)
        for disk in disks.disks
        if disk.id in beside.rows
    ]
    return Section(f"Set {set_text(disks)}, {came_about(disks)}", items)


def _which(beside: Beside, image: int) -> str:
    mark = beside.marks.get(image) or "no mark"
    if beside.disk_set is not None and image in beside.disk_set.copies:
        mark += ", a copy"
    return f"{mark}, this one" if image == beside.image.id else mark


def _why_alone(beside: Beside) -> str:
    name = beside.said.get(beside.image.id)
    if name is None:
        return ONE_OF_NONE
    if not name:
        return "You have taken it out of its set."
    return f"You have put it into the set “{name}”, and it is the only disk of it so far."


def set_text(disks: DiskSet) -> str:
    """`“the long pier”, 2 disks and 1 copy`."""
    copies = len(disks.copies)
    count = counted_text(len(disks.disks) - copies, "disk", copies)
    return f"“{visible(disks.name)}”, {count}"


def undone_text(correction: Correction) -> str:
    """What is said of the disks again, once a correction is undone."""
    count = count_text(len(correction.before), "disk")
    names = set(correction.before.values())
    if names == {None}:
        return f"undone: {count} by name again"
    if names == {ALONE}:
        return f"undone: {count} in no set again"
    return f"undone: {count} in the set that you said before"


def came_about(disks: DiskSet) -> str:
    return "put together by you" if disks.by_user else "by names and titles"


def _sound_section(beside: Beside) -> Section:
    items = [
        Item(
            beside.rows[twin.image],
            f'"{file.name}" whole',
            twin.slot,
            f'"{twin.name}" there is whole, {twin.size_bytes:,} B; '
            f"its first {file.readable_bytes:,} B are what can be read here",
        )
        for file in beside.sound
        for twin in file.twins
        if twin.image in beside.rows
    ]
    says = [
        f'"{name}" is damaged, and no whole file on this shelf has its name and load address '
        "and begins as it does."
        for _, name in beside.lost
    ]
    return Section("Sound twins of damaged files", items, says)


def _files_section(beside: Beside) -> Section:
    items = [
        Item(
            beside.rows[twin.image],
            f'"{file.name}"' if twin.name == file.name else f'"{file.name}" as "{twin.name}"',
            twin.slot,
            f"the same {twin.size_bytes:,} B",
        )
        for file in beside.files
        for twin in file.twins
        if twin.image in beside.rows
    ]
    says = [f'"{file.name}" is on more images than these.' for file in beside.files if file.more]
    return Section("The same files on other images", items, says)
