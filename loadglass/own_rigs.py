"""A rig of the user's own, written where all commands and the screen find it."""

from __future__ import annotations

from pathlib import Path

from formats.visible import visible
from loadglass.home import home, make_folder
from loadglass.saving import AlreadyThere, write_whole
from loadglass.timing.rig import Rig, RigError
from loadglass.timing.rig_files import BUILT_IN, load_rigs, to_toml


def own_rig_path(name: str) -> Path:
    """Where the file of a rig of that name is."""
    return home().rigs / f"{name}.toml"


def save_rig(rig: Rig, *, overwrite: bool = False) -> Path:
    """Write the rig's file, whole or not at all; gives its path.

    Raises AlreadyThere where there is such a rig (unless `overwrite`), RigError where the name
    can be no rig's of the user's own, NoHome, CannotSave.
    """
    if rig.name in BUILT_IN:
        raise RigError(f'"{rig.name}" is a rig we bring, which stays as it is: choose another name')
    path = own_rig_path(rig.name)
    if not path.exists() and rig.name in load_rigs(path.parent).rigs:
        raise AlreadyThere(
            f'there is a rig "{rig.name}" already, in another file in {visible(str(path.parent))}: '
            "choose another name"
        )
    make_folder(path.parent)
    write_whole(path, to_toml(rig).encode(), overwrite=overwrite)
    return path
