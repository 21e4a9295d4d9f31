"""Bringing back what a drive wrote: files that changed on the card, copied to the computer."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path

from formats.image import LONGEST_BYTES
from formats.visible import visible
from loadglass.card.device import CardTrouble, Device, sentences
from loadglass.card.inventory import take_inventory
from loadglass.card.manifest import CardList, is_as_listed, no_list
from loadglass.progress import Job
from loadglass.whole_files import write_new

MARK = " changed"
"""Behind the name of a file that was brought back."""


@dataclass
class Kept:
    """Targets on the card, and where each is on the computer now."""

    copied: list[tuple[str, Path]] = field(default_factory=list)
    there: list[tuple[str, Path]] = field(default_factory=list)
    """Brought back earlier, just as it is."""
    too_large: list[str] = field(default_factory=list)
    """Larger than any image: left where it is."""


def keep_changed(device: Device, folder: Path, job: Job | None = None) -> Kept:
    """Copy every file of ours that changed on the card into a folder, under a new name.

    Never over a file that is there, and nothing on the card is changed. Raises CardTrouble,
    Stopped.
    """
    job = job or Job()
    _refuse(device, folder)
    kept = Kept()
    with sentences(device.dest, "read"):
        card_list = take_inventory(device).card_list
        if card_list == CardList():
            raise no_list(device)
        for done, entry in enumerate(card_list.files):
            job.step(done, len(card_list.files), entry.target)
            if not device.is_file(entry.target) or is_as_listed(device, entry):
                continue
            data = device.read(entry.target, LONGEST_BYTES + 1)
            if len(data) > LONGEST_BYTES:
                kept.too_large.append(entry.target)
                continue
            _keep(data, entry.target, folder, kept)
    return kept


def _refuse(device: Device, folder: Path) -> None:
    shown = visible(str(folder))
    if not folder.is_dir():
        raise CardTrouble(f"there is no folder {shown}: make it, or name another one")
    card, real = Path(os.path.realpath(device.dest)), Path(os.path.realpath(folder))
    if real == card or card in real.parents:
        raise CardTrouble(f"{shown} is on the card itself: name a folder of the computer")


def _keep(data: bytes, target: str, folder: Path, kept: Kept) -> None:
    digest = hashlib.sha256(data).digest()
    for place in _places(target, folder):
        if place.is_file() and hashlib.sha256(place.read_bytes()).digest() == digest:
            kept.there.append((target, place))
            return
        if os.path.lexists(place):
            continue
        try:
            with suppress(FileExistsError):
                write_new(place, data)
                kept.copied.append((target, place))
                return
        except OSError as error:
            raise CardTrouble(
                f"cannot write to {visible(str(place))}: {error.strerror or error}"
            ) from error


def _places(target: str, folder: Path) -> Iterator[Path]:
    """`NAME changed.d64`, `NAME changed 2.d64` ..."""
    stem, dot, ending = target.rpartition("/")[2].rpartition(".")
    for number in count(1):
        yield folder / f"{stem}{MARK}{'' if number == 1 else f' {number}'}{dot}{ending}"
