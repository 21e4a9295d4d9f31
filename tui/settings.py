"""What the screen remembers from one evening to the next: a small TOML file.

A broken file, or a value that makes no sense, costs only itself: the rest is taken and the
problem said. It is written whole or not at all.
"""

from __future__ import annotations

import json
import tomllib
from dataclasses import asdict, dataclass, fields
from pathlib import Path

from formats.errors import LoadglassError
from formats.visible import visible
from loadglass.home import make_folder
from loadglass.whole_files import write_over
from tui.themes import DEFAULT_THEME, NAMES

TEXT_LIMIT = 500
SIZE_LIMIT_BYTES = 64 * 1024


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
    sort: str = "title"
    descending: bool = False
    filter: str = ""
    preview: bool = True


CHOICES: dict[str, tuple[str, ...]] = {
    "theme": NAMES,
    "glyphs": ("full", "plain"),
    "motion": ("on", "off"),
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
        allowed = CHOICES.get(field.name)
        if type(value) is not type(default) or (isinstance(value, str) and len(value) > TEXT_LIMIT):
            problems.append(f"{path.name}: {field.name} makes no sense, {default!r} is taken")
        elif allowed is not None and value not in allowed:
            problems.append(f"{path.name}: {field.name} may be {' or '.join(allowed)}")
        else:
            setattr(settings, field.name, value)
    return settings, problems


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
