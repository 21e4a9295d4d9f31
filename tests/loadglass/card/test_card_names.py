"""Names for the card, against FAT as a general-purpose library has it and the standard library."""

from __future__ import annotations

import ntpath
import unicodedata
import warnings
from collections import Counter
from pathlib import Path, PureWindowsPath

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.findings import Verdict
from loadglass.card.candidates import Candidate
from loadglass.card.folders import Arrangement, Layout, Occupied, arrange
from loadglass.card.names import (
    NAME_LIMIT,
    clash_key,
    ending_for,
    numbered,
    readable_name,
    safe_name,
)
from tests.examples import examples
from tests.loadglass.card.fat import read_tree, write_tree

FAT_RESERVED = '"*/:<>?\\|' + "".join(map(chr, range(32))) + "\x7f"
"""Not in any name on FAT (FAT's own specification, from memory)."""
LAYOUTS = ["35-track", "40-track", "42-track", "70-track", "80-track"]

file_names = st.one_of(
    st.text(max_size=40),
    st.text(alphabet="abcABC .~()[]0129_-ßſıÉÄ", max_size=30),
    st.sampled_from(["con", "NUL", "aux.", "com1", "Lpt9.old", "CONIN$", "prn .x", ".", "..", " "]),
).map(lambda name: name.replace("/", "-") + ".d64")


def candidate(file_name: str, title: str = "", **changes: object) -> Candidate:
    fields: dict[str, object] = {
        "path": f"/club/{file_name}",
        "sha256": f"{abs(hash(file_name)):064x}",
        "title": title,
        "file_name": file_name,
        "size_bytes": 174848,
        "verdict": Verdict.SOUND,
        "kind": "35-track",
        **changes,
    }
    return Candidate(**fields)  # type: ignore[arg-type]


def is_reserved_on_windows(name: str) -> bool:
    """As Python's standard library knows the rules."""
    if hasattr(ntpath, "isreserved"):  # Python 3.13
        return bool(ntpath.isreserved(name))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        return PureWindowsPath(name).is_reserved() or name[-1:] in (" ", ".")


def assert_safe(name: str) -> None:
    assert name.isascii() and not set(name) & set(FAT_RESERVED), name
    assert not is_reserved_on_windows(name), name
    assert name == name.strip() and not name.startswith((".", "-")), name
    assert "~" not in name, "FAT's own short names have a tilde"
    assert ntpath.basename(name) == name and len(name) <= 255


@examples(400)
@given(file_names, st.text(max_size=16), st.booleans())
def test_a_name_is_safe_readable_and_short(file_name: str, title: str, mended: bool) -> None:
    name = readable_name(candidate(file_name, title, mended=mended))
    assert 0 < len(name) <= NAME_LIMIT
    assert_safe(name)
    assert_safe(name + ".d64")


@examples(300)
@given(st.text(max_size=60), st.integers(8, 16))
def test_a_folder_name_is_safe(text: str, limit: int) -> None:
    name = safe_name(text, limit)
    assert 0 < len(name) <= limit
    assert_safe(name)
    assert_safe(numbered(name, 2, limit=16))


@pytest.mark.parametrize(
    ("file_name", "name"),
    [
        ("Harbour Night (1987)(Club)[cr].d64", "Harbour Night"),
        ("Harbour Night Disk 1 Side A.d64", "Harbour Night 1A"),
        ("Lighthouse Keeper of Grauhaven Side B.d64", "Lighthouse Kee B"),
        ("Tide Table of the Club (Disk 2 of 3).d71", "Tide Table of 2"),
        ("Nebelhorn Teil 2.d64", "Nebelhorn Teil 2"),
        ("Grauhaven Regatta 1988 d2s1.d64", "Grauhaven Reg 2A"),
        ("low_tide.d64.gz", "low tide"),
        ("Łódź im Nebel.d64", "Lodz im Nebel"),
        ("con.d64", "con-"),
        ("COM1.new.d64", "COM1-.new"),
        ("What? 100%: A/B.d64", "What 100 - A-B"),
        ("~1.d64", "1"),
        ("...d64", "FOG HORN"),
        ("Маяк.d64", "FOG HORN"),
    ],
)
def test_names_one_would_give_by_hand(file_name: str, name: str) -> None:
    assert readable_name(candidate(file_name, "FOG HORN")) == name


def test_a_mended_copy_is_marked() -> None:
    assert readable_name(candidate("Salt Spray over the Sea.d64", mended=True)) == "Salt Spray (m)"


@pytest.mark.parametrize(
    ("file_name", "kind", "ending"),
    [
        ("a.D64", "35-track", ".d64"),
        ("a.d40", "40-track with error bytes", ".d40"),
        ("a.d64.gz", "42-track", ".d64"),
        ("a.d64", "80-track", ".d81"),
        ("a.bin", "70-track", ".d71"),
    ],
)
def test_the_ending_says_the_layout(file_name: str, kind: str, ending: str) -> None:
    assert ending_for(candidate(file_name, kind=kind)) == ending


def test_clash_keys_know_more_than_one_rule_of_case() -> None:
    """Whatever Unicode's simple case mappings take for one (UnicodeData, as Python has it)."""
    for code in range(0x20, 0x10000):
        character = chr(code)
        if unicodedata.category(character) in ("Cs", "Cn"):
            continue
        for other in (character.upper(), character.lower(), character.casefold()):
            if len(other) == 1 and len(character.upper()) == 1:
                assert clash_key(character) == clash_key(other), f"{code:04X}"
    assert clash_key("É") == clash_key("e\u0301")
    assert clash_key("Fog") != clash_key("Fog ")


def nasty(count: int) -> list[Candidate]:
    """Names that clash in every way there is."""
    names = [
        *("Fog Horn.d64", "FOG HORN.d64", "fog horn.D64", "Fog_Horn.d64.gz", "Fog Horn .d64"),
        *("Fóg Horn.d64", "ſtorm.d64", "storm.d64", "STORM.d64", "Ebbe ß.d64", "Ebbe ss.d64"),
        *("con.d64", "CON.d64", "con-.d64", "nul.d64", "Aux.d64", "LPT1.d64", "com9.x.d64"),
        *("HARBOU~1.d64", "Harbour Night and Day.d64", "Harbour Night and Fog.d64"),
        *("...d64", "..d64", "?.d64", "Маяк.d64", "x" * 200 + ".d64", "x" * 201 + ".d64"),
        *("A-D.d64", "Untagged.d64", ".loadglass.d64", "Other.d64", "0-9.d64"),
    ]
    made = []
    for i in range(count):
        name = names[i % len(names)]
        if i >= len(names):
            name = f"{chr(65 + i * 7 % 26)}{name}" if i % 3 else name
        tags = [(), ("demo",), ("aux",), ("Ä/B",), ("con.1",)][i % 5]
        made.append(candidate(name, "TITLE", path=f"/club/{i}/{name}", tags=tags))
    return made


@pytest.mark.parametrize("layout", list(Layout))
def test_a_tree_comes_back_from_a_real_fat32(tmp_path: Path, layout: Layout) -> None:
    candidates = nasty(96)
    targets = arrange(candidates, Arrangement(layout, 12), {}, Occupied())
    files = {target: f"{i} {target}".encode() for i, target in enumerate(targets)}
    assert len(files) == len(candidates), "two files of one name"
    write_tree(tmp_path / "card.img", files.items())
    assert read_tree(tmp_path / "card.img") == files
    folders = Counter(target.rpartition("/")[0] for target in targets)
    assert max(folders.values()) <= 12
    for target in targets:
        for part in target.split("/"):
            assert_safe(part)


@examples(60)
@given(
    st.lists(file_names, min_size=1, max_size=40), st.sampled_from(list(Layout)), st.integers(2, 9)
)
def test_never_two_files_with_one_name(names: list[str], layout: Layout, limit: int) -> None:
    candidates = [
        candidate(name, path=f"/club/{i}/{name}", tags=(name[:5] or "x",))
        for i, name in enumerate(names)
    ]
    targets = arrange(candidates, Arrangement(layout, limit), {}, Occupied())
    assert len({clash_key(target) for target in targets}) == len(names)
    stems = {clash_key(target.rpartition("/")[2].rpartition(".")[0]) for target in targets}
    assert len(stems) == len(names), "the same name in two folders"
    for target in targets:
        for part in target.split("/"):
            assert_safe(part)
