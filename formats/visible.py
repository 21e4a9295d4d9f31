r"""Any text or bytes as harmless text for one line of a terminal.

What cannot be printed is written out: ``\x1b`` (a character below U+0100, or a byte that is not
UTF-8), ``\u202e``, ``\U000e0001``. All else stays as it is; so a backslash in the result may have
been one before. Markup of the screen's toolkit is not looked at.
"""

from unicodedata import category

# Assigned, and by their category letters or marks, but drawn as nothing: Unicode's
# Default_Ignorable_Code_Point, less those that the categories below tell already.
_DRAWN_AS_NOTHING = frozenset(
    map(
        chr,
        (
            0x034F,  # combining grapheme joiner
            *(0x115F, 0x1160, 0x3164, 0xFFA0),  # Hangul fillers
            *(0x17B4, 0x17B5),  # Khmer inherent vowels
            *range(0x180B, 0x1810),  # Mongolian variation selectors
            *range(0xFE00, 0xFE10),  # variation selectors
            *range(0xE0100, 0xE01F0),  # variation selectors supplement
        ),
    )
)
# Enough for any letter of a decomposed file name; a tower of marks would cover other lines.
_MARKS_ON_ONE_LETTER = 2


def visible(text: str | bytes) -> str:
    r"""``text`` with everything written out that is not plainly visible; never fails.

    Bytes are read as UTF-8. Written out are control and format characters (bidirectional ones
    too), line and paragraph separators, surrogates, private and unassigned characters, whatever
    is drawn as nothing, and combining marks that have no letter to stand on or are more than two
    on one. Letters written right to left stay.
    """
    if isinstance(text, bytes):
        text = text.decode("utf-8", "surrogateescape")
    if text.isascii() and text.isprintable():
        return text
    shown = []
    marks_allowed = 0
    for character in text:
        kind = category(character)
        is_mark = kind[0] == "M"
        if (
            character in _DRAWN_AS_NOTHING
            or (kind[0] in "CZ" and kind != "Zs")
            or (is_mark and not marks_allowed)
        ):
            shown.append(_written_out(character))
            marks_allowed = 0
        else:
            shown.append(character)
            marks_allowed = marks_allowed - 1 if is_mark else _MARKS_ON_ONE_LETTER
    return "".join(shown)


def _written_out(character: str) -> str:
    code = ord(character)
    if 0xDC80 <= code <= 0xDCFF:  # how Python keeps a byte of a file name that is not UTF-8
        code -= 0xDC00
    if code < 0x100:
        return f"\\x{code:02x}"
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"
