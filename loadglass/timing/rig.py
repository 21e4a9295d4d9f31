"""What a rig is: a drive and a loader, and the figures that its times are made of.

A rig is written as TOML; `rigs/` holds the four we bring. `read_rig` takes the file's bytes and
checks every key, so that a Rig in hand is one that can be clocked.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from math import isfinite
from typing import Any, Literal, cast

from formats.errors import LoadglassError
from formats.geometry import LAYOUTS, Geometry
from formats.visible import visible

Drive = Literal["spinning", "card"]
Loader = Literal["stock", "fast"]
Order = Literal["interleave", "any"]

NAME = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
NAME_LIMIT = 40
TEXT_LIMIT = 500
FILE_LIMIT_BYTES = 64 * 1024


class RigError(LoadglassError):
    """A rig's file that cannot be used, or a rig that is not there."""


@dataclass(frozen=True, slots=True)
class FigureKind:
    """What one figure means, on which drives it exists and what may be written for it."""

    says: str
    unit: str = "ms"
    drives: tuple[Drive, ...] = ("spinning", "card")
    lowest: float = 0.0
    highest: float = 60_000.0
    highest_spread: float = 1.0


_SPINNING: tuple[Drive, ...] = ("spinning",)
_CARD: tuple[Drive, ...] = ("card",)

FIGURES: dict[str, FigureKind] = {
    "command": FigureKind("from RETURN until the drive sets to work"),
    "setup": FigureKind("the loader's own start, before its first block"),
    "byte": FigureKind("one byte over the bus", highest=100.0),
    "block": FigureKind("overhead of one block over the bus"),
    "decode": FigureKind("work on a sector after reading it", drives=_SPINNING),
    "lead": FigureKind("before the drive looks for a sector", drives=_SPINNING),
    "scan": FigureKind("search of one directory sector for the name"),
    "fetch": FigureKind("one sector from the SD card", drives=_CARD),
    "step": FigureKind("head to the next track", drives=_SPINNING),
    "settle": FigureKind("head at rest after a move", drives=_SPINNING),
    "spin_up": FigureKind("motor from standstill to speed", drives=_SPINNING),
    "rpm": FigureKind(
        "turns a minute",
        unit="rpm",
        drives=_SPINNING,
        lowest=60.0,
        highest=3_600.0,
        highest_spread=0.2,
    ),
}
"""Every figure by its key in a rig's file, in the order in which rigs are shown."""

RIG_KEYS = ("name", "description", "based_on", "drive", "loader", "order", "layouts", "figures")
FIGURE_KEYS = ("value", "unit", "spread", "source")
DRIVES: tuple[Drive, ...] = ("spinning", "card")
LOADERS: tuple[Loader, ...] = ("stock", "fast")
ORDERS: tuple[Order, ...] = ("interleave", "any")


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of a rig."""

    value: float
    unit: str
    spread: float
    """Half width of the range that holds 90 % of the cases, as a share of the value."""
    source: str
    """Where it is from, in a person's words."""


@dataclass(frozen=True)
class Rig:
    """A drive plus a loader, whose timing is known."""

    name: str
    drive: Drive
    loader: Loader
    order: Order
    """`any`: the loader takes a track's sectors as they come."""
    layouts: tuple[str, ...]
    """Names of the layouts whose images it mounts, smallest first."""
    description: str
    figures: Mapping[str, Figure] = field(hash=False)
    """Exactly the figures that its kind of drive has, in the order of FIGURES."""
    based_on: str | None = None
    """The rig whose figures it takes over where its own file gives none."""

    @property
    def like(self) -> str:
        """The name of the rig that we bring with the same drive and loader."""
        return f"{self.loader}-{self.drive}"

    @property
    def spins(self) -> bool:
        return self.drive == "spinning"

    def mounts(self, geometry: Geometry) -> bool:
        """Whether loads from such an image can be clocked on this rig."""
        return geometry.name in self.layouts

    def value(self, figure: str) -> float:
        """A figure's value, in its unit; 0 where this kind of drive has no such thing."""
        return self.figures[figure].value if figure in self.figures else 0.0

    def with_values(self, values: Mapping[str, float]) -> Rig:
        """The same rig with other values of some figures; spreads and sources stay."""
        figures = {
            name: replace(figure, value=values.get(name, figure.value))
            for name, figure in self.figures.items()
        }
        return replace(self, figures=figures)


def figure_names(drive: Drive) -> list[str]:
    """The figures that a kind of drive has."""
    return [name for name, kind in FIGURES.items() if drive in kind.drives]


def layouts_of(drive: Drive) -> list[str]:
    """The layouts that can be clocked on a kind of drive."""
    return [layout.name for layout in LAYOUTS if layout.has_bit_cells or drive == "card"]


def is_rig_name(text: str) -> bool:
    return len(text) <= NAME_LIMIT and NAME.fullmatch(text) is not None


@dataclass(frozen=True)
class RigFile:
    """A rig's file as far as it can be read before the rig that it is based on is known.

    Raises RigError from every method and from `parse`: one sentence with the file and the key.
    """

    file: str
    """The file's name as it is shown."""
    table: dict[str, Any]

    @classmethod
    def parse(cls, data: bytes, file: str) -> RigFile:
        found = cls(visible(file), {})
        if len(data) > FILE_LIMIT_BYTES:
            raise found.error(f"is longer than the {FILE_LIMIT_BYTES} bytes that a rig may have")
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            raise found.error(
                f"is not UTF-8 text (byte {error.start}); save it as UTF-8"
            ) from error
        try:
            found.table.update(tomllib.loads(text))
        except RecursionError as error:
            raise found.error("is nested too deeply to be a rig") from error
        except ValueError as error:
            raise found.error(f"is not valid TOML: {visible(str(error))}") from error
        found._only_keys(found.table, RIG_KEYS, "")
        return found

    @property
    def name(self) -> str:
        name = self._text("name")
        if not is_rig_name(name):
            raise self.error(
                f"name is {_shown(name)}; a rig's name is lower-case letters, digits and single "
                f"hyphens between them, {NAME_LIMIT} at the most"
            )
        return name

    @property
    def based_on(self) -> str | None:
        return self._text("based_on") if "based_on" in self.table else None

    def rig(self, base: Rig | None) -> Rig:
        """The rig, with what its file does not give taken from `base`."""
        drive = cast(Drive, self._choice("drive", DRIVES, base.drive if base else None))
        return Rig(
            name=self.name,
            drive=drive,
            loader=cast(Loader, self._choice("loader", LOADERS, base.loader if base else None)),
            order=cast(Order, self._choice("order", ORDERS, base.order if base else ORDERS[0])),
            layouts=self._layouts(drive, base),
            description=self._text("description", base.description if base else ""),
            figures=self._figures(drive, base),
            based_on=base.name if base else None,
        )

    def error(self, what: str) -> RigError:
        return RigError(f"{self.file}: {what}")

    def _layouts(self, drive: Drive, base: Rig | None) -> tuple[str, ...]:
        allowed = layouts_of(drive)
        if "layouts" not in self.table:
            return base.layouts if base and base.drive == drive else tuple(allowed)
        chosen = self.table["layouts"]
        if (
            not isinstance(chosen, list)
            or not chosen
            or not all(isinstance(name, str) and name in allowed for name in chosen)
        ):
            raise self.error(
                f"layouts is {_shown(chosen)}; for a {drive} drive it is a list of some of "
                f"{_listed(allowed)}"
            )
        return tuple(name for name in allowed if name in chosen)

    def _figures(self, drive: Drive, base: Rig | None) -> dict[str, Figure]:
        names = figure_names(drive)
        tables = self.table.get("figures", {})
        if not isinstance(tables, dict):
            raise self.error(f"figures is {_shown(tables)}; write tables like [figures.byte]")
        self._only_keys(tables, names, "figures.", f" of a {drive} drive")
        inherited = base.figures if base else {}
        missing = [name for name in names if name not in tables and name not in inherited]
        if missing:
            raise self.error(
                f"figures.{missing[0]} is missing; a {drive} drive needs {_listed(names)}"
            )
        figures = {
            name: self._figure(name, tables[name], inherited.get(name))
            if name in tables
            else inherited[name]
            for name in names
        }
        if not any(figure.value for figure in figures.values()):
            raise self.error("every figure is 0, so a load would take no time at all; give one")
        return figures

    def _figure(self, name: str, table: object, base: Figure | None) -> Figure:
        key = f"figures.{name}"
        kind = FIGURES[name]
        if not isinstance(table, dict):
            raise self.error(f"{key} is {_shown(table)}; write a table [{key}]")
        self._only_keys(table, FIGURE_KEYS, f"{key}.")
        # Whoever changes a figure says where the new one is from, so a source is never inherited.
        needed = ("source",) if base else FIGURE_KEYS
        for part in needed:
            if part not in table:
                raise self.error(f"{key}.{part} is missing; a figure gives {_listed(needed)}")
        if base and len(table) == 1:
            raise self.error(f"{key} gives only a source; it needs a value or a spread as well")
        unit = table.get("unit", kind.unit)
        if unit != kind.unit:
            raise self.error(f'{key}.unit is {_shown(unit)}; it must be "{kind.unit}"')
        return Figure(
            value=self._number(f"{key}.value", table["value"], kind.lowest, kind.highest, kind.unit)
            if "value" in table
            else cast(Figure, base).value,
            unit=kind.unit,
            spread=self._number(f"{key}.spread", table["spread"], 0.0, kind.highest_spread)
            if "spread" in table
            else cast(Figure, base).spread,
            source=self._line(f"{key}.source", table["source"]),
        )

    def _number(
        self, key: str, given: object, lowest: float, highest: float, unit: str = ""
    ) -> float:
        allowed = f"a number from {lowest:g} to {highest:g}{unit and ' ' + unit}"
        if isinstance(given, bool) or not isinstance(given, int | float):
            raise self.error(f"{key} is {_shown(given)}; it must be {allowed}")
        # An integer may be too large for a float: compare before converting.
        if not lowest <= given <= highest or not isfinite(given):
            raise self.error(f"{key} is {_shown(given)}; it must be {allowed}")
        return float(given)

    def _choice(self, key: str, allowed: Iterable[str], inherited: str | None) -> str:
        if key not in self.table and inherited is not None:
            return inherited
        options = " or ".join(f'"{option}"' for option in allowed)
        if key not in self.table:
            raise self.error(f"{key} is missing; it must be {options}")
        if self.table[key] not in allowed:
            raise self.error(f"{key} is {_shown(self.table[key])}; it must be {options}")
        return str(self.table[key])

    def _text(self, key: str, default: str | None = None) -> str:
        if key not in self.table:
            if default is None:
                raise self.error(f"{key} is missing; it must be a text")
            return default
        return self._line(key, self.table[key])

    def _line(self, key: str, given: object) -> str:
        if not isinstance(given, str) or visible(given) != given or len(given) > TEXT_LIMIT:
            raise self.error(
                f"{key} is {_shown(given)}; it must be one line of plain text, {TEXT_LIMIT} "
                "characters at the most"
            )
        if not given.strip() and key != "description":
            raise self.error(f"{key} is empty; it must be a text")
        return given

    def _only_keys(
        self, table: Mapping[str, Any], allowed: Iterable[str], prefix: str, of_what: str = ""
    ) -> None:
        for key in table:
            if key not in allowed:
                raise self.error(
                    f"{prefix}{visible(key)[:NAME_LIMIT]} is not a key{of_what}; the keys are "
                    f"{_listed(allowed)}"
                )


def _shown(given: object) -> str:
    """A value from a file in a form short and plain enough for a sentence."""
    if isinstance(given, dict):
        return "a table"
    if isinstance(given, list):
        return "a list of " + (", ".join(_shown(item) for item in given[:3]) or "nothing")
    if isinstance(given, bool):
        return "true" if given else "false"
    if isinstance(given, int) and abs(given) >= 10**15:
        return "a very large number"
    text = visible(str(given))
    text = text if len(text) <= NAME_LIMIT else text[:NAME_LIMIT] + "…"
    return f'"{text}"' if isinstance(given, str) else text


def _listed(words: Iterable[str]) -> str:
    return ", ".join(words)
