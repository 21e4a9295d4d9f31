"""A rig of the user's own, written where all commands and the screen find it, or set aside."""

from __future__ import annotations

from itertools import chain, count
from pathlib import Path

from formats.visible import visible
from loadglass.home import make_folder
from loadglass.saving import AlreadyThere, write_whole
from loadglass.timing.rig import Rig, RigError
from loadglass.timing.rig_files import check_own_name, load_rigs, rig_path, to_toml

ASIDE = "set-aside"
"""The folder, below that of the rigs, of those that are no longer to be used."""


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


def set_rig_aside(name: str, folder: Path) -> Path:
    """Move a rig's file where no rig is looked for; gives its new place, from where it can return.

    Raises RigError where there is no such rig, another is based on it or it cannot be moved.
    """
    path = rig_path(name, folder)
    based = [rig.name for rig in load_rigs(folder).rigs.values() if rig.based_on == name]
    if based:
        raise RigError(f"{', '.join(based)} is based on {name}: remove that first")
    places = (folder / ASIDE / f"{path.stem}{n}.toml" for n in chain([""], count(2)))
    aside = next(place for place in places if not place.exists())
    make_folder(aside.parent)
    try:
        return path.rename(aside)
    except OSError as error:
        raise RigError(f"{visible(str(path))} cannot be moved away: {error.strerror}") from error
