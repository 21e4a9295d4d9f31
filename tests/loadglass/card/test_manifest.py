"""The card's list and journal: whole or not believed, and never leading off the card."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loadglass.card.device import CardTrouble, Device
from loadglass.card.folders import Arrangement, Layout
from loadglass.card.manifest import (
    LIST,
    NEW_LIST,
    CardList,
    checked_target,
    clear_own,
    read_list,
    ready_folder,
    write_list,
)
from loadglass.card.sealed import is_ours, seal, unseal
from tests.examples import examples
from tests.loadglass.card.test_card_contents import ENTRY

LISTED = CardList(
    (ENTRY, replace(ENTRY, target="\x7f é.d64", source="/club/caf\udce9.d64", stock_s=None)),
    ("F",),
    3,
    "stock-card",
    "fast-card",
    Arrangement(Layout.TAG, 50),
)


def test_a_list_comes_back_as_it_was() -> None:
    assert CardList.decode(LISTED.encode()) == LISTED
    assert LISTED.encode().isascii()


@examples(200)
@given(st.integers(0, len(LISTED.encode()) - 2), st.integers(1, 255))
def test_a_list_that_was_cut_or_changed_is_not_believed(at: int, change: int) -> None:
    data = LISTED.encode()
    assert CardList.decode(data[:at]) is None
    spoilt = bytearray(data)
    spoilt[at] ^= change
    decoded = CardList.decode(bytes(spoilt))
    assert decoded is None or decoded == LISTED, "at most white space"


@pytest.mark.parametrize(
    "target",
    [
        *("../up.d64", "/etc/passwd", "a/../../b", "", "a//b", "a/", ".", "a\\b", "C:x", "a\0b"),
        *(".loadglass/list.json", ".LOADGLASS/x"),
    ],
)
def test_no_target_leads_off_the_card(target: str) -> None:
    with pytest.raises(ValueError, match=r"card|image"):
        checked_target(target)
    hostile = replace(LISTED, files=(replace(ENTRY, target=target),))
    assert CardList.decode(hostile.encode()) is None
    assert CardList.decode(replace(LISTED, folders=(target,)).encode()) is None


@pytest.mark.parametrize("body", [[], {"files": 3}, {}, {"files": [{}]}, {"generation": "x"}])
def test_sealed_nonsense_is_no_list(body: object) -> None:
    assert CardList.decode(seal("card list 1", body if isinstance(body, dict) else {})) is None


@examples(100)
@given(st.integers(0, 200))
def test_any_beginning_of_a_record_is_known_as_ours(length: int) -> None:
    for data in (LISTED.encode(), seal("placed", {"target": "x"})):
        assert is_ours(data[:length])


@pytest.mark.parametrize("data", [b"{}", b"x", b'{"other": 1}', b"PK\x03\x04", b" "])
def test_other_peoples_files_are_not_ours(data: bytes) -> None:
    assert not is_ours(data)
    assert unseal("placed", data) is None


@examples(100)
@given(
    st.recursive(
        st.none() | st.integers() | st.text(), lambda x: st.lists(x) | st.dictionaries(st.text(), x)
    )
)
def test_what_is_sealed_comes_back(value: object) -> None:
    assert unseal("x", seal("x", {"value": value})) == {"value": value}
    assert unseal("y", seal("x", {"value": value})) is None


def test_the_newest_whole_list_counts(tmp_path: Path) -> None:
    device = Device(str(tmp_path))
    assert read_list(device) == CardList()
    ready_folder(device)
    write_list(device, LISTED)
    newer = replace(LISTED, generation=4)
    Path(device.path(NEW_LIST)).write_bytes(newer.encode())
    assert read_list(device) == newer
    Path(device.path(NEW_LIST)).write_bytes(newer.encode()[:-30])
    assert read_list(device) == LISTED
    Path(device.path(LIST)).unlink()
    assert read_list(device) == CardList()


def test_clearing_takes_only_ours(tmp_path: Path) -> None:
    device = Device(str(tmp_path))
    (tmp_path / "torn").write_bytes(LISTED.encode()[:40])
    clear_own(device, "torn")
    assert not (tmp_path / "torn").exists()
    (tmp_path / "theirs").write_bytes(b"theirs")
    with pytest.raises(CardTrouble):
        clear_own(device, "theirs")
    (tmp_path / "folder").mkdir()
    with pytest.raises(CardTrouble):
        clear_own(device, "folder")
