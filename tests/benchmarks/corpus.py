"""Corpora that the benchmarks make for themselves: images, stand-ins for them, index rows."""

from __future__ import annotations

import hashlib
import os
import random
from collections.abc import Iterator, Sequence
from itertools import count, islice
from pathlib import Path

from formats.compose import NewFile, compose
from formats.geometry import BLOCK_BYTES, TRACKS_35
from formats.image import DiskImage
from loadglass.progress import Job
from loadglass.shelf.changes import ToDo
from loadglass.shelf.clocks import bring_up_to_date, valid_ids
from loadglass.shelf.database import writing
from loadglass.shelf.index import Index
from loadglass.shelf.reading import read_records
from loadglass.shelf.record import Item, Record, Texts
from loadglass.shelf.store import Store
from loadglass.sources import Reader, Source
from loadglass.timing.rig import Rig

_WORDS = """
ANKER BOJE BUG DEICH DOCK EBBE FEUER FLUT HAFEN HECK KAI KIEL KRAN LEE LICHT LOTSE LUV MAST
MOLE NEBEL PEGEL REEDE RUDER SEGEL STURM TAU TIDE UFER WATT WERFT
"""
WORDS = _WORDS.split()
BASES = 200
IMAGES_IN_FOLDER = 250
ROWS_IN_TRANSACTION = 2_000
HEADER_TITLE = TRACKS_35.header_block * BLOCK_BYTES + 0x90


def names(seed: int) -> Iterator[bytes]:
    """Endless names of two words and a number, 16 characters at the most."""
    chance = random.Random(seed)
    for number in count(1):
        yield f"{chance.choice(WORDS)} {chance.choice(WORDS)} {number}"[:16].encode()


def base_images(number: int = BASES) -> list[bytes]:
    """35-track images of 1 to 25 files that fill a third of the disk to all of it."""
    chance = random.Random(1)
    title = names(2)
    images = []
    for _ in range(number):
        left = chance.randint(220, 664)
        files = []
        for name in islice(title, chance.randint(1, 25)):
            blocks = min(chance.choice((1, 3, 9, 20, 35, 50, 80)), left)
            if not blocks:
                break
            left -= blocks
            size = blocks * 254 - chance.randint(2, 200)
            files.append(NewFile(name, b"\x01\x08" + chance.randbytes(size)))
        images.append(compose(next(title), files))
    return images


def distinct_images(number: int) -> Iterator[bytes]:
    """Images of which no two have title, file names or any block of a file in common."""
    bases = []
    for base in base_images(min(number, BASES)):
        image = DiskImage.from_bytes(base)
        used = [block for block in range(TRACKS_35.blocks) if any(image.block(block)[2:])]
        bases.append((base, [block for block in used if block // 19 and _is_file(block)]))
    titles = names(3)
    for i in range(number):
        base, blocks = bases[i % len(bases)]
        image = bytearray(base)
        image[HEADER_TITLE : HEADER_TITLE + 16] = next(titles).ljust(16, b"\xa0")
        mark = i.to_bytes(8, "big")
        for block in blocks:
            at = block * BLOCK_BYTES + 8
            image[at : at + 8] = mark
        yield bytes(image)


def _is_file(block: int) -> bool:
    return TRACKS_35.place(block).track not in TRACKS_35.reserved_tracks


def write_images(folder: Path, number: int) -> None:
    """Distinct images in folders of a few hundred."""
    for i, image in enumerate(distinct_images(number)):
        below = folder / f"box {i // IMAGES_IN_FOLDER:03}"
        below.mkdir(parents=True, exist_ok=True)
        (below / f"disk {i:05}.d64").write_bytes(image)


def write_stand_ins(folder: Path, number: int) -> None:
    """Files of an image's size with nothing in them, which take no room on the disk."""
    for i in range(number):
        below = folder / f"box {i // IMAGES_IN_FOLDER:03}"
        below.mkdir(parents=True, exist_ok=True)
        with (below / f"disk {i:05}.d64").open("wb") as file:
            file.truncate(TRACKS_35.size_bytes)


def fill_index(index: Index, rigs: Sequence[Rig], number: int) -> None:
    """Rows as of `number` images of which none is on the disk: those of a few, many times."""
    records = _records(rigs)
    titles = names(4)
    with index.connected() as connection:
        bring_up_to_date(connection, rigs, Job())
        ids = valid_ids(connection, rigs)
        for first in range(0, number, ROWS_IN_TRANSACTION):
            with writing(connection):
                store = Store(connection, ids)
                for i in range(first, min(first + ROWS_IN_TRANSACTION, number)):
                    title = next(titles).decode()
                    folder = f"/club/box {i // IMAGES_IN_FOLDER:03}".encode()
                    name = f"disk {i:06}.d64"
                    to_do = ToDo(0, folder, name.encode(), b"", 0, 0, False, True)
                    store.image(to_do, _varied(records[i % len(records)], i, title, name), rigs)
                store.flush()


def _records(rigs: Sequence[Rig]) -> list[Record]:
    """Records of a few real images."""
    folder = Path(os.environ.get("TMPDIR", "/tmp")) / f"loadglass-bases-{os.getpid()}"
    folder.mkdir()
    items = []
    try:
        for i, image in enumerate(base_images()):
            path = folder / f"{i}.d64"
            path.write_bytes(image)
            items.append(Item(i, Source(str(path), str(path)), 0, 0))
        with Reader() as reader:
            return read_records(items, rigs, reader)
    finally:
        for path in folder.iterdir():
            path.unlink()
        folder.rmdir()


def _varied(record: Record, i: int, title: str, name: str) -> Record:
    columns = record.columns._replace(
        file_name=name,
        title=title,
        name_key=name,
        title_key=title.lower(),
        sha256=hashlib.sha256(b"%d" % i).digest(),
    )
    texts = Texts(title.lower(), record.texts.names, name)
    return Record(columns, texts, record.entries, record.places, record.times)
