"""What lies on a card: ours by its list, and everyone else's."""

from __future__ import annotations

from dataclasses import dataclass

from loadglass.card.device import Device
from loadglass.card.folders import Occupied
from loadglass.card.journal import Left, read_journal, settled
from loadglass.card.manifest import OUR_FOLDER, CardList, read_list
from loadglass.card.names import clash_key

NOT_OF_INTEREST = frozenset(
    map(
        clash_key,
        (
            OUR_FOLDER,
            "System Volume Information",
            "$RECYCLE.BIN",
            ".Trashes",
            ".Spotlight-V100",
            ".fseventsd",
            "lost+found",
        ),
    )
)
"""Folders that operating systems leave on every card, and our own."""


@dataclass(frozen=True)
class Inventory:
    card_list: CardList
    """What is ours; of an unfinished fill too."""
    left: Left | None
    """An unfinished fill's, which the next fill clears away."""
    files: frozenset[str]
    """Every file on the card, ours too, but none of our own folder."""
    folders: frozenset[str]

    def occupied_besides(self, targets: frozenset[str]) -> Occupied:
        return Occupied(self.files - targets, self.folders)


def take_inventory(device: Device) -> Inventory:
    """Look at a card; changes nothing. Raises CardTrouble, OSError."""
    card_list = read_list(device)
    left = read_journal(device)
    files: set[str] = set()
    folders: set[str] = set()
    waiting = [""]
    while waiting:
        folder = waiting.pop()
        for item in device.names(folder):
            name = f"{folder}/{item.name}" if folder else item.name
            if item.is_folder and folder == "" and clash_key(item.name) in NOT_OF_INTEREST:
                continue
            if item.is_folder:
                folders.add(name)
                waiting.append(name)
            else:
                files.add(name)
    return Inventory(settled(device, card_list, left), left, frozenset(files), frozenset(folders))
