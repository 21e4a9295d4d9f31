"""A repaired copy written to the computer; the image itself is never written to."""

from __future__ import annotations

from pathlib import Path

from formats.mend import Mended
from loadglass.opened import Opened
from loadglass.saving import write_whole


def save_copy(opened: Opened, mended: Mended, copy: Path, *, overwrite: bool = False) -> None:
    """Write the repaired copy, whole or not at all.

    Raises AlreadyThere where the name is taken (unless `overwrite`), and CannotSave: the copy
    is never the image, nor a link to it.
    """
    write_whole(copy, mended.data, never=Path(opened.source.file), overwrite=overwrite)
