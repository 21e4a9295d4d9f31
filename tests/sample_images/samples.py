"""The sample images as the tests look at them: unpacked by the standard library, then audited."""

import gzip
import io
import zipfile
from functools import cache
from pathlib import Path

from formats.audit import Audit, FileAudit, audit
from formats.chains import read_bytes
from formats.image import DiskImage
from formats.programs import basic_listing, is_basic
from sample_images import folder
from sample_images.make import SAMPLES


def unpacked(path: Path) -> dict[str, bytes]:
    """The images in a file by name, those of a zip file by their members' names."""
    data = path.read_bytes()
    if path.suffix == ".zip":
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return {name: archive.read(name) for name in archive.namelist()}
    return {path.name: gzip.decompress(data) if path.suffix == ".gz" else data}


@cache
def images() -> dict[str, bytes]:
    return {name: data for file in SAMPLES for name, data in unpacked(folder() / file).items()}


@cache
def audited(image: str) -> Audit:
    return audit(DiskImage.from_bytes(images()[image]))


def file_of(image: str, name: str) -> FileAudit:
    return next(file for file in audited(image).files if file.entry.text == name)


def content(image: str, name: str) -> bytes:
    """A file's bytes, a program's load address first."""
    file = file_of(image, name)
    assert file.whole
    return read_bytes(audited(image).image, file.chain)


def basic_programs() -> list[tuple[str, str]]:
    """Image and name of every BASIC program that can be loaded, stubs of machine code too."""
    return [
        (image, file.entry.text)
        for image in images()
        for file in audited(image).files
        if file.loadable and is_basic(content(image, file.entry.text))
    ]


def listing(image: str, name: str) -> list[str]:
    return list(map(str, basic_listing(content(image, name))))
