"""Files that come into being whole or not at all, and are on the disk before anything is said.

What is half written has a name of its own, `.loadglass-…`, which is all that a power cut leaves.
"""

from __future__ import annotations

import errno
import os
import secrets
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

CANNOT_BE_DONE = (errno.ENOSYS, errno.EINVAL, errno.ENOTSUP)
"""A file system does not know such a call; not a fault of what it is on."""
BESIDE = ".loadglass-"


def write_new(path: Path, data: bytes) -> None:
    """Write a file under a name that is free. Raises FileExistsError, OSError."""
    _write_beside(path, data, lambda beside: rename_to_new(str(beside), str(path)))


def write_over(path: Path, data: bytes) -> None:
    """Write a file in the place of what is there, with its rights. Raises OSError."""

    def replace(beside: Path) -> None:
        with suppress(FileNotFoundError):
            os.chmod(beside, path.stat().st_mode & 0o777)
        os.replace(beside, path)

    _write_beside(path, data, replace)


def _write_beside(path: Path, data: bytes, put: Callable[[Path], None]) -> None:
    beside = path.with_name(BESIDE + secrets.token_hex(8))
    try:
        with open(beside, "xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        put(beside)
        sync_folder(path.parent)
    finally:
        with suppress(OSError):
            os.unlink(beside)


def rename_to_new(old: str, new: str) -> None:
    """Rename to a name that is free. Raises FileExistsError, OSError."""
    if not _renamed_exclusively(old, new):
        if os.path.lexists(new):
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), new)
        os.rename(old, new)


def _renamed_exclusively(old: str, new: str) -> bool:
    """Rename in one step that fails if the new name is there; False: this system cannot."""
    import ctypes  # only for writing

    at_working_folder, no_replace = -100, 1  # from Linux's headers
    try:
        rename = ctypes.CDLL(None, use_errno=True).renameat2
    except (AttributeError, OSError, TypeError):
        return False
    names = os.fsencode(old), os.fsencode(new)
    if rename(at_working_folder, names[0], at_working_folder, names[1], no_replace) == 0:
        return True
    number = ctypes.get_errno()
    if number in CANNOT_BE_DONE:
        return False
    raise OSError(number, os.strerror(number), new)


def sync_folder(folder: Path) -> None:
    """So that a new file's name is on the disk as well; not every system can."""
    with suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
