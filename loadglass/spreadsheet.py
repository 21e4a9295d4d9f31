"""Texts for spreadsheets, which work out what begins like a formula."""

from __future__ import annotations

FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")
"""A cell that begins so, blanks before it or not, is taken for a formula."""


def harmless_cell(text: str) -> str:
    """A text that no spreadsheet works out: an apostrophe stands before such a sign."""
    return f"'{text}" if text.lstrip(" ").startswith(FORMULA_SIGNS) else text
