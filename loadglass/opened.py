"""An image opened, walked and judged: what commands, screens and the survey start from."""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass
from functools import cached_property

from formats.audit import Audit, audit
from formats.chains import read_bytes
from formats.errors import NotReadable
from formats.image import DiskImage
from formats.visible import visible
from loadglass.sources import Source, open_image, source_of


@dataclass(frozen=True)
class Opened:
    source: Source
    image: DiskImage
    audit: Audit

    @property
    def path(self) -> str:
        """The path as given; may hold any bytes a file name can."""
        return self.source.path

    @property
    def file_name(self) -> str:
        """The last part of the path, harmless for a terminal."""
        return visible(os.path.basename(self.source.member or self.source.file))

    @cached_property
    def sha256(self) -> str:
        """Of the sectors alone: the same content with and without error bytes is the same."""
        return sector_hash(self.image)

    def file_bytes(self, slot: int) -> bytes:
        """The bytes of a file, a program's load address first. Raises NotReadable."""
        file = self.audit.by_slot[slot]
        if not file.whole:
            raise NotReadable(
                f'"{file.entry.text}" on {visible(self.path)} cannot be read whole: '
                "see its findings"
            )
        return read_bytes(self.image, file.chain)


def sector_hash(image: DiskImage) -> str:
    """SHA-256 of an image's sectors, in hexadecimal: who an image is, wherever it lies."""
    return hashlib.sha256(image.sectors).hexdigest()


def open_and_audit(path: str | os.PathLike[str] | Source) -> Opened:
    """Open an image and audit it. Raises CannotRead, NotAnImage."""
    source = path if isinstance(path, Source) else source_of(path)
    image = open_image(source)
    return Opened(source, image, audit(image))
