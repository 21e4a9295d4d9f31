"""Texts in the machine's characters, for fonts with and without its block graphics."""

from __future__ import annotations

from formats.petscii import UPPER, to_text

_PLAIN = str.maketrans(
    {
        full: plain
        for full, plain in zip(UPPER.glyphs, UPPER.plain_glyphs, strict=True)
        if full != plain
    }
)


def from_bytes(name: bytes, plain: bool) -> str:
    """A name or title from an image, one cell a byte."""
    return to_text(name, plain=plain)


def from_shelf(text: str, plain: bool) -> str:
    """A text that the shelf keeps in full glyphs."""
    return text.translate(_PLAIN) if plain and not text.isascii() else text
