"""Harmless text, judged by Unicode's own data (unicodedata, rich's widths)."""

from unicodedata import bidirectional, category, normalize

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from formats.visible import visible

UNPRINTABLE = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
# Bidirectional classes of embeddings, overrides, isolates and separators.
LINE_TURNING = {"LRE", "LRO", "RLE", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI", "BN", "B", "S"}

NASTY = "a\\ \x00\x1b\x7f\x9b\xa0\xad\u0301\u0336\u200b\u200d\u2028\u202e\u2067\ufe0f"
# Surrogates come in file names that are not UTF-8.
ANY_TEXT = st.lists(
    st.characters() | st.sampled_from(NASTY) | st.integers(0xD800, 0xDFFF).map(chr)
).map("".join)


@given(text=ANY_TEXT)
def test_nothing_unprintable_remains(text) -> None:
    shown = visible(text)
    assert not {category(c) for c in shown} & UNPRINTABLE
    assert not {bidirectional(c) for c in shown} & LINE_TURNING
    assert len(shown.splitlines()) <= 1
    assert shown.encode("utf-8").decode("utf-8") == shown
    assert visible(shown) == shown


@given(text=ANY_TEXT)
def test_every_character_is_there_or_written_out(text) -> None:
    shown = visible(text)
    at = 0
    for character in text:
        if shown.startswith(character, at):
            at += 1
            continue
        code = ord(character)
        assert shown[at] == "\\"
        digits = {"x": 2, "u": 4, "U": 8}[shown[at + 1]]
        written = int(shown[at + 2 : at + 2 + digits], 16)
        assert written == (code - 0xDC00 if 0xDC80 <= code <= 0xDCFF else code)
        at += 2 + digits
    assert at == len(shown)


@given(data=st.binary())
def test_any_bytes(data) -> None:
    assert visible(data) == visible(data.decode("utf-8", "surrogateescape"))


@given(text=st.text(st.characters(categories=["Lu", "Ll", "Nd", "Po", "Sm"])))
def test_plain_writing_is_unchanged(text) -> None:
    assert visible(text) == text


@pytest.mark.parametrize(
    "text",
    [
        "Grauhaven Übersicht.d64",
        "10 % – “wharf” ♥ \xa0 \U0001fb72",
        "נמל",
        normalize("NFD", "Đường về cảng"),
        "港の灯り\u3000一",
        r"C:\new",
    ],
)
def test_ordinary_names_are_unchanged(text) -> None:
    assert visible(text) == text


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("a\x1b[2Jb", r"a\x1b[2Jb"),
        ("two\nlines\r\t", r"two\x0alines\x0d\x09"),
        ("\x7f\x9b", r"\x7f\x9b"),
        ("x\u202egnp.exe", r"x\u202egnp.exe"),
        ("a\u200bb\ufeff", r"a\u200bb\ufeff"),
        ("a\u2028b\u2029", r"a\u2028b\u2029"),
        ("\U000e0041", r"\U000e0041"),
        ("\udcff", r"\xff"),
        ("\ud800", r"\ud800"),
        ("\ue000\U0010ffff", r"\ue000\U0010ffff"),
        ("\u0301e", r"\u0301e"),
        ("e\u0301\u0302\u0303\u0304", "e\u0301\u0302\\u0303\\u0304"),
        ("\u3164\ufe0f", r"\u3164\ufe0f"),
        (b"K\xe4se \xc3\xa4", r"K\xe4se ä"),
        (b"\x00\x1b]0;x\x07", r"\x00\x1b]0;x\x07"),
    ],
)
def test_substitutes(text, shown) -> None:
    assert visible(text) == shown


def test_a_tower_of_marks_cannot_hide() -> None:
    assert cell_len(visible("e" + "\u0336" * 50)) == 1 + 48 * len(r"\u0336")
