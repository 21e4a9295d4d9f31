"""Signs that begin a formula, and blanks before them (common practice, no source)."""

import pytest

from loadglass.spreadsheet import harmless_cell


@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\t", "\r"])
@pytest.mark.parametrize("blanks", ["", " ", "   "])
def test_no_formula_stays_one(sign: str, blanks: str) -> None:
    assert harmless_cell(f"{blanks}{sign}1+1") == f"'{blanks}{sign}1+1"


@pytest.mark.parametrize("text", ["", "NEBEL", "1+1", "A=1", "'=1", " "])
def test_other_texts_stay_as_they_are(text: str) -> None:
    assert harmless_cell(text) == text
