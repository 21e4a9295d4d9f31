"""Where images come from: plain files, gzip, members of zip archives; walking folders.

An image inside an archive is addressed like a path: `archive.zip/inner.d64`. Everything
is opened for reading only. Nothing is unpacked before its size is known to be one that an
image can have.
"""

from __future__ import annotations

import errno
import os
import stat
from collections.abc import Iterator
from dataclasses import dataclass, field
from operator import attrgetter
from typing import TYPE_CHECKING, NamedTuple, Self

from formats.errors import LoadglassError
from formats.geometry import LONGEST_BYTES
from formats.visible import visible

if TYPE_CHECKING:  # to walk folders takes no parser of images
    import zipfile

    from formats.image import DiskImage

IMAGE_SUFFIXES = (".d64", ".d71", ".d81", ".d40", ".d42")
"""Plain sector images by their usual endings, which say the layout only roughly."""
GZIP_SUFFIX = ".gz"
GZIP_MARK = b"\x1f\x8b\x08"
"""What a gzip file begins with, the one method that there is included (RFC 1952)."""
ZIP_SUFFIX = ".zip"
NAME_ENDINGS = (*IMAGE_SUFFIXES, *(suffix + GZIP_SUFFIX for suffix in IMAGE_SUFFIXES))
MEMBERS_LIMIT = 10_000
"""Members of one archive that are looked at."""
PACKED_LIMIT_BYTES = 2 * LONGEST_BYTES
"""A gzip file larger than this holds no single image."""

_NAME = attrgetter("name")
LISTED_ENDINGS = (*NAME_ENDINGS, ZIP_SUFFIX)
"""What a walk through folders takes."""


class CannotRead(LoadglassError):
    """A path that cannot be opened as an image; the sentence says why."""


class CannotOpen(CannotRead):
    """It is not what the file holds: another time the same file may be read."""


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
    unread: list[str] = field(default_factory=list)
    """The folders among these: what lies below them is not known."""


class Listing(NamedTuple):
    """Those files of one folder that may hold images, in no order."""

    folder: str
    files: list[os.DirEntry[str]]


class FileBytes(NamedTuple):
    """What a file, or a member of an archive, held at one moment."""

    data: bytes
    """Unpacked."""
    size_bytes: int
    """Of the file on disk, as mtime_ns."""
    mtime_ns: int


def source_of(path: str | os.PathLike[str]) -> Source:
    """The source for a path as a person types it. Raises CannotRead."""
    text = os.fspath(path)
    if os.path.lexists(text):
        if os.path.isdir(text):
            raise CannotRead(f"{visible(text)} is a folder: name an image in it")
        if is_archive(text):
            return _only_member(text)
        return Source(text, text)
    archive, member = _split_archive(text)
    if archive is None:
        raise CannotRead(f"there is no file {visible(text)}: check the path")
    return Source(text, archive, member)


class Reader:
    """Reads sources, one after another; to be used by one thread.

    Keeps the last archive open: the members of an archive usually come in a row.
    """

    def __init__(self) -> None:
        self._archive: zipfile.ZipFile | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        if self._archive is not None:
            self._archive.close()
            self._archive = None

    def read(self, source: Source) -> FileBytes:
        """Raises CannotRead."""
        try:
            found = _read_file(source) if source.member is None else self._read_member(source)
        except OSError as error:
            raise CannotOpen(f"cannot read {visible(source.path)}: {_reason(error)}") from error
        if found.data.startswith(GZIP_MARK):
            return found._replace(data=_gunzip(source.path, found.data))
        return found

    def _read_member(self, source: Source) -> FileBytes:
        name = source.member or ""
        try:
            archive = self._opened(source.file)
            info = archive.getinfo(name)
            if info.file_size > LONGEST_BYTES:
                raise CannotRead(
                    f"{visible(source.path)} would unpack to {info.file_size:,} bytes: "
                    "more than any disk image"
                )
            with archive.open(info) as member:
                data = member.read(LONGEST_BYTES + 1)
            assert archive.fp is not None
            status = os.fstat(archive.fp.fileno())
        except KeyError:
            raise CannotRead(
                f"the archive {visible(source.file)} has no member {visible(name)}: check the name"
            ) from None
        except Exception as error:  # see _open_archive
            if isinstance(error, CannotRead) or _is_of_the_system(error):
                raise
            raise CannotRead(
                f"{visible(source.path)} is broken in its archive ({_reason(error)}): get it anew"
            ) from error
        return FileBytes(data, status.st_size, status.st_mtime_ns)

    def _opened(self, path: str) -> zipfile.ZipFile:
        if self._archive is None or self._archive.filename != path:
            self.close()
            self._archive = _open_archive(path)
        return self._archive


def read_source(source: Source) -> bytes:
    """The bytes of an image, unpacked. Raises CannotRead."""
    with Reader() as reader:
        return reader.read(source).data


def open_image(path: str | os.PathLike[str] | Source) -> DiskImage:
    """Read and place an image. Raises CannotRead, or NotAnImage with the path in it."""
    source = path if isinstance(path, Source) else source_of(path)
    return place_image(source, read_source(source))


def place_image(source: Source, data: bytes) -> DiskImage:
    """Place the bytes of an image. Raises NotAnImage with the path in it."""
    from formats.image import DiskImage

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
            for listing in list_below(path, found):
                for file in sorted(listing.files, key=_NAME):
                    if is_archive(file.name):
                        yield from members(file.path, found)
                    else:
                        yield Source(file.path, file.path)
        elif is_archive(path) and os.path.exists(path):
            yield from members(path, found)
        else:
            try:
                yield source_of(path)
            except CannotRead as error:
                found.problems.append(str(error))


def list_below(folder: str, found: Walk) -> Iterator[Listing]:
    """The folder, then each one below it, by name: the files that may hold images.

    Links are not followed. What is passed over, and what cannot be read, is noted in `found`.
    """
    waiting = [folder]
    while waiting:
        path = waiting.pop()
        try:
            with os.scandir(path) as scan:
                entries = list(scan)
        except OSError as error:
            found.problems.append(f"cannot read the folder {visible(path)}: {_reason(error)}")
            found.unread.append(path)
            continue
        files = []
        folders = []
        for entry in entries:
            if entry.is_dir(follow_symlinks=False):
                folders.append(entry)
            elif not entry.name.lower().endswith(LISTED_ENDINGS):
                found.passed_over += 1
            elif entry.is_file(follow_symlinks=False):
                files.append(entry)
            else:
                found.passed_over += 1
                if not entry.is_symlink():
                    found.problems.append(
                        f"{visible(entry.path)} is named like an image, but is no regular file: "
                        "passed over"
                    )
        yield Listing(path, files)
        folders.sort(key=_NAME, reverse=True)
        waiting += [entry.path for entry in folders]


def members(archive: str, found: Walk) -> Iterator[Source]:
    """The images in a zip archive, in its own order; notes the rest in `found`."""
    try:
        with _open_archive(archive) as opened:
            names = [info.filename for info in opened.infolist() if not info.is_dir()]
    except Exception as error:  # see _open_archive
        found.problems.append(f"cannot read the archive {visible(archive)}: {_reason(error)}")
        return
    if len(names) > MEMBERS_LIMIT:
        found.problems.append(
            f"{visible(archive)} has {len(names):,} members: "
            f"only the first {MEMBERS_LIMIT:,} are looked at"
        )
    for name in names[:MEMBERS_LIMIT]:
        if looks_like_image(name):
            yield Source(f"{archive}/{name}", archive, name)
            continue
        found.passed_over += 1
        if is_archive(name):
            found.problems.append(
                f"{visible(archive)}/{visible(name)} is an archive inside an archive: "
                "unpack the outer one to reach what it holds"
            )


def looks_like_image(name: str) -> bool:
    """Whether a file name has the ending of an image, packed or not."""
    return name.lower().endswith(NAME_ENDINGS)


def is_archive(name: str) -> bool:
    """Whether a file name has the ending of a zip archive."""
    return name.lower().endswith(ZIP_SUFFIX)


def _read_file(source: Source) -> FileBytes:
    """At most what an image can have, of a regular file only; a pipe is never waited for."""
    shown = visible(source.path)
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    descriptor = os.open(source.file, flags)
    try:
        status = os.fstat(descriptor)
        size = status.st_size
        if not stat.S_ISREG(status.st_mode):
            raise CannotOpen(f"{shown} is no regular file: name a disk image")
        if size > PACKED_LIMIT_BYTES:
            raise CannotRead(f"{shown} has {size:,} bytes: more than any disk image, packed or not")
        data = os.read(descriptor, size + 1)
        while len(data) < size and (more := os.read(descriptor, size + 1 - len(data))):
            data += more
    finally:
        os.close(descriptor)
    if len(data) != size:
        raise CannotOpen(f"{shown} changed while it was read: try again when it is at rest")
    return FileBytes(data, size, status.st_mtime_ns)


def _open_archive(path: str) -> zipfile.ZipFile:
    """Of a regular file only: a pipe is never waited for.

    Over an archive that is broken, zipfile and its unpackers raise errors of a dozen kinds; what
    is done with one is to be held against any Exception.
    """
    import zipfile  # only for packed images

    if not stat.S_ISREG(os.stat(path).st_mode):
        raise OSError(errno.EINVAL, "it is no regular file")
    return zipfile.ZipFile(path)


def _is_of_the_system(error: Exception) -> bool:
    """Whether the operating system refused; an unpacker's OSError has no number."""
    return isinstance(error, OSError) and error.errno is not None


def _reason(error: Exception) -> str:
    return visible(getattr(error, "strerror", None) or str(error))


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
    """The archive and the member of `some/archive.zip/inner.d64`.

    The member as it is written: `./inner.d64` is the name of another one.
    """
    for at, character in enumerate(text[:-1]):
        if character in (os.sep, os.altsep) and is_archive(text[:at]) and os.path.isfile(text[:at]):
            return text[:at], text[at + 1 :].replace(os.sep, "/")
    return None, ""


def _only_member(archive: str) -> Source:
    found = Walk()
    inside = list(members(archive, found))
    if found.problems and not inside:
        raise CannotRead(found.problems[0])
    if len(inside) != 1:
        first = f", for example {visible(inside[0].path)}" if inside else ""
        raise CannotRead(f"{visible(archive)} holds {len(inside)} images: name one of them{first}")
    return inside[0]
