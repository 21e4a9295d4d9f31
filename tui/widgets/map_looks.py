"""How each kind of block is drawn on the map, and what the legend says of it."""

from __future__ import annotations

from typing import NamedTuple


class Look(NamedTuple):
    """How a block is drawn; the glyph alone tells it."""

    glyph: str
    plain: str
    """In plain glyphs."""
    says: str


LOOKS = {
    "this": Look("■", "#", "this file"),
    "unlit": Look("□", "=", "this file, not read yet"),
    "beside": Look("◊", "&", "this file, beside its chain"),
    "break": Look("!", "!", "its chain breaks here"),
    "file": Look("▪", "o", "other files"),
    "directory": Look("♦", "D", "directory and map"),
    "stranded": Look("○", "?", "in use, no file's"),
    "unreadable": Look("×", "X", "cannot be read"),
    "free": Look("◦", ":", "free, once written"),
    "blank": Look("·", ".", "never written"),
}
