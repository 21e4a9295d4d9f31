"""The character sets against Unicode's names, as its proposal for legacy computing maps them.

The tables of expected names are from memory of that proposal's mapping tables.
"""

from unicodedata import bidirectional, category, name

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from formats.petscii import CHARSETS, LOWER, UPPER, UnknownCharacter, from_text, to_text
from formats.visible import visible

ALL_BYTES = bytes(range(256))

UPPER_C0 = """
BOX DRAWINGS LIGHT HORIZONTAL
BLACK SPADE SUIT
VERTICAL ONE EIGHTH BLOCK-4
HORIZONTAL ONE EIGHTH BLOCK-4
HORIZONTAL ONE EIGHTH BLOCK-3
HORIZONTAL ONE EIGHTH BLOCK-2
HORIZONTAL ONE EIGHTH BLOCK-6
VERTICAL ONE EIGHTH BLOCK-3
VERTICAL ONE EIGHTH BLOCK-6
BOX DRAWINGS LIGHT ARC DOWN AND LEFT
BOX DRAWINGS LIGHT ARC UP AND RIGHT
BOX DRAWINGS LIGHT ARC UP AND LEFT
LEFT AND LOWER ONE EIGHTH BLOCK
BOX DRAWINGS LIGHT DIAGONAL UPPER LEFT TO LOWER RIGHT
BOX DRAWINGS LIGHT DIAGONAL UPPER RIGHT TO LOWER LEFT
LEFT AND UPPER ONE EIGHTH BLOCK
RIGHT AND UPPER ONE EIGHTH BLOCK
BLACK CIRCLE
HORIZONTAL ONE EIGHTH BLOCK-7
BLACK HEART SUIT
VERTICAL ONE EIGHTH BLOCK-2
BOX DRAWINGS LIGHT ARC DOWN AND RIGHT
BOX DRAWINGS LIGHT DIAGONAL CROSS
WHITE CIRCLE
BLACK CLUB SUIT
VERTICAL ONE EIGHTH BLOCK-7
BLACK DIAMOND SUIT
BOX DRAWINGS LIGHT VERTICAL AND HORIZONTAL
LEFT HALF MEDIUM SHADE
BOX DRAWINGS LIGHT VERTICAL
GREEK SMALL LETTER PI
BLACK UPPER RIGHT TRIANGLE
""".strip().splitlines()

UPPER_A0 = """
NO-BREAK SPACE
LEFT HALF BLOCK
LOWER HALF BLOCK
UPPER ONE EIGHTH BLOCK
LOWER ONE EIGHTH BLOCK
LEFT ONE EIGHTH BLOCK
MEDIUM SHADE
RIGHT ONE EIGHTH BLOCK
LOWER HALF MEDIUM SHADE
BLACK UPPER LEFT TRIANGLE
RIGHT ONE QUARTER BLOCK
BOX DRAWINGS LIGHT VERTICAL AND RIGHT
QUADRANT LOWER RIGHT
BOX DRAWINGS LIGHT UP AND RIGHT
BOX DRAWINGS LIGHT DOWN AND LEFT
LOWER ONE QUARTER BLOCK
BOX DRAWINGS LIGHT DOWN AND RIGHT
BOX DRAWINGS LIGHT UP AND HORIZONTAL
BOX DRAWINGS LIGHT DOWN AND HORIZONTAL
BOX DRAWINGS LIGHT VERTICAL AND LEFT
LEFT ONE QUARTER BLOCK
LEFT THREE EIGHTHS BLOCK
RIGHT THREE EIGHTHS BLOCK
UPPER ONE QUARTER BLOCK
UPPER THREE EIGHTHS BLOCK
LOWER THREE EIGHTHS BLOCK
RIGHT AND LOWER ONE EIGHTH BLOCK
QUADRANT LOWER LEFT
QUADRANT UPPER RIGHT
BOX DRAWINGS LIGHT UP AND LEFT
QUADRANT UPPER LEFT
QUADRANT UPPER LEFT AND LOWER RIGHT
""".strip().splitlines()

# Bidirectional classes that never turn a line round.
NEUTRAL_OR_LEFT_TO_RIGHT = {"L", "ON", "EN", "CS", "ES", "ET", "WS"}

LOWER_DIFFERS = {
    0xA9: "UPPER RIGHT TO LOWER LEFT FILL",
    0xBA: "CHECK MARK",
    0xDE: "INVERSE CHECKER BOARD FILL",
    0xDF: "UPPER LEFT TO LOWER RIGHT FILL",
    **{0xC1 + n: f"LATIN CAPITAL LETTER {chr(ord('A') + n)}" for n in range(26)},
    **{0x41 + n: f"LATIN SMALL LETTER {chr(ord('A') + n)}" for n in range(26)},
}


def expected_upper_names() -> dict[int, str]:
    ascii_names = {code: name(chr(code)) for code in range(0x20, 0x5E)}
    own_signs = {0x5C: "POUND SIGN", 0x5E: "UPWARDS ARROW", 0x5F: "LEFTWARDS ARROW"}
    graphics = dict(enumerate(UPPER_A0 + UPPER_C0, start=0xA0))
    return ascii_names | own_signs | graphics


def test_upper_set_has_the_names_of_the_proposal() -> None:
    shown = to_text(ALL_BYTES, UPPER)
    expected = expected_upper_names()
    assert len(expected) == 128
    assert {code: name(shown[code]) for code in expected} == expected


def test_lower_set_differs_only_where_the_proposal_says() -> None:
    shown = to_text(ALL_BYTES, LOWER)
    expected = expected_upper_names() | LOWER_DIFFERS
    assert {code: name(shown[code]) for code in expected} == expected


@pytest.mark.parametrize("charset", CHARSETS.values(), ids=CHARSETS)
@pytest.mark.parametrize("plain", [False, True])
def test_duplicates_look_as_their_originals(charset, plain) -> None:
    shown = to_text(ALL_BYTES, charset, plain)
    assert shown[0x60:0x80] == shown[0xC0:0xE0]
    assert shown[0xE0:0xFF] == shown[0xA0:0xBF]
    assert shown[0xFF] == shown[0xDE]


def test_control_codes_are_shown_and_each_differs() -> None:
    shown = to_text(ALL_BYTES)
    assert name(shown[0x13]) == "SYMBOL FOR DEVICE CONTROL THREE"
    # Dots 1 to 8 are the bits 0 to 7: hex 93 has the bits 0, 1, 4 and 7.
    assert name(shown[0x93]) == "BRAILLE PATTERN DOTS-1258"
    controls = shown[:0x20] + shown[0x80:0xA0]
    assert len(set(controls)) == 64
    assert not set(controls) & set(shown[0x20:0x80] + shown[0xA0:])


@pytest.mark.parametrize("charset", CHARSETS.values(), ids=CHARSETS)
@pytest.mark.parametrize("plain", [False, True])
def test_every_byte_is_one_harmless_column(charset, plain) -> None:
    shown = to_text(ALL_BYTES, charset, plain)
    assert len(shown) == 256
    assert [byte for byte in ALL_BYTES if cell_len(shown[byte]) != 1] == []
    assert visible(shown) == shown
    assert {category(character)[0] for character in shown} <= set("LNPSZ")
    assert {bidirectional(character) for character in shown} <= NEUTRAL_OR_LEFT_TO_RIGHT


@pytest.mark.parametrize("charset", CHARSETS.values(), ids=CHARSETS)
def test_plain_stays_inside_code_page_437(charset) -> None:
    # The glyphs of this code page below 20, which Python's codec reads as controls.
    below_20 = "☺☻♥♦♣♠•◘○◙♂♀♪♫☼►◄↕‼¶§▬↨↑↓→←∟↔▲▼"
    shown = to_text(ALL_BYTES, charset, plain=True)
    outside = [c for c in shown if c not in below_20 and not c.encode("cp437", "ignore")]
    assert outside == []
    assert "\xa0" not in shown


def test_plain_keeps_what_fonts_have() -> None:
    assert to_text(b"GRAUHAVEN \xd3 \x5c5", plain=True) == "GRAUHAVEN ♥ £5"
    assert to_text(b"\xa0\x93\x05", plain=True) == " ··"


@pytest.mark.parametrize("charset", CHARSETS.values(), ids=CHARSETS)
@given(data=st.binary())
def test_round_trip_but_for_the_duplicates(charset, data) -> None:
    def original(byte: int) -> int:
        if 0x60 <= byte < 0x80:
            return byte + 0x60
        return 0xDE if byte == 0xFF else byte - 0x40 if byte >= 0xE0 else byte

    assert from_text(to_text(data, charset), charset) == bytes(map(original, data))


def test_upper_set_takes_either_case_and_lower_keeps_it() -> None:
    assert from_text("Hafen 2") == b"HAFEN 2"
    assert from_text("Hafen 2", LOWER) == b"\xc8AFEN 2"


def test_keyboard_signs_stand_for_the_codes_they_have() -> None:
    assert from_text("\\^_") == from_text("£↑←") == b"\x5c\x5e\x5f"
    assert from_text("π") == b"\xde"


@pytest.mark.parametrize(
    ("text", "shown", "position"), [("abß", "ß", 3), ("\x1b[0m", r"\x1b", 1), ("a{b{", "{", 2)]
)
def test_unknown_character_is_named_with_its_place(text, shown, position) -> None:
    with pytest.raises(UnknownCharacter) as error:
        from_text(text)
    assert str(error.value) == (
        f"the character '{shown}' (position {position}) "
        "does not exist in the machine's character set"
    )


@given(text=st.text())
def test_from_text_gives_bytes_or_its_own_error(text) -> None:
    if set(text) <= UPPER.codes.keys():
        assert len(from_text(text)) == len(text)
    else:
        with pytest.raises(UnknownCharacter) as error:
            from_text(text)
        assert visible(str(error.value)) == str(error.value)
