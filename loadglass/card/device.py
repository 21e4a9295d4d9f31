"""The card's file system: every call that touches the card goes through one small class.

Names are paths from the card's own folder, with `/`. Links are never followed. Nothing here
decides what may be overwritten; `rename` refuses to, `replace` does it.
"""

from __future__ import annotations

import errno
import hashlib
import os
import stat
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import NamedTuple

from formats.errors import LoadglassError
from formats.visible import visible
from loadglass.whole_files import CANNOT_BE_DONE, rename_to_new

CHUNK_BYTES = 1 << 18
EVEN_NS = 2_000_000_000
"""FAT keeps the time of a file in steps of two seconds."""
DEFAULT_CLUSTER_BYTES = 32 * 1024
"""Where the system does not say: the largest that FAT32 usually has."""
_BINARY = getattr(os, "O_BINARY", 0)
_NO_LINK = getattr(os, "O_NOFOLLOW", 0)
_NO_WAIT = getattr(os, "O_NONBLOCK", 0)


class CardTrouble(LoadglassError):
    """Something with the card; the sentence says what, and what is on it now."""


class CardInUse(CardTrouble):
    """Another loadglass is filling the card."""


class Room(NamedTuple):
    free_bytes: int | None
    """None where the file system does not say."""
    cluster_bytes: int


class Digest(NamedTuple):
    sha256: str
    bytes: int


@dataclass(frozen=True, slots=True)
class Item:
    """One name in a folder of the card."""

    name: str
    is_folder: bool
    is_file: bool
    """A regular one; links and devices are neither."""


class Device:
    """A folder that stands for a card: usually where the card is mounted. Raises OSError."""

    def __init__(self, dest: str) -> None:
        self.dest = dest
        self._root = os.path.abspath(dest)
        self._identity = self._identify()

    # -- looking

    def still_there(self) -> None:
        """Raise FileNotFoundError if the folder is no longer the one that it was."""
        if self._identify() != self._identity:
            raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), self.dest)

    def is_same_device_as(self, path: str) -> bool:
        with suppress(OSError):
            return os.stat(path).st_dev == self._identity[0]
        return False

    def path(self, name: str) -> str:
        """Where a name lies for the operating system."""
        return os.path.join(self._root, *name.split("/")) if name else self._root

    def status(self, name: str) -> os.stat_result | None:
        """Of the name itself, even if it is a link; None if there is no such name."""
        try:
            return os.lstat(self.path(name))
        except (FileNotFoundError, NotADirectoryError):
            return None

    def is_file(self, name: str) -> bool:
        """Whether there is a regular file, and no link on the way to it."""
        status = self.status(name)
        return status is not None and stat.S_ISREG(status.st_mode) and self._is_inside(name)

    def names(self, folder: str) -> list[Item]:
        """What is in a folder, by name."""
        with os.scandir(self.path(folder)) as scan:
            items = [
                Item(
                    each.name,
                    each.is_dir(follow_symlinks=False),
                    each.is_file(follow_symlinks=False),
                )
                for each in scan
            ]
        return sorted(items, key=lambda item: item.name)

    def digest(self, name: str) -> Digest:
        """SHA-256 and length of a regular file, from the card itself as far as possible."""
        hashed, size = hashlib.sha256(), 0
        with self._reading(name) as descriptor:
            while data := os.read(descriptor, CHUNK_BYTES):
                hashed.update(data)
                size += len(data)
        return Digest(hashed.hexdigest(), size)

    def read(self, name: str, limit: int) -> bytes:
        """The bytes of a regular file, at most `limit`."""
        data = b""
        with self._reading(name) as descriptor:
            while len(data) < limit and (more := os.read(descriptor, limit - len(data))):
                data += more
        return data

    def room(self) -> Room:
        if hasattr(os, "statvfs"):
            found = os.statvfs(self._root)
            if not found.f_blocks or not found.f_frsize:
                return Room(None, DEFAULT_CLUSTER_BYTES)
            return Room(found.f_bavail * found.f_frsize, found.f_frsize)
        import shutil  # only where there is no statvfs

        return Room(shutil.disk_usage(self._root).free, DEFAULT_CLUSTER_BYTES)

    # -- writing: each of these is one call

    def make_folder(self, name: str) -> None:
        os.mkdir(self._checked(name))

    def create(self, name: str) -> int:
        """A descriptor of a new, empty file. Raises FileExistsError."""
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | _BINARY
        return os.open(self._checked(name), flags, 0o666)

    def write(self, descriptor: int, data: bytes) -> None:
        view = memoryview(data)
        while view:
            view = view[os.write(descriptor, view) :]

    def flush(self, descriptor: int) -> None:
        """Wait until what was written is on the card."""
        os.fsync(descriptor)

    def close(self, descriptor: int) -> None:
        os.close(descriptor)

    def date(self, name: str) -> None:
        """Give a file the present time as every file system can keep it, where that can be done."""
        now_ns = time.time_ns() // EVEN_NS * EVEN_NS
        with suppress(OSError):  # the one it has does as well
            os.utime(self._checked(name), ns=(now_ns, now_ns))

    def rename(self, old: str, new: str) -> None:
        """Give a file another name. Raises FileExistsError, and never overwrites."""
        rename_to_new(self._checked(old), self._checked(new))

    def replace(self, old: str, new: str) -> None:
        """Give a file the name of another one, which is gone at the same moment."""
        os.replace(self._checked(old), self._checked(new))

    def remove(self, name: str) -> None:
        os.unlink(self._checked(name))

    def remove_folder(self, name: str) -> None:
        """Only an empty one."""
        os.rmdir(self._checked(name))

    def flush_folder(self, name: str) -> None:
        """Wait until the names in a folder are on the card; where systems can do that."""
        self._flush_through(name, os.fsync)

    def flush_all(self) -> None:
        """Wait until everything is on the card; where systems can do that."""
        self._flush_through("", _flush_file_system)
        self.still_there()

    # -- one at a time

    @contextmanager
    def locked(self, name: str) -> Iterator[None]:
        """Hold the lock of a file of ours, made if need be. Raises CardInUse.

        The lock ends with the process, whatever ends it; the file stays. Where a file system
        has no locks there is none.
        """
        flags = os.O_RDWR | os.O_CREAT | _BINARY | _NO_LINK
        descriptor = os.open(self._checked(name), flags, 0o666)
        try:
            _lock(descriptor)
            yield
        finally:
            os.close(descriptor)

    # -- within

    def _identify(self) -> tuple[int, int]:
        status = os.stat(self._root)
        return status.st_dev, status.st_ino

    def _is_inside(self, name: str) -> bool:
        """Whether every folder on the way is a folder of the card and no link."""
        parts = name.split("/")[:-1]
        above = ("/".join(parts[: depth + 1]) for depth in range(len(parts)))
        return all(
            (status := self.status(folder)) is not None and stat.S_ISDIR(status.st_mode)
            for folder in above
        )

    def _checked(self, name: str) -> str:
        """The path, if the card is still there and no link leads off it."""
        self.still_there()
        if not self._is_inside(name):
            raise OSError(errno.ENOTDIR, "a folder on the way is missing or a link", name)
        return self.path(name)

    def _flush_through(self, folder: str, flush: Callable[[int], None]) -> None:
        if os.name == "nt":  # folders cannot be opened there
            return
        descriptor = os.open(self._checked(folder), os.O_RDONLY)
        try:
            flush(descriptor)
        except OSError as error:
            if error.errno not in CANNOT_BE_DONE:
                raise
        finally:
            os.close(descriptor)

    @contextmanager
    def _reading(self, name: str) -> Iterator[int]:
        flags = os.O_RDONLY | _BINARY | _NO_LINK | _NO_WAIT
        descriptor = os.open(self._checked(name), flags)
        try:
            if not stat.S_ISREG(os.fstat(descriptor).st_mode):
                raise OSError(errno.EINVAL, "is no regular file", name)
            if hasattr(os, "posix_fadvise"):
                with suppress(OSError):  # forget what is only in memory
                    os.posix_fadvise(descriptor, 0, 0, os.POSIX_FADV_DONTNEED)
            yield descriptor
        finally:
            os.close(descriptor)


_REASONS = {
    errno.ENOSPC: "it is full: take something off it, or pick less, and fill again",
    errno.EDQUOT: "it is full: take something off it, or pick less, and fill again",
    errno.EROFS: (
        "it cannot be written to (or not any more): check its lock switch, or whether the system "
        "mounted it read-only after an error"
    ),
    errno.EACCES: "you may not write to it: check the rights, or how it is mounted",
    errno.EPERM: "you may not write to it: check the rights, or how it is mounted",
    errno.ENOENT: "it, or a folder on it, is gone: put it back and fill again",
    errno.ENOTDIR: "a folder on it is gone, is a link or has become a file: look at it first",
    errno.ENODEV: "it is gone: put it back and fill again",
    errno.ENXIO: "it is gone: put it back and fill again",
    errno.EIO: "it does not answer, or has a bad spot: check its contacts, or use another one",
}


@contextmanager
def sentences(dest: str, doing: str) -> Iterator[None]:
    """Turn what the operating system says about the card into one sentence."""
    try:
        yield
    except OSError as error:
        reason = _REASONS.get(error.errno or 0, visible(error.strerror or str(error)))
        raise CardTrouble(f"cannot {doing} the card {visible(dest)}: {reason}") from error


def _flush_file_system(descriptor: int) -> None:
    """Flush the file system that a folder is on, or everything where only that can be done."""
    import ctypes  # only for filling

    try:
        flush = ctypes.CDLL(None, use_errno=True).syncfs
    except (AttributeError, OSError, TypeError):
        os.sync()
        return
    if flush(descriptor) != 0:
        number = ctypes.get_errno()
        raise OSError(number, os.strerror(number))


def _lock(descriptor: int) -> None:
    try:
        if os.name == "nt":
            import msvcrt

            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]
        else:
            import fcntl

            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        if error.errno in (errno.EWOULDBLOCK, errno.EAGAIN, errno.EACCES, errno.EDEADLK):
            raise CardInUse(
                "another loadglass is filling this card now: wait until it has finished"
            ) from error
