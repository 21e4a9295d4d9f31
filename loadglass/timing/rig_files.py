"""The rigs there are: the four we bring and the user's own; and a rig as the text of a file."""

from __future__ import annotations

import pkgutil  # not importlib.resources, which takes ten times as long to import
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from formats.visible import visible
from loadglass.timing.rig import (
    FIGURES,
    FILE_LIMIT_BYTES,
    NAME_LIMIT,
    Rig,
    RigError,
    RigFile,
    figure_names,
    is_rig_name,
)

DEPTH_LIMIT = 20
"""Rigs that may be based on one another in a row."""

BUILT_IN = ("stock-spinning", "stock-card", "fast-spinning", "fast-card")


@dataclass(frozen=True)
class Rigs:
    """Every rig that can be used, by name: the four we bring first, then the user's by name."""

    rigs: Mapping[str, Rig]
    problems: tuple[RigError, ...] = ()
    """Why a file of the user's is not among them; the others stay usable."""

    def named(self, name: str) -> Rig:
        """Raises RigError, with the names there are."""
        if name not in self.rigs:
            raise RigError(
                f'there is no rig "{visible(name)[:NAME_LIMIT]}"; the rigs are '
                f"{', '.join(self.rigs)}"
            )
        return self.rigs[name]


@cache
def built_in_rigs() -> Mapping[str, Rig]:
    """The four rigs we bring, by name."""
    rigs = {}
    for name in BUILT_IN:
        file = f"rigs/{name}.toml"
        rigs[name] = RigFile.parse(pkgutil.get_data("loadglass.timing", file) or b"", file).rig(
            None
        )
    return rigs


def load_rigs(user_folder: Path | None = None) -> Rigs:
    """The built-in rigs and those of every *.toml in the user's folder, if there is one.

    A file that cannot be used becomes a problem and stops nothing. A rig may be based on any other,
    whatever their files' names are. Nothing is raised.
    """
    files, problems = _read_folder(user_folder)
    rigs = dict(built_in_rigs())
    for name in sorted(files):
        try:
            _resolve(name, files, rigs, ())
        except RigError as problem:
            problems.append(problem)
    ordered = (*BUILT_IN, *(name for name in sorted(files) if name in rigs))
    return Rigs({name: rigs[name] for name in ordered}, tuple(problems))


def rig_path(name: str, folder: Path) -> Path:
    """The file of a rig of the user's own. Raises RigError where there is none."""
    check_own_name(name)
    files, _ = _read_folder(folder)
    if name not in files:
        raise RigError(f'there is no rig "{name}" in {visible(str(folder))}')
    return folder / files[name].file


def _read_folder(folder: Path | None) -> tuple[dict[str, RigFile], list[RigError]]:
    """The user's files by the name of their rig, in the order of their file names."""
    files: dict[str, RigFile] = {}
    problems: list[RigError] = []
    try:
        paths = sorted(filter(_may_be_rig, folder.iterdir())) if folder and folder.exists() else []
    except OSError as error:
        problem = f"{visible(str(folder))}: the rigs in it cannot be read ({error.strerror})"
        return {}, [RigError(problem)]
    for path in paths:
        try:
            file = _read_file(path)
            name = file.name
            if name in BUILT_IN:
                raise file.error(
                    f'name is "{name}", which is a rig we bring; choose another name and write '
                    f'based_on = "{name}"'
                )
            if name in files:
                raise file.error(
                    f'name is "{name}", which {files[name].file} has already; choose another name'
                )
            files[name] = file
        except RigError as problem:
            problems.append(problem)
    return files, problems


def _may_be_rig(path: Path) -> bool:
    """Raises OSError."""
    return path.suffix == ".toml" and not path.name.startswith(".") and path.is_file()


def _read_file(path: Path) -> RigFile:
    try:
        with path.open("rb") as stream:
            data = stream.read(FILE_LIMIT_BYTES + 1)
    except OSError as error:
        raise RigError(f"{visible(path.name)}: cannot be read ({error.strerror})") from error
    return RigFile.parse(data, path.name)


def _resolve(
    name: str, files: Mapping[str, RigFile], rigs: dict[str, Rig], waiting: tuple[str, ...]
) -> Rig:
    """The rig of that name, made and put into `rigs` after those that it is based on."""
    if name in rigs:
        return rigs[name]
    file = files[name]
    base_name = file.based_on
    if base_name is None:
        base = None
    elif base_name in (*waiting, name):
        raise file.error(f'based_on is "{base_name}", and so the rigs are based on each other')
    elif len(waiting) == DEPTH_LIMIT:
        raise file.error(f"based_on makes a row of more than {DEPTH_LIMIT} rigs; base it on fewer")
    elif base_name not in rigs and base_name not in files:
        raise file.error(
            f'based_on is "{visible(base_name)[:NAME_LIMIT]}", which is no rig that can be used; '
            f"the rigs are {', '.join((*BUILT_IN, *sorted(set(files) - {name})))}"
        )
    else:
        try:
            base = _resolve(base_name, files, rigs, (*waiting, name))
        except RigError as error:
            raise file.error(
                f'based_on is "{base_name}", which cannot be used itself ({error})'
            ) from error
    rigs[name] = file.rig(base)
    return rigs[name]


def check_own_name(name: str) -> None:
    """Raises RigError where no rig of the user's own can be called so."""
    if not is_rig_name(name):
        raise RigError(
            f'"{visible(name)[:NAME_LIMIT]}" is no name for a rig; use lower-case letters, digits '
            f"and single hyphens between them, {NAME_LIMIT} at the most"
        )
    if name in BUILT_IN:
        raise RigError(f'"{name}" is a rig we bring, which stays as it is: choose another name')


def starting_file(name: str, base: Rig) -> str:
    """The text of a new rig's file: based on `base`, with every figure there as a comment.

    It can be loaded as it is. Raises RigError if `name` is no name for a rig of the user's.
    """
    check_own_name(name)
    lines = [
        "# A rig of your own. What is not written here is taken from the rig it is based on.",
        "# To change a figure take the # from its lines; value or spread may be left out, and",
        "# source says where yours is from. A spread is the half width of the range that holds",
        "# 90 % of the cases, as a share of the value: 0.10 is 10 %.",
        f"name = {_quoted(name)}",
        f"based_on = {_quoted(base.name)}",
        f"description = {_quoted('like ' + base.name + ', with figures of my own')}",
        '# order = "any"    # if the loader takes a track\'s sectors as they come',
    ]
    for figure in figure_names(base.drive):
        kind = FIGURES[figure]
        lines += [
            "",
            f"# {kind.says}, in {kind.unit}",
            f"# [figures.{figure}]",
            f"# value = {base.figures[figure].value!r}",
            f"# spread = {base.figures[figure].spread!r}",
            '# source = "my stopwatch"',
        ]
    return "\n".join(lines) + "\n"


def to_toml(rig: Rig) -> str:
    """A rig as the text of a file that stands on its own: every figure, to the last bit.

    Read back it is the same rig, but based on none where its base is one that can go.
    """
    lines = [f"# Written by loadglass from {rig.based_on}." if rig.based_on else None]
    lines += [f"based_on = {_quoted(rig.based_on)}" if rig.based_on in BUILT_IN else None]
    lines += [
        f"{key} = {_quoted(getattr(rig, key))}"
        for key in ("name", "description", "drive", "loader", "order")
    ]
    lines.append(f"layouts = [{', '.join(map(_quoted, rig.layouts))}]")
    for name, figure in rig.figures.items():
        lines += [
            "",
            f"[figures.{name}]",
            f"value = {figure.value!r}",
            f"unit = {_quoted(figure.unit)}",
            f"spread = {figure.spread!r}",
            f"source = {_quoted(figure.source)}",
        ]
    return "\n".join(line for line in lines if line is not None) + "\n"


def _quoted(text: str) -> str:
    """A TOML basic string. Texts of a rig hold no control characters (`visible` sees to that)."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'
