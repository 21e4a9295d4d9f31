"""Figures that can be read from across the bench."""

from __future__ import annotations

FORMS = {
    "0": ("###", "# #", "# #", "# #", "###"),
    "1": ("  #", " ##", "  #", "  #", "  #"),
    "2": ("###", "  #", "###", "#  ", "###"),
    "3": ("###", "  #", " ##", "  #", "###"),
    "4": ("# #", "# #", "###", "  #", "  #"),
    "5": ("###", "#  ", "###", "  #", "###"),
    "6": ("###", "#  ", "###", "# #", "###"),
    "7": ("###", "  #", "  #", "  #", "  #"),
    "8": ("###", "# #", "###", "# #", "###"),
    "9": ("###", "# #", "###", "  #", "###"),
    ".": (" ", " ", " ", " ", "#"),
    "s": ("   ", " ##", "#  ", " # ", "## "),
    " ": ("  ", "  ", "  ", "  ", "  "),
}
"""Five rows of points each; every digit is as wide as any other, so that nothing jumps."""
LARGE_LINES, SMALL_LINES = 5, 3
HALF_BLOCKS = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}


def large(text: str) -> list[str]:
    """Five lines, a point being two cells wide."""
    return [
        "  ".join(FORMS[character][row].replace("#", "██").replace(" ", "  ") for character in text)
        for row in range(LARGE_LINES)
    ]


def small(text: str) -> list[str]:
    """Three lines, two points above each other in a cell."""
    rows = [" ".join(FORMS[character][row] for character in text) for row in range(LARGE_LINES)]
    rows.append(" " * len(rows[0]))
    return [
        "".join(
            HALF_BLOCKS[upper == "#", lower == "#"]
            for upper, lower in zip(rows[row], rows[row + 1], strict=True)
        )
        for row in range(0, LARGE_LINES + 1, 2)
    ]
