"""Amounts as a person types them: `2 GB`, `500M`, `90s`, `1.5h`."""

from __future__ import annotations

import re

from tui.calls import WrongCall

BYTE_UNITS = {"": 1, "K": 10**3, "M": 10**6, "G": 10**9, "KI": 2**10, "MI": 2**20, "GI": 2**30}
"""Each with or without a B behind it."""
SECOND_UNITS = {"": 1, "S": 1, "MIN": 60, "H": 3600}
_AMOUNT = re.compile(r"(\d+(?:\.\d+)?)\s*([A-Za-z]*)")


def byte_amount(option: str, text: str | None) -> int | None:
    """Bytes; None where nothing was said. Raises WrongCall."""
    plain = re.sub(r"[bB]$", "", text.strip()) if text else text
    amount = _amount(option, plain, BYTE_UNITS, "a number of bytes like 500MB or 2GiB")
    return None if amount is None else int(amount)


def second_amount(option: str, text: str | None) -> float | None:
    """Seconds; None where nothing was said. Raises WrongCall."""
    return _amount(option, text, SECOND_UNITS, "a time like 90s, 30min or 2h")


def entry_amount(option: str, text: str) -> int:
    """So many images a folder. Raises WrongCall."""
    if not re.fullmatch("[0-9]{1,9}", text) or int(text) < 2:
        raise WrongCall(f"{option} {text}: a folder takes a number of images, 2 or more")
    return int(text)


def duration_text(seconds: float) -> str:
    """`12 s`, `3.4 min`, `34 min`, `2 h 34 min`: sums and differences agree as they are shown."""
    if seconds < 59.5:
        return f"{seconds:.0f} s"
    if seconds < 597:
        return f"{seconds / 60:.1f} min"
    hours, minutes = divmod(round(seconds / 60), 60)
    return f"{hours:,} h {minutes} min" if hours else f"{minutes} min"


def _amount(option: str, text: str | None, units: dict[str, int], like: str) -> float | None:
    if text is None:
        return None
    match = _AMOUNT.fullmatch(text.strip())
    if match is None or match[2].upper() not in units:
        raise WrongCall(f"{option} {text}: give {like}")
    return float(match[1]) * units[match[2].upper()]
