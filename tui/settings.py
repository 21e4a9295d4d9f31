"""What the screen remembers from one evening to the next: a small TOML file.

A broken file, or a value that makes no sense, costs only itself: the rest is taken and the
problem said. It is written whole or not at all.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable
from dataclasses import asdict, dataclass, fields
from pathlib import Path

from formats.errors import LoadglassError
from formats.visible import visible
from loadglass.home import make_folder
from loadglass.whole_files import write_over
from tui.amounts import byte_amount, entry_amount, second_amount
from tui.calls import WrongCall
from tui.themes import DEFAULT_THEME, NAMES

TEXT_LIMIT = 500
SIZE_LIMIT_BYTES = 64 * 1024


LEFT_OUT, MENDED, TAKEN, MENDED_OR_TAKEN = "left out", "mended", "taken", "mended or taken"
EVEN_DAMAGED = (TAKEN, MENDED_OR_TAKEN)
"""Of damaged images on a card."""


@dataclass
class Settings:
    """Every setting with what it is before anybody has changed it."""

    theme: str = DEFAULT_THEME
    glyphs: str = "full"
    """`plain` for fonts without the machine's block graphics."""
    motion: str = "on"
    """`off` shows at once what otherwise lights up bit by bit."""
    rig: str = "fast-card"
    """The loader that the shelf sets against stock, on its own drive."""
    bench_rig: str = "fast-card"
    """The rig that is timed at the bench."""
    card_folder: str = ""
    """Where the card is mounted."""
    card_rig: str = "fast-card"
    """The rig that the card is for."""
    card_damaged: str = LEFT_OUT
    """This and what follows: the rules of the card; amounts as they were typed, empty: none."""
    card_every_copy: bool = False
    card_whole_sets: bool = False
    card_longest: str = ""
    card_budget_bytes: str = ""
    card_budget_time: str = ""
    card_by_rating: bool = False
    card_layout: str = ""
    card_entries: str = ""
    card_remove_unpicked: bool = False
    card_replace_changed: bool = False
    sort: str = "title"
    descending: bool = False
    filter: str = ""
    preview: bool = True


CHOICES: dict[str, tuple[str, ...]] = {
    "theme": NAMES,
    "glyphs": ("full", "plain"),
    "motion": ("on", "off"),
    "card_damaged": (LEFT_OUT, MENDED, TAKEN, MENDED_OR_TAKEN),
    "card_layout": ("", "flat", "letter", "tag"),
}
AMOUNTS: dict[str, Callable[[str, str], object]] = {
    "card_longest": second_amount,
    "card_budget_bytes": byte_amount,
    "card_budget_time": second_amount,
    "card_entries": entry_amount,
}
"""What may be written where not every text makes sense."""


class NotSaved(LoadglassError):
    """The settings could not be written."""


def load_settings(path: Path) -> tuple[Settings, list[str]]:
    """The settings kept there, and a sentence for each thing that was passed over."""
    settings = Settings()
    try:
        with path.open("rb") as stream:
            table = tomllib.loads(stream.read(SIZE_LIMIT_BYTES).decode("utf-8"))
    except FileNotFoundError:
        return settings, []
    except (OSError, ValueError) as error:
        return settings, [f"{visible(str(path))} cannot be used ({visible(str(error))})"]
    problems = []
    for field in fields(Settings):
        if field.name not in table:
            continue
        value, default = table[field.name], getattr(settings, field.name)
        if trouble := _trouble(field.name, value, default):
            problems.append(f"{path.name}: {trouble}")
        else:
            setattr(settings, field.name, value)
    return settings, problems


def _trouble(name: str, value: object, default: object) -> str:
    """Why it cannot be taken; empty: it can."""
    if type(value) is not type(default) or (isinstance(value, str) and len(value) > TEXT_LIMIT):
        return f"{name} makes no sense, {default!r} is taken"
    if not isinstance(value, str) or value == default:
        return ""
    if name in CHOICES and value not in CHOICES[name]:
        return f"{name} may be {' or '.join(filter(None, CHOICES[name]))}"
    try:
        if name in AMOUNTS:
            AMOUNTS[name](name, value)
    except WrongCall as error:
        return visible(str(error))
    return ""


def save_settings(settings: Settings, path: Path) -> None:
    """Write them in place of what was there. Raises NoHome, NotSaved."""
    lines = [f"{name} = {_toml(value)}\n" for name, value in asdict(settings).items()]
    make_folder(path.parent)
    try:
        write_over(path, "".join(lines).encode("utf-8"))
    except OSError as error:
        raise NotSaved(
            f"the settings cannot be written to {visible(str(path))}: {error.strerror}"
        ) from error


def _toml(value: str | bool) -> str:
    """A JSON string is a TOML string, once nothing unprintable is in it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    return json.dumps(visible(value)[:TEXT_LIMIT], ensure_ascii=False)
