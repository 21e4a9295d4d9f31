"""The words of titles, names and filters, folded alike so that they find each other."""

from __future__ import annotations

import re
from collections.abc import Iterable


def _fold() -> bytes:
    folded = bytearray(b" " * 256)
    folded[0x20:0x60] = range(0x20, 0x60)
    # Letters unshifted, shifted, and where the machine has the shifted ones once more.
    for first in (0x41, 0x61, 0xC1):
        folded[first : first + 26] = b"abcdefghijklmnopqrstuvwxyz"
    return bytes(folded)


_FOLDED = _fold()
_WORD = re.compile(r"\w+")


def words_of(names: Iterable[bytes]) -> str:
    """PETSCII names as plain lower-case ASCII; graphics and colours part words."""
    return b" ".join(name.translate(_FOLDED) for name in names).decode("ascii")


def has_words(text: str) -> bool:
    """Whether there is anything in a text that a search can find."""
    return _WORD.search(text) is not None
