"""The card's own list: which files on it are ours, and what they were when we put them there.

It lies on the card in a folder of ours, checksummed, and is only ever replaced as a whole.
What it names may be replaced or removed; nothing else on the card ever is.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass, field, fields
from functools import cached_property
from typing import Any

from formats.findings import Verdict
from formats.visible import visible
from loadglass.card.device import CardTrouble, Device
from loadglass.card.folders import Arrangement, Layout
from loadglass.card.names import clash_key
from loadglass.card.sealed import is_ours, seal, unseal
from loadglass.shelf.rows import shown_title

OUR_FOLDER = ".loadglass"
LIST = f"{OUR_FOLDER}/list.json"
NEW_LIST = f"{OUR_FOLDER}/list.new"
JOURNAL = f"{OUR_FOLDER}/journal"
LOCK = f"{OUR_FOLDER}/lock"
KIND = "card list 1"
SIZE_LIMIT_BYTES = 64 << 20
"""A list of 100,000 files is shorter."""


@dataclass(frozen=True)
class Entry:
    """One file that we put on the card."""

    target: str
    """Path from the card's own folder, with `/`."""
    sha256: str
    """Of the file as it was put there."""
    bytes: int
    image_sha256: str
    """Of the sectors of the image that it was made from: who the image is."""
    source: str
    """Path of that image on the computer."""
    title: str
    verdict: Verdict
    """Of the file as it was put there."""
    mended: bool = False
    """It is a mended copy."""
    stock_s: float | None = None
    """Seconds of every program in a row with the stock loader on the card's drive."""
    fast_s: float | None = None
    """The same with the loader that the card was filled for."""
    mtime_ns: int | None = None
    """Of the file on the card as it was put there; None: not known."""

    @property
    def shown_title(self) -> str:
        """As on the shelf, and marked where it is a mended copy's."""
        title = shown_title(visible(self.title), visible(self.target.rpartition("/")[2]))
        return f"{title} (mended copy)" if self.mended else title


@dataclass(frozen=True)
class CardList:
    """All that is ours on a card."""

    files: tuple[Entry, ...] = ()
    folders: tuple[str, ...] = ()
    """Folders that we made."""
    generation: int = 0
    """Grows with every list written; 0: there is none on the card."""
    stock: str = ""
    """The rigs that the times are of."""
    fast: str = ""
    arrangement: Arrangement = field(default_factory=Arrangement)

    @cached_property
    def by_target(self) -> dict[str, Entry]:
        return {entry.target: entry for entry in self.files}

    def encode(self) -> bytes:
        body = {
            "generation": self.generation,
            "stock": self.stock,
            "fast": self.fast,
            "layout": self.arrangement.layout.value,
            "entries_limit": self.arrangement.entries_limit,
            "folders": list(self.folders),
            "files": [asdict(entry) for entry in self.files],
        }
        return seal(KIND, body, indent=1)

    @classmethod
    def decode(cls, data: bytes) -> CardList | None:
        """None if it is not a whole list of ours."""
        body = unseal(KIND, data)
        if body is None:
            return None
        try:
            return cls(
                files=tuple(read_entry(each) for each in body["files"]),
                folders=tuple(checked_target(each) for each in body["folders"]),
                generation=int(body["generation"]),
                stock=str(body["stock"]),
                fast=str(body["fast"]),
                arrangement=Arrangement(Layout(body["layout"]), int(body["entries_limit"])),
            )
        except (KeyError, TypeError, ValueError):
            return None


_ENTRY_FIELDS = frozenset(each.name for each in fields(Entry))


def read_entry(record: dict[str, Any]) -> Entry:
    """An entry from JSON. Raises KeyError, TypeError, ValueError."""
    known = {name: value for name, value in record.items() if name in _ENTRY_FIELDS}
    checked_target(known["target"])
    return Entry(**{**known, "verdict": Verdict(known["verdict"])})


def checked_target(target: str) -> str:
    """A path that stays on the card and out of our own folder. Raises ValueError."""
    parts = target.split("/")
    if any(part in ("", ".", "..") or "\\" in part or "\0" in part for part in parts):
        raise ValueError("leads off the card")
    if clash_key(parts[0]) == clash_key(OUR_FOLDER) or ":" in target:
        raise ValueError("is no place for an image")
    return target


def read_list(device: Device) -> CardList:
    """The list on the card; an empty one if there is none. Raises CardTrouble, OSError.

    Of the list and a newer one that was not yet put in its place, the newest whole one.
    """
    found = [data for name in (LIST, NEW_LIST) if (data := _read(device, name)) is not None]
    lists = [whole for data in found if (whole := CardList.decode(data)) is not None]
    if lists:
        return max(lists, key=lambda each: each.generation)
    if _read(device, LIST) is not None:
        shown = visible(device.path(LIST))
        raise CardTrouble(
            f"the card's list {shown} is broken or of another version of loadglass, so nothing "
            "on the card counts as ours: move the list away to begin a new one"
        )
    return CardList()


def put_list_in_place(device: Device) -> None:
    """Finish what a fill had left: give a whole newer list its place. Raises OSError."""
    newer, there = (CardList.decode(_read(device, name) or b"") for name in (NEW_LIST, LIST))
    if newer is not None and (there is None or newer.generation > there.generation):
        device.replace(NEW_LIST, LIST)
        device.flush_folder(OUR_FOLDER)


def write_list(device: Device, card_list: CardList) -> None:
    """Put a list in the place of the one before, in one step. Raises CardTrouble, OSError."""
    clear_own(device, NEW_LIST)
    descriptor = device.create(NEW_LIST)
    try:
        device.write(descriptor, card_list.encode())
        device.flush(descriptor)
    finally:
        device.close(descriptor)
    device.replace(NEW_LIST, LIST)
    device.flush_folder(OUR_FOLDER)


def no_list(device: Device) -> CardTrouble:
    return CardTrouble(
        f"there is no list of loadglass on {visible(device.dest)}: it was not filled by "
        "`loadglass card fill`, or another folder was"
    )


def is_as_listed(device: Device, entry: Entry) -> bool:
    """Whether the file is there, and what was put there. Raises OSError."""
    return device.is_file(entry.target) and device.digest(entry.target).sha256 == entry.sha256


def is_as_put(device: Device, entry: Entry) -> bool:
    """The same by size and time; the content is read only where the time is another. OSError."""
    status = device.status(entry.target)
    if status is None or not device.is_file(entry.target) or status.st_size != entry.bytes:
        return False
    return status.st_mtime_ns == entry.mtime_ns or is_as_listed(device, entry)


def clear_own(device: Device, name: str) -> None:
    """Remove a record of ours, whole or not, if it is there. Raises CardTrouble, OSError."""
    if device.status(name) is None:
        return
    data = _read(device, name)
    if data is None or not is_ours(data):
        shown = visible(device.path(name))
        raise CardTrouble(f"{shown} is none of loadglass's files: move it away, and fill again")
    device.remove(name)


def ready_folder(device: Device) -> None:
    """Make our folder on the card if it is not there. Raises CardTrouble, OSError."""
    if device.status(OUR_FOLDER) is None:
        device.make_folder(OUR_FOLDER)
        device.flush_folder("")
    elif not any(item.name == OUR_FOLDER and item.is_folder for item in device.names("")):
        shown = visible(device.path(OUR_FOLDER))
        raise CardTrouble(
            f"{shown} is a file or a link, and loadglass keeps the card's list in a folder of "
            "that name: move it away"
        )


def sorted_entries(entries: Iterable[Entry]) -> tuple[Entry, ...]:
    return tuple(sorted(entries, key=lambda entry: entry.target))


def _read(device: Device, name: str) -> bytes | None:
    return device.read(name, SIZE_LIMIT_BYTES) if device.is_file(name) else None
