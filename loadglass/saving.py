"""A file of an image saved to the computer: under a name that any computer takes, and safely."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

from formats.directory import Entry
from formats.errors import LoadglassError
from formats.petscii import LOWER, to_text
from formats.visible import visible
from loadglass.device_names import is_device_name
from loadglass.opened import Opened
from loadglass.sources import looks_like_image
from loadglass.whole_files import write_new, write_over

NAMELESS = "unnamed"
_KEPT = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789 !#&'()+,-.=@[]_")


class CannotSave(LoadglassError):
    """The file cannot be written there; the sentence says why."""


class AlreadyThere(CannotSave):
    """Another file has that name; it can be overwritten if the user says so."""


def safe_name(entry: Entry) -> str:
    """A name for the computer's file: letters in the case of the lower-case set, and its type.

    What some computer would not take becomes `_`; the name is never empty, never hidden, never
    an option and never a device.
    """
    text = "".join(c if c in _KEPT else "_" for c in to_text(entry.name, LOWER)).rstrip(" .")
    unhidden = text.lstrip(" .-")
    name = "_" * (len(text) - len(unhidden)) + unhidden or NAMELESS
    if is_device_name(name):
        head, dot, rest = name.partition(".")
        name = f"{head}_{dot}{rest}"
    ending = entry.kind.lower() if entry.kind.isalpha() and len(entry.kind) == 3 else "bin"
    return f"{name}.{ending}"


def target_of(text: str, name: str, folder: Path | None = None) -> Path:
    """Where a path as a person types it leads: `~` is home, and a folder takes `name`.

    folder: what relative paths start from; the current one where None. Raises CannotSave on an
    empty path or one that no computer takes.
    """
    if not text.strip():
        raise CannotSave("type where to save it: a folder, or a file name")
    if "\0" in text:
        raise CannotSave("the path holds a zero byte: no computer takes that")
    try:
        path = Path(folder or Path.cwd(), Path(text.strip()).expanduser())
        is_folder = path.is_dir() or text.strip().endswith(("/", os.sep))
    except (OSError, RuntimeError) as error:
        raise CannotSave(f"cannot save to {visible(text)}: {error}") from error
    return path / name if is_folder else path


def save_file(opened: Opened, slot: int, target: Path, *, overwrite: bool = False) -> int:
    """Save the file of that slot, whole or not at all; gives the bytes written.

    Written beside its place and then renamed, so that nothing half-written ever has that name.
    Raises NotReadable where the file cannot be read whole, AlreadyThere where the name is taken
    (unless `overwrite`), and CannotSave; never writes to the image or to any other.
    """
    data = opened.file_bytes(slot)
    if os.path.lexists(target) and looks_like_image(target.name):
        raise CannotSave(f"{visible(str(target))} is a disk image: choose another name")
    write_whole(target, data, never=Path(opened.source.file), overwrite=overwrite)
    return len(data)


def write_whole(
    target: Path, data: bytes, *, never: Path | None = None, overwrite: bool = False
) -> None:
    """Write a file, whole or not at all, and on the disk before this returns.

    never: a file that must stay as it is: target may be neither it nor a link to it. Raises
    AlreadyThere where the name is taken (unless `overwrite`), and CannotSave.
    """
    shown = visible(str(target))
    try:
        _refuse(target, never)
        if overwrite:
            write_over(target, data)
        else:
            write_new(target, data)
    except FileExistsError:
        raise AlreadyThere(f"{shown} is there already") from None
    except FileNotFoundError:
        folder = visible(str(target.parent))
        raise CannotSave(f"there is no folder {folder}: make it, or choose another") from None
    except OSError as error:
        raise CannotSave(f"cannot save to {shown}: {error.strerror}") from error


def _refuse(target: Path, never: Path | None) -> None:
    """Raises CannotSave where something must stay as it is, whatever the user says."""
    shown = visible(str(target))
    with suppress(OSError):
        if never is not None and target.samefile(never):
            raise CannotSave(f"{shown} is the disk image itself: choose another name")
    if target.is_dir():
        raise CannotSave(f"{shown} is a folder: add a file name")
    if target.exists() and not target.is_file():
        raise CannotSave(f"{shown} is no regular file: choose another name")
