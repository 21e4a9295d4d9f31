"""Reading images for the index: the survey's work on each of them.

Imports all that reads and clocks an image; who only asks the index does not need it.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator, Sequence

import numpy as np

from formats.audit import Audit, FileAudit, audit
from formats.errors import LoadglassError
from formats.files import Role
from formats.findings import AUDIT_VERSION, Verdict
from formats.geometry import DATA_BYTES
from formats.image import DiskImage
from formats.petscii import to_text
from formats.visible import visible
from loadglass.opened import sector_hash
from loadglass.shelf.names import read_name, stem
from loadglass.shelf.record import NEVER_NS, VERDICTS, ImageColumns, Item, Record, Row, Texts
from loadglass.shelf.words import words_of
from loadglass.sources import CannotOpen, Reader, Source, place_image
from loadglass.timing.estimate import seconds_of
from loadglass.timing.places import ImagePlaces
from loadglass.timing.rig import Rig

DIGEST_BYTES = 16


def read_records(items: Sequence[Item], rigs: Sequence[Rig], reader: Reader) -> list[Record]:
    """The records of images. Raises nothing: what cannot be read has a record that says why."""
    records: list[Record] = []
    to_clock: list[tuple[int, ImagePlaces]] = []
    for item in items:
        try:
            record, places = _read(reader, item.source)
            to_clock.append((len(records), places))
        except LoadglassError as error:
            lasting = not isinstance(error, CannotOpen)
            record = failed_record(item, str(error), lasting=lasting)
        except Exception as error:
            record = _fault(item, error)
        records.append(record)
    try:
        clocked = list(clock([places for _, places in to_clock], rigs))
    except Exception as error:  # of one of them: then each by itself
        if len(items) == 1:
            return [_fault(items[0], error)]
        return [record for item in items for record in read_records([item], rigs, reader)]
    for (at, places), times in zip(to_clock, clocked, strict=True):
        records[at].places = places.to_bytes()
        records[at].times = times
    return records


def _fault(item: Item, error: Exception) -> Record:
    """A fault of ours in one image must not stop a survey."""
    says = f"{visible(item.source.path)}: a fault of loadglass ({visible(repr(error))})"
    return failed_record(item, says, lasting=False)


def failed_record(item: Item, why: str, *, lasting: bool) -> Record:
    """The record of what is no image, or (not `lasting`) could not be read this time."""
    name = _name(item.source)
    columns = ImageColumns(
        size_bytes=item.size_bytes,
        mtime_ns=item.mtime_ns if lasting else NEVER_NS,
        audit_version=AUDIT_VERSION,
        file_name=visible(name),
        title="",
        verdict=VERDICTS.index(Verdict.UNREADABLE),
        why=why,
        name_key=read_name(stem(name)).key,
    )
    return Record(columns, Texts("", "", visible(name)), [])


def clock(images: Sequence[ImagePlaces], rigs: Sequence[Rig]) -> Iterator[list[Row]]:
    """Of each image and rig: seconds of start and all or NaN, and float32 of each file."""
    if not images or not rigs:
        yield from ([] for _ in images)
        return
    seconds = seconds_of(images, rigs)
    # SQLite keeps NaN as NULL: nothing to load, or a rig that does not mount the layout.
    starts, rows = seconds.start.tolist(), seconds.all.tolist()
    for start, row, files in zip(starts, rows, seconds.files, strict=True):
        each = np.ascontiguousarray(files.T, dtype="<f4")
        yield [(start[i], row[i], each[i].tobytes()) for i in range(len(rigs))]


def _read(reader: Reader, source: Source) -> tuple[Record, ImagePlaces]:
    found = reader.read(source)
    image = place_image(source, found.data)
    judged = audit(image)
    title = to_text(judged.directory.title) if judged.has_directory else ""
    name = _name(source)
    columns = ImageColumns(
        size_bytes=found.size_bytes,
        mtime_ns=found.mtime_ns,
        audit_version=AUDIT_VERSION,
        file_name=visible(name),
        title=title,
        verdict=VERDICTS.index(judged.verdict),
        why=judged.nothing_to_load,
        kind=image.kind,
        tracks=image.geometry.tracks,
        files=len(judged.files),
        programs=sum(file.loadable for file in judged.files),
        blocks=sum(file.walked_blocks for file in judged.files if file.role is Role.FILE),
        free=judged.block_map.blocks_free,
        findings="".join(f" {code} " for code in sorted({f.code for f in judged.findings})),
        sha256=bytes.fromhex(sector_hash(image)),
        name_key=read_name(stem(name)).key,
        title_key=read_name(title).key,
    )
    names = words_of(file.entry.name for file in judged.files)
    texts = Texts(words_of([judged.directory.title]), names, visible(name))
    return Record(columns, texts, list(_entries(judged))), ImagePlaces.of(judged)


def _entries(judged: Audit) -> Iterator[Row]:
    """Slot, name, kind, load address, whole, size and digest of what can be loaded."""
    files = [file for file in judged.files if file.role in (Role.FILE, Role.ALIAS)]
    order = [block for file in files for block in file.chain.blocks]
    data = memoryview(judged.image.array[order, 2:].tobytes())
    at = 0
    for file in files:
        size = file.size_bytes if file.whole else _own_bytes(file, judged.image)
        content = digest(data[at : at + size]) if size else None
        at += len(file.chain.blocks) * DATA_BYTES
        entry = file.entry
        yield (entry.slot, entry.name, entry.kind, file.load_address, file.whole, size, content)


def digest(data: bytes | memoryview) -> bytes:
    """Who a file is by its bytes."""
    return hashlib.sha256(data).digest()[:DIGEST_BYTES]


def _own_bytes(file: FileAudit, image: DiskImage) -> int:
    """Bytes of a damaged file that are surely its own: up to where another's chain joins it."""
    for found in file.findings:
        if found.code == "chain-shared" and found.place is not None:
            block = image.geometry.index(*found.place)
            if block in file.chain.blocks:
                return file.chain.blocks.index(block) * DATA_BYTES
    return file.size_bytes


def _name(source: Source) -> str:
    return os.path.basename(source.member or source.file)
