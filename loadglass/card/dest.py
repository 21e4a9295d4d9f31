"""Where a card is: a folder that images may be put into, and none of the shelf's own."""

from __future__ import annotations

import os
from collections.abc import Iterable

from formats.visible import visible
from loadglass.card.device import CardTrouble, Device, sentences


def open_card(dest: str) -> Device:
    """The card in a folder. Raises CardTrouble where there is none."""
    shown = visible(dest)
    if os.path.islink(dest.rstrip("/" + os.sep) or dest):
        where = visible(os.path.realpath(dest))
        raise CardTrouble(f"{shown} is a link to {where}: name the card's own folder")
    if not os.path.lexists(dest):
        raise CardTrouble(
            f"there is no folder {shown}: put the card in, or name the folder where it is mounted"
        )
    if not os.path.isdir(dest):
        raise CardTrouble(f"{shown} is no folder: name the folder where the card is mounted")
    with sentences(dest, "look at"):
        return Device(dest)


def refuse_shelf(dest: str, surveyed: Iterable[str], folders: Iterable[str]) -> None:
    """Raise CardTrouble if a card there could get into the way of the shelf's images.

    surveyed: folders and files that were surveyed; folders: those of the images to be copied.
    """
    card = os.path.realpath(dest)
    for root in surveyed:
        real = os.path.realpath(root)
        if _is_within(card, real) or _is_within(real, card):
            raise CardTrouble(
                f"{visible(dest)} is on the shelf itself ({visible(root)} has been surveyed): "
                "name the folder of a card"
            )
    for folder in folders:
        if _is_within(os.path.realpath(folder), card):
            raise CardTrouble(
                f"{visible(dest)} holds images that are to be copied (in {visible(folder)}): "
                "name the folder of a card"
            )


def _is_within(path: str, folder: str) -> bool:
    return path == folder or path.startswith(os.path.join(folder, ""))
