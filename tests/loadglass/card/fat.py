"""A real FAT32 file system in a file, by a general-purpose library."""

from __future__ import annotations

import hashlib
import os
import stat
import warnings
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from loadglass.card.device import Device, Digest, Item, Room

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # of the library's own old dependencies
    from pyfatfs.PyFat import PyFat
    from pyfatfs.PyFatFS import PyFatFS

SIZE_BYTES = 34 << 20
"""Enough clusters to make it FAT32; the file is sparse."""


@contextmanager
def fat_card(path: Path) -> Iterator[Any]:
    """A freshly formatted card, mounted for writing."""
    with path.open("wb") as file:
        file.truncate(SIZE_BYTES)
    formatter = PyFat()
    formatter.mkfs(str(path), fat_type=PyFat.FAT_TYPE_FAT32, size=SIZE_BYTES, label="GRAUHAVEN")
    formatter.close()
    with mounted(path) as card:
        yield card


@contextmanager
def mounted(path: Path) -> Iterator[Any]:
    card = PyFatFS(str(path))
    try:
        yield card
    finally:
        card.close()


def write_tree(path: Path, files: Iterable[tuple[str, bytes]]) -> None:
    """Write files in this order; a name that is there already, in FAT's eyes, is an error."""
    made = {""}
    with fat_card(path) as card:
        for name, data in files:
            folder = name.rpartition("/")[0]
            if folder not in made:
                card.makedirs(folder, recreate=True)
                made.add(folder)
            with card.openbin(name, "x") as file:
                file.write(data)


def read_tree(path: Path) -> dict[str, bytes]:
    """Every file of the card, by its path as FAT gives it back."""
    with mounted(path) as card:
        return {name.lstrip("/"): card.readbytes(name) for name in card.walk.files("/")}


class FatDevice(Device):
    """A card that is a FAT32 file system, reached through the library instead of a mount."""

    def __init__(self, dest: str, card: Any) -> None:
        super().__init__(dest)
        self.card = card
        self._open: dict[int, tuple[str, bytearray]] = {}
        """Written anew as a whole: the library cannot write into a file that is there."""

    def status(self, name: str) -> os.stat_result | None:
        if not self.card.exists(name):
            return None
        mode = stat.S_IFDIR if self.card.isdir(name) else stat.S_IFREG
        return os.stat_result((mode, *(0,) * 9))

    def names(self, folder: str) -> list[Item]:
        return sorted(
            (
                Item(
                    name, self.card.isdir(f"{folder}/{name}"), self.card.isfile(f"{folder}/{name}")
                )
                for name in self.card.listdir(folder or "/")
            ),
            key=lambda item: item.name,
        )

    def digest(self, name: str) -> Digest:
        data = self.card.readbytes(name)
        return Digest(hashlib.sha256(data).hexdigest(), len(data))

    def read(self, name: str, limit: int) -> bytes:
        data: bytes = self.card.readbytes(name)
        return data[:limit]

    def room(self) -> Room:
        return Room(SIZE_BYTES, 512)

    def make_folder(self, name: str) -> None:
        self.card.makedir(name)

    def create(self, name: str) -> int:
        if self.card.exists(name):
            raise FileExistsError(name)
        self.card.touch(name)
        number = 1000 + len(self._open)
        self._open[number] = (name, bytearray())
        return number

    def write(self, descriptor: int, data: bytes) -> None:
        self._open[descriptor][1].extend(data)

    def flush(self, descriptor: int) -> None:
        name, data = self._open[descriptor]
        self.card.remove(name)
        self.card.writebytes(name, bytes(data))

    def close(self, descriptor: int) -> None:
        self.flush(descriptor)

    def rename(self, old: str, new: str) -> None:
        if self.card.exists(new):
            raise FileExistsError(new)
        self.card.move(old, new)

    def replace(self, old: str, new: str) -> None:
        if self.card.exists(new):
            self.card.remove(new)
        self.card.move(old, new)

    def remove(self, name: str) -> None:
        self.card.remove(name)

    def remove_folder(self, name: str) -> None:
        self.card.removedir(name)

    def flush_folder(self, name: str) -> None: ...

    def flush_all(self) -> None: ...

    @contextmanager
    def locked(self, name: str) -> Iterator[None]:
        self.card.touch(name)
        yield
