"""What a fill is about to do, written down before it does anything.

A fill that ends early, however, leaves its journal on the card. The next one finds out from it
what was done and which leftovers are ours, and goes on from there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace

from loadglass.card.device import Device
from loadglass.card.folders import folders_above
from loadglass.card.manifest import (
    JOURNAL,
    OUR_FOLDER,
    SIZE_LIMIT_BYTES,
    CardList,
    Entry,
    checked_target,
    clear_own,
    put_list_in_place,
    read_entry,
    sorted_entries,
    write_list,
)
from loadglass.card.sealed import seal, unseal

BEGIN, PLACED = "fill begins 1", "placed"


@dataclass(frozen=True)
class Intent:
    """What one fill is going to do."""

    generation: int
    """Of the list that it started from."""
    temporary: str
    """Name, without a folder, of the file that is being written: drawn by lot for this fill."""
    puts: tuple[Entry, ...]
    removes: tuple[str, ...]
    folders: tuple[str, ...]
    """Folders that it makes."""


@dataclass(frozen=True)
class Left:
    """What an unfinished fill has left on the card."""

    intent: Intent
    placed: frozenset[str]
    """Targets that it had put in place for certain; maybe others too."""


class Journal:
    """The journal of a fill that is under way."""

    def __init__(self, device: Device, intent: Intent) -> None:
        """Write the intent to the card, and wait until it is there."""
        self._device = device
        clear_own(device, JOURNAL)
        self._descriptor = device.create(JOURNAL)
        body = {**asdict(intent), "puts": [asdict(entry) for entry in intent.puts]}
        device.write(self._descriptor, seal(BEGIN, body))
        device.flush(self._descriptor)
        device.flush_folder(OUR_FOLDER)

    def placed(self, target: str) -> None:
        """Not waited for: without it the content of the file tells."""
        self._device.write(self._descriptor, seal(PLACED, {"target": target}))

    def close(self) -> None:
        self._device.close(self._descriptor)


def read_journal(device: Device) -> Left | None:
    """What an unfinished fill has left; None if there is none. Raises OSError.

    A journal that was cut short in its first line stands for a fill that had not yet begun.
    """
    if not device.is_file(JOURNAL):
        return None
    lines = device.read(JOURNAL, SIZE_LIMIT_BYTES).splitlines()
    body = unseal(BEGIN, lines[0]) if lines else None
    if body is None:
        return None
    try:
        intent = Intent(
            generation=int(body["generation"]),
            temporary=checked_target(body["temporary"]),
            puts=tuple(read_entry(each) for each in body["puts"]),
            removes=tuple(checked_target(each) for each in body["removes"]),
            folders=tuple(checked_target(each) for each in body["folders"]),
        )
    except (KeyError, TypeError, ValueError):
        return None
    records = (unseal(PLACED, line) for line in lines[1:])
    return Left(intent, frozenset(record["target"] for record in records if record is not None))


def settled(device: Device, card_list: CardList, left: Left | None) -> CardList:
    """The list as it would be if the unfinished fill had written it. Only looks. OSError.

    A file that was to be put and is there without a note of it is ours if it is what was to be
    put; if the list had named it before, it stays ours, changed; otherwise it is someone else's.
    """
    if left is None or left.intent.generation != card_list.generation:
        return card_list  # the list was written after all that
    entries = dict(card_list.by_target)
    for entry in left.intent.puts:
        is_placed = entry.target in left.placed
        if not is_placed and device.is_file(entry.target):
            is_placed = device.digest(entry.target).sha256 == entry.sha256
        if is_placed:
            entries[entry.target] = entry
    for target in left.intent.removes:
        if device.status(target) is None:
            entries.pop(target, None)
    made = [name for name in left.intent.folders if device.status(name) is not None]
    return replace(
        card_list,
        files=sorted_entries(entries.values()),
        folders=tuple(sorted({*card_list.folders, *made})),
    )


def recover(device: Device, card_list: CardList, left: Left | None) -> CardList:
    """Write down what an unfinished fill has done, and clear away what it has left. OSError."""
    known = settled(device, card_list, left)
    put_list_in_place(device)
    if left is not None:
        for name in leftovers(device, left.intent):
            device.remove(name)
        if left.intent.generation == card_list.generation:
            known = replace(known, generation=known.generation + 1)
            write_list(device, known)
    clear_own(device, JOURNAL)
    return known


def leftovers(device: Device, intent: Intent) -> list[str]:
    """Files that the fill was writing when it ended: ours by the name drawn for it."""
    folders = {"", *(folder for entry in intent.puts for folder in folders_above(entry.target))}
    names = [f"{folder}/{intent.temporary}".lstrip("/") for folder in sorted(folders)]
    return [name for name in names if device.is_file(name)]


def folders_to_make(device: Device, puts: Sequence[Entry]) -> tuple[str, ...]:
    """Folders of these files that are not there yet, the outer ones first."""
    wanted = dict.fromkeys(folder for entry in puts for folder in folders_above(entry.target))
    return tuple(sorted(folder for folder in wanted if device.status(folder) is None))
