"""PETSCII to Unicode and back, in both character sets of the 8-bit home computer.

The graphics follow the mapping tables of the Unicode proposal for *Symbols for Legacy Computing*
(Unicode 13.0), from memory. Every byte becomes one character that is one column wide and harmless
to a terminal:

| bytes | shown as |
| --- | --- |
| 20–5F, A0–DF | the glyph; A0 is the no-break space |
| 60–7F, E0–FE, FF | the machine's own duplicates: as C0–DF, A0–BE, DE |
| 00–1F | the control pictures U+2400–U+241F |
| 80–9F | the eight-dot braille patterns U+2880–U+289F, whose dots spell the byte |

The plain rendering is for fonts without those glyphs. It uses nothing outside code page 437, which
console fonts have had since the 1980s, and cannot be turned back into bytes.
"""

from typing import NamedTuple

from formats.errors import LoadglassError
from formats.visible import visible

_PUNCTUATION = " !\"#$%&'()*+,-./0123456789:;<=>?"
_UNSHIFTED_UPPER = "@ABCDEFGHIJKLMNOPQRSTUVWXYZ[£]↑←"
_UNSHIFTED_LOWER = "@abcdefghijklmnopqrstuvwxyz[£]↑←"

_A0_UPPER = "\xa0▌▄▔▁▏▒▕🮏◤🮇├▗└┐▂┌┴┬┤▎▍🮈🮂🮃▃🭿▖▝┘▘▚"
_A0_LOWER = "\xa0▌▄▔▁▏▒▕🮏🮙🮇├▗└┐▂┌┴┬┤▎▍🮈🮂🮃▃✓▖▝┘▘▚"
_C0_UPPER = "─♠🭲🭸🭷🭶🭺🭱🭴╮╰╯🭼╲╱🭽🭾●🭻♥🭰╭╳○♣🭵♦┼🮌│π◥"
_C0_LOWER = "─ABCDEFGHIJKLMNOPQRSTUVWXYZ┼🮌│🮖🮘"

_PLAIN_A0_UPPER = " ▌▄─_│▒│▒▌▐├▄└┐▄┌┴┬┤▌▌▐▀▀▄┘▄▀┘▀▒"
_PLAIN_A0_LOWER = " ▌▄─_│▒│▒/▐├▄└┐▄┌┴┬┤▌▌▐▀▀▄√▄▀┘▀▒"
_PLAIN_C0_UPPER = "─♠│───_││┐└┘└\\/┌┐•_♥│┌X○♣│♦┼▒│π▐"
_PLAIN_C0_LOWER = "─ABCDEFGHIJKLMNOPQRSTUVWXYZ┼▒│▒\\"

_CONTROLS = "".join(map(chr, range(0x2400, 0x2420)))
_SHIFTED_CONTROLS = "".join(map(chr, range(0x2880, 0x28A0)))
_PLAIN_CONTROLS = "·" * 32

# What a present-day keyboard has at the codes where the machine has its own sign.
_KEYBOARD_ALIASES = {"\\": 0x5C, "^": 0x5E, "_": 0x5F}


class UnknownCharacter(LoadglassError):
    """A text holds a character that the machine's character set does not have."""


class Charset(NamedTuple):
    """One of the machine's two character sets: ``UPPER`` or ``LOWER``.

    ``glyphs`` and ``plain_glyphs`` hold 256 characters, one a byte; ``codes`` gives the byte of
    each character that may be typed.
    """

    name: str
    glyphs: str
    plain_glyphs: str
    codes: dict[str, int]


def _all_bytes(unshifted: str, a0: str, c0: str, low_controls: str, high_controls: str) -> str:
    shifted_again = a0[:-1] + c0[0x1E]
    return low_controls + _PUNCTUATION + unshifted + c0 + high_controls + a0 + c0 + shifted_again


def _codes(glyphs: str) -> dict[str, int]:
    """The byte of each character; of duplicates the one that the keyboard sends (A0–DF)."""
    canonical = (*range(0x60), *range(0x80, 0xE0))
    return {glyphs[byte]: byte for byte in canonical} | _KEYBOARD_ALIASES


def _either_case(codes: dict[str, int]) -> dict[str, int]:
    return codes | {chr(byte).lower(): byte for byte in range(ord("A"), ord("Z") + 1)}


_UPPER_GLYPHS = _all_bytes(_UNSHIFTED_UPPER, _A0_UPPER, _C0_UPPER, _CONTROLS, _SHIFTED_CONTROLS)
_LOWER_GLYPHS = _all_bytes(_UNSHIFTED_LOWER, _A0_LOWER, _C0_LOWER, _CONTROLS, _SHIFTED_CONTROLS)

UPPER = Charset(
    name="upper",
    glyphs=_UPPER_GLYPHS,
    plain_glyphs=_all_bytes(
        _UNSHIFTED_UPPER, _PLAIN_A0_UPPER, _PLAIN_C0_UPPER, _PLAIN_CONTROLS, _PLAIN_CONTROLS
    ),
    codes=_either_case(_codes(_UPPER_GLYPHS)),
)
LOWER = Charset(
    name="lower",
    glyphs=_LOWER_GLYPHS,
    plain_glyphs=_all_bytes(
        _UNSHIFTED_LOWER, _PLAIN_A0_LOWER, _PLAIN_C0_LOWER, _PLAIN_CONTROLS, _PLAIN_CONTROLS
    ),
    codes=_codes(_LOWER_GLYPHS),
)
CHARSETS = {charset.name: charset for charset in (UPPER, LOWER)}


def to_text(data: bytes, charset: Charset = UPPER, plain: bool = False) -> str:
    """The bytes as text, one column a byte; never fails.

    ``plain`` gives look-alikes for fonts that lack the graphics.
    """
    return str(data, "latin-1").translate(charset.plain_glyphs if plain else charset.glyphs)


def from_text(text: str, charset: Charset = UPPER) -> bytes:
    r"""The bytes of a text that ``to_text`` showed or a person typed.

    The upper-case set takes letters of either case. ``\``, ``^`` and ``_`` stand for the signs
    that the machine has at these codes: £, ↑ and ←. Raises ``UnknownCharacter``.
    """
    try:
        return bytes(map(charset.codes.__getitem__, text))
    except KeyError as unknown:
        character = unknown.args[0]
        raise UnknownCharacter(
            f"the character '{visible(character)}' (position {text.index(character) + 1}) "
            "does not exist in the machine's character set"
        ) from None
