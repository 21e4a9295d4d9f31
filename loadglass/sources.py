"""Where images come from: plain files, gzip, members of zip archives; walking folders.

An image inside an archive is addressed like a path: `archive.zip/inner.d64`. Everything
is opened for reading only. Nothing is unpacked before its size is known to be one that an
image can have.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from formats.errors import LoadglassError
from formats.image import LONGEST_BYTES, DiskImage
from formats.visible import visible

IMAGE_SUFFIXES = (".d64", ".d71", ".d81", ".d40", ".d42")
"""Plain sector images by their usual endings, which say the layout only roughly."""
GZIP_SUFFIX = ".gz"
ZIP_SUFFIX = ".zip"
MEMBERS_LIMIT = 10_000
"""Members of one archive that are looked at."""
PACKED_LIMIT_BYTES = 2 * LONGEST_BYTES
"""A gzip file larger than this holds no single image."""


class CannotRead(LoadglassError):
    """A path that cannot be opened as an image; the sentence says why."""


@dataclass(frozen=True, slots=True)
class Source:
    """One image file, or one member of an archive."""

    path: str
    """As shown and typed: the file's path, and `/member` behind an archive's."""
    file: str
    """The file on disk."""
    member: str | None = None
    """Name inside a zip archive."""


@dataclass
class Walk:
    """What walking folders found besides images."""

    passed_over: int = 0
    """Files that are no images by their names."""
    problems: list[str] = field(default_factory=list)
    """One sentence for each folder or archive that could not be read."""


def source_of(path: str | os.PathLike[str]) -> Source:
    """The source for a path as a person types it. Raises CannotRead."""
    text = os.fspath(path)
    if os.path.lexists(text):
        if os.path.isdir(text):
            raise CannotRead(f"{visible(text)} is a folder: name an image in it")
        if _suffix(text) == ZIP_SUFFIX:
            return _only_member(text)
        return Source(text, text)
    archive, member = _split_archive(text)
    if archive is None:
        raise CannotRead(f"there is no file {visible(text)}: check the path")
    return Source(text, archive, member)


def read_source(source: Source) -> bytes:
    """The bytes of an image, unpacked. Raises CannotRead."""
    try:
        if source.member is not None:
            return _read_member(source)
        data = _read_file(source.file)
    except OSError as error:
        raise CannotRead(
            f"cannot read {visible(source.path)}: {error.strerror or error}"
        ) from error
    return _gunzip(source.path, data) if data[:2] == b"\x1f\x8b" else data


def open_image(path: str | os.PathLike[str] | Source) -> DiskImage:
    """Read and place an image. Raises CannotRead, or NotAnImage with the path in it."""
    source = path if isinstance(path, Source) else source_of(path)
    data = read_source(source)
    try:
        return DiskImage.from_bytes(data)
    except LoadglassError as error:
        raise type(error)(f"{visible(source.path)}: {error}") from error


def walk(paths: list[str], found: Walk) -> Iterator[Source]:
    """Every image below the paths, in the order of their names; notes the rest in `found`.

    Links in folders are not followed, so nothing outside is read and no walk runs in a
    circle. Files named on the call are taken whatever their names; those found in folders
    by their endings.
    """
    for path in paths:
        if os.path.isdir(path):
            yield from _walk_folder(path, found)
        elif _suffix(path) == ZIP_SUFFIX and os.path.exists(path):
            yield from _members(path, found)
        else:
            try:
                yield source_of(path)
            except CannotRead as error:
                found.problems.append(str(error))


def looks_like_image(name: str) -> bool:
    """Whether a file name has the ending of an image, packed or not."""
    suffix = _suffix(name)
    if suffix == GZIP_SUFFIX:
        suffix = _suffix(name[: -len(GZIP_SUFFIX)])
    return suffix in IMAGE_SUFFIXES


def _suffix(name: str) -> str:
    return os.path.splitext(name)[1].lower()


def _walk_folder(folder: str, found: Walk) -> Iterator[Source]:
    waiting = [iter(_listing(folder, found))]
    while waiting:
        for entry in waiting[-1]:
            if entry.is_dir(follow_symlinks=False):
                waiting.append(iter(_listing(entry.path, found)))
                break
            if not entry.is_file(follow_symlinks=False):
                found.passed_over += 1
            elif _suffix(entry.name) == ZIP_SUFFIX:
                yield from _members(entry.path, found)
            elif looks_like_image(entry.name):
                yield Source(entry.path, entry.path)
            else:
                found.passed_over += 1
        else:
            waiting.pop()


def _listing(folder: str, found: Walk) -> list[os.DirEntry[str]]:
    try:
        with os.scandir(folder) as entries:
            return sorted(entries, key=lambda entry: entry.name)
    except OSError as error:
        found.problems.append(f"cannot read the folder {visible(folder)}: {error.strerror}")
        return []


def _read_file(path: str) -> bytes:
    """At most what an image can have, of a regular file only; a pipe is never waited for."""
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    descriptor = os.open(path, flags)
    with open(descriptor, "rb", buffering=0) as file:
        status = os.fstat(descriptor)
        if not stat.S_ISREG(status.st_mode):
            raise CannotRead(f"{visible(path)} is no regular file: name a disk image")
        if status.st_size > PACKED_LIMIT_BYTES:
            raise CannotRead(
                f"{visible(path)} has {status.st_size:,} bytes: "
                "more than any disk image, packed or not"
            )
        return file.read(PACKED_LIMIT_BYTES)


def _gunzip(path: str, data: bytes) -> bytes:
    import zlib  # only for packed images

    unpacker = zlib.decompressobj(wbits=31)
    try:
        unpacked = unpacker.decompress(data, LONGEST_BYTES + 1)
    except zlib.error as error:
        raise CannotRead(f"{visible(path)} is a broken gzip file: get it anew") from error
    if len(unpacked) > LONGEST_BYTES:
        raise CannotRead(f"{visible(path)} unpacks to more than any disk image: left alone")
    if not unpacker.eof:
        raise CannotRead(f"{visible(path)} is a gzip file that stops short: get it anew")
    return unpacked


def _split_archive(text: str) -> tuple[str | None, str]:
    """The archive and the member of `some/archive.zip/inner.d64`."""
    path = Path(text)
    for parent in path.parents:
        if _suffix(parent.name) == ZIP_SUFFIX and parent.is_file():
            return str(parent), path.relative_to(parent).as_posix()
    return None, ""


def _members(archive: str, found: Walk) -> Iterator[Source]:
    import zipfile  # only for packed images

    try:
        with zipfile.ZipFile(archive) as opened:
            names = [info.filename for info in opened.infolist() if not info.is_dir()]
    except (OSError, zipfile.BadZipFile, NotImplementedError, ValueError) as error:
        found.problems.append(f"cannot read the archive {visible(archive)}: {visible(str(error))}")
        return
    if len(names) > MEMBERS_LIMIT:
        found.problems.append(
            f"{visible(archive)} has {len(names):,} members: "
            f"only the first {MEMBERS_LIMIT:,} are looked at"
        )
    for name in names[:MEMBERS_LIMIT]:
        if looks_like_image(name):
            yield Source(f"{archive}/{name}", archive, name)
        else:
            found.passed_over += 1


def _only_member(archive: str) -> Source:
    found = Walk()
    members = list(_members(archive, found))
    if found.problems and not members:
        raise CannotRead(found.problems[0])
    if len(members) != 1:
        first = f", for example {visible(members[0].path)}" if members else ""
        raise CannotRead(f"{visible(archive)} holds {len(members)} images: name one of them{first}")
    return members[0]


def _read_member(source: Source) -> bytes:
    import zipfile  # only for packed images
    import zlib

    name = source.member or ""
    try:
        with zipfile.ZipFile(source.file) as archive:
            info = archive.getinfo(name)
            if info.file_size > LONGEST_BYTES:
                raise CannotRead(
                    f"{visible(source.path)} would unpack to {info.file_size:,} bytes: "
                    "more than any disk image"
                )
            with archive.open(info) as member:
                data = member.read(LONGEST_BYTES + 1)
    except KeyError:
        raise CannotRead(
            f"the archive {visible(source.file)} has no member {visible(name)}: check the name"
        ) from None
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, zlib.error) as error:
        raise CannotRead(
            f"{visible(source.path)} is broken in its archive ({visible(str(error))}): get it anew"
        ) from error
    return _gunzip(source.path, data) if data[:2] == b"\x1f\x8b" else data
