"""README and DEVELOPERS say what is so."""

from __future__ import annotations

import re
from pathlib import Path

from loadglass.shelf.filters import HELP
from loadglass.timing.rig_files import built_in_rigs
from tui.__main__ import COMMANDS

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_readme_has_the_filter_language_as_the_program_says_it() -> None:
    assert HELP in README


def test_readme_names_only_commands_that_there_are() -> None:
    named = set(re.findall(r"^ +loadglass (\w+)", README, re.MULTILINE))
    assert {"demo", "look", "audit", "clock", "mend", "survey", "shelf"} <= named
    assert named <= set(COMMANDS)


def test_readme_has_the_figures_of_the_rigs() -> None:
    rows = {
        cells[0]: [*cells[1:5]]
        for line in README.splitlines()
        if line.startswith("| ")
        and len(cells := [c.strip() for c in line.strip("|").split("|")]) == 6
    }
    keys = {
        "command": "command",
        "the loader's own start": "setup",
        "a byte over the bus": "byte",
        "overhead of a block": "block",
        "decoding a sector": "decode",
        "before looking for a sector": "lead",
        "searching a directory sector": "scan",
        "fetching a block from the card": "fetch",
        "turns a minute": "rpm",
    }
    for says, key in keys.items():
        for rig, shown in zip(built_in_rigs().values(), rows[says], strict=True):
            figure = rig.figures.get(key)
            assert shown == "-" if figure is None else float(shown) == figure.value, (says, rig)


def test_links_between_pages_lead_somewhere() -> None:
    for page, text in (("README.md", README), ("DEVELOPERS.md", DEVELOPERS)):
        for target in re.findall(r"\]\(([^)#:]+)\)", text):
            assert (ROOT / target).exists(), (page, target)


def test_developers_names_only_targets_of_the_makefile() -> None:
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    targets = set(re.findall(r"^(\w+):", makefile, re.MULTILINE))
    assert set(re.findall(r"`make (\w+)`", DEVELOPERS + README)) <= targets
