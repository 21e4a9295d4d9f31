"""A reading as plain values, for a line of the log; and back, every field checked."""

from __future__ import annotations

import base64
import re
from collections.abc import Callable, Mapping
from typing import Any, NamedTuple, get_args

from formats.geometry import DATA_BYTES
from formats.visible import visible
from loadglass.bench.reading import (
    BadReading,
    Reading,
    Timed,
    What,
    checked_seconds,
    checked_time,
)
from loadglass.timing.places import ImagePlaces

_HEX = re.compile(r"(?:[0-9a-f]{2})*")


class Kind(NamedTuple):
    """What a field may hold."""

    says: str
    fits: Callable[[Any], bool]
    needed: bool = True


def _whole(lowest: int, highest: int) -> Kind:
    def fits(value: Any) -> bool:
        return type(value) is int and lowest <= value <= highest

    return Kind(f"a whole number from {lowest:,} to {highest:,}", fits)


def _text(needed: bool = True) -> Kind:
    return Kind("a text", lambda value: isinstance(value, str), needed)


# An integer may be too large for a float: it is compared before it is one. NaN fails too.
_NUMBER = Kind("a number", lambda value: type(value) in (int, float) and -1e9 < value < 1e9)

FIELDS: dict[str, Kind] = {
    "id": _whole(1, 10**15),
    "when": _text(),
    "path": _text(),
    "sha256": Kind(
        "64 hexadecimal digits",
        lambda value: isinstance(value, str) and len(value) == 64 and bool(_HEX.fullmatch(value)),
    ),
    "title": _text(needed=False),
    "what": Kind(" or ".join(get_args(What)), lambda value: value in get_args(What)),
    "slot": _whole(0, 1000)._replace(needed=False),
    "file": _text(needed=False),
    "file_hex": Kind(
        "hexadecimal digits",
        lambda value: isinstance(value, str) and bool(_HEX.fullmatch(value)),
        needed=False,
    ),
    "rig": _text(),
    "seconds": _NUMBER,
    "predicted": _NUMBER,
    "low": _NUMBER,
    "high": _NUMBER,
    "places": _text(),
    "remark": _text(needed=False),
}


def to_record(reading: Reading) -> dict[str, Any]:
    """A reading as plain values for JSON; from_record gives it back."""
    timed = reading.timed
    return {
        "id": reading.id,
        "when": reading.when,
        "path": timed.path,
        "sha256": timed.sha256,
        "title": timed.title,
        "what": timed.what,
        "slot": timed.slot,
        "file": timed.file,
        "file_hex": timed.file_hex,
        "rig": reading.rig,
        "seconds": reading.seconds,
        "predicted": reading.predicted,
        "low": reading.low,
        "high": reading.high,
        "places": pack_places(timed.places),
        "remark": reading.remark,
        **reading.unknown,
    }


def from_record(record: Mapping[str, Any]) -> Reading:
    """What to_record gave, checked. Raises BadReading, naming the field."""
    values = {name: _checked(name, kind, record.get(name)) for name, kind in FIELDS.items()}
    if (values["slot"] is None) != (values["what"] == "all"):
        raise BadReading("its slot does not go with what was timed")
    timed = Timed(
        path=values["path"],
        sha256=values["sha256"],
        title=visible(values["title"] or ""),
        what=values["what"],
        slot=values["slot"],
        file=visible(values["file"] or ""),
        file_hex=values["file_hex"] or "",
        places=unpack_places(values["places"], values["what"]),
    )
    return Reading(
        timed=timed,
        rig=visible(values["rig"]),
        seconds=checked_seconds(values["seconds"]),
        predicted=float(values["predicted"]),
        low=float(values["low"]),
        high=float(values["high"]),
        when=checked_time(values["when"]),
        remark=visible(values["remark"] or ""),
        id=values["id"],
        unknown={name: value for name, value in record.items() if name not in FIELDS},
    )


def pack_places(places: ImagePlaces) -> str:
    return base64.b64encode(places.to_bytes()).decode("ascii")


def unpack_places(text: str, what: What) -> ImagePlaces:
    """What pack_places gave. Raises BadReading if it is no load of that kind."""
    try:
        places = ImagePlaces.from_bytes(base64.b64decode(text, validate=True))
    except ValueError as error:
        raise BadReading(f"its places cannot be read ({error})") from None
    if not _can_be_clocked(places, what):
        raise BadReading("its places are not those of such a load")
    return places


def _checked(name: str, kind: Kind, value: Any) -> Any:
    if value is None:
        if kind.needed:
            raise BadReading(f"it has no {name}")
        return None
    if not kind.fits(value):
        shown = visible(str(value))[:40]
        raise BadReading(f"its {name} is {shown}; it must be {kind.says}")
    return value


def _can_be_clocked(places: ImagePlaces, what: What) -> bool:
    files = places.files
    return (
        bool(files)
        and all(file.last_bytes <= DATA_BYTES for file in files)
        and (all(file.loadable for file in files) if what == "all" else len(files) == 1)
    )
