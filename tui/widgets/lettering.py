"""How the machine's characters are shown: in which of its two sets, and with which glyphs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

from formats.petscii import LOWER, UPPER, Charset, to_text


@dataclass(frozen=True)
class Lettering:
    charset: Charset = UPPER
    plain: bool = False
    """For fonts without the machine's block graphics."""

    def text(self, name: bytes) -> str:
        """Bytes of an image, one cell a byte."""
        return to_text(name, self.charset, self.plain)

    def drawn(self, text: str) -> str:
        """A text that was made in full glyphs of this set."""
        return text.translate(_plain(self.charset.name)) if self.plain else text

    def sentence(self, text: str) -> str:
        """A sentence with names in it, or a title of the shelf: they are in the upper-case set."""
        return text.translate(_plain(UPPER.name)) if self.plain and not text.isascii() else text

    def other_set(self) -> Lettering:
        return replace(self, charset=LOWER if self.charset is UPPER else UPPER)


@cache
def _plain(name: str) -> dict[int, str]:
    charset = UPPER if name == UPPER.name else LOWER
    pairs = zip(charset.glyphs, charset.plain_glyphs, strict=True)
    return {ord(full): plain for full, plain in pairs if full != plain}
