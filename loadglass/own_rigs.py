"""A rig of the user's own, written where all commands and the screen find it."""

from __future__ import annotations

from pathlib import Path

from formats.visible import visible
from loadglass.home import make_folder
from loadglass.saving import AlreadyThere, write_whole
from loadglass.timing.rig import Rig
from loadglass.timing.rig_files import check_own_name, load_rigs, to_toml


def save_rig(rig: Rig, folder: Path, *, overwrite: bool = False) -> Path:
    """Write the rig's file, whole or not at all; gives its path.

    folder: of the user's rigs. Raises AlreadyThere where there is such a rig (unless
    `overwrite`), RigError where the name can be no rig's of the user's own, NoHome, CannotSave.
    """
    check_own_name(rig.name)
    path = folder / f"{rig.name}.toml"
    if not path.exists() and rig.name in load_rigs(folder).rigs:
        raise AlreadyThere(
            f'there is a rig "{rig.name}" already, in another file in {visible(str(folder))}: '
            "choose another name"
        )
    make_folder(folder)
    write_whole(path, to_toml(rig).encode(), overwrite=overwrite)
    return path
