"""Which block was on its way after some seconds, held against clocks of shorter files."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from formats.compose import NewFile, compose
from formats.geometry import BLOCK_BYTES, TRACKS_35, TRACKS_80
from loadglass.bench.hung_at import hung_at
from loadglass.bench.in_flight import NoSuchMoment
from loadglass.opened import Opened, open_and_audit
from loadglass.timing.estimate import clock_file
from loadglass.timing.rig import Rig
from loadglass.timing.rig_files import BUILT_IN, built_in_rigs

RIGS = built_in_rigs()
LONG, SHORT = 3, 1
"""Slots of 120 and 8 blocks."""


def takes(opened: Opened, slot: int, blocks: int, rig: Rig) -> float:
    """Seconds of a file that ends after so many whole blocks."""
    chain = opened.audit.by_slot[slot].chain.blocks
    searched = opened.audit.directory.search_blocks(slot)
    estimate = clock_file(TRACKS_35, searched, chain[:blocks], 254, rig)
    assert estimate is not None
    return estimate.seconds


@pytest.mark.parametrize("name", BUILT_IN)
@pytest.mark.parametrize("done", [1, 2, 57, 118])
def test_just_after_a_block_the_next_is_on_its_way(opened: Opened, name: str, done: int) -> None:
    seconds = takes(opened, LONG, done, RIGS[name]) + 0.0001
    found = hung_at(opened, LONG, RIGS[name], seconds)
    assert found.blocks == 120
    assert found.likely is not None and found.first is not None
    assert found.likely.number == done + 1
    chain = opened.audit.by_slot[LONG].chain.blocks
    assert found.likely.place == TRACKS_35.place(chain[done])
    assert found.first.number <= done + 1 <= (found.last.number if found.last else 120)
    assert f"most likely block {done + 1} of 120, at {found.likely.place}" in found.says[1]


def test_a_rig_better_known_gives_a_narrower_range(opened: Opened) -> None:
    rig = RIGS["fast-card"]
    figures = {name: replace(figure, spread=0.001) for name, figure in rig.figures.items()}
    seconds = takes(opened, LONG, 60, rig) + 0.01
    wide = hung_at(opened, LONG, rig, seconds)
    narrow = hung_at(opened, LONG, replace(rig, figures=figures), seconds)
    assert wide.first and wide.last and narrow.first and narrow.last
    assert wide.last.number - wide.first.number > 5
    assert narrow.last.number - narrow.first.number <= 1


def test_before_the_first_block_and_behind_the_last(opened: Opened) -> None:
    rig = RIGS["fast-spinning"]
    early = hung_at(opened, SHORT, rig, 0.3)
    assert early.likely is not None and early.likely.number == 1
    assert "still being looked for" in " ".join(early.says)
    late = hung_at(opened, SHORT, rig, 500)
    assert late.likely is None and late.first is None
    assert "all of the file had arrived by then" in late.says[1]


def test_a_broken_chain_hangs_where_it_breaks_at_the_latest(tmp_path: Path) -> None:
    data = bytearray(compose(b"GRAUHAVEN", [NewFile(b"BOJE", b"\1\10" + bytes(3000))]))
    path = tmp_path / "boje.d64"
    path.write_bytes(data)
    chain = open_and_audit(str(path)).audit.by_slot[0].chain.blocks
    at = chain[4] * BLOCK_BYTES
    data[at : at + 2] = bytes(TRACKS_35.place(chain[2]))  # the fifth leads back to the third
    path.write_bytes(data)
    found = hung_at(open_and_audit(str(path)), 0, RIGS["fast-card"], 30)
    assert found.likely is not None and found.likely.place == TRACKS_35.place(chain[2])
    assert [each.code for each in found.findings][:1] == ["chain-loop"]
    assert not any("the image is whole" in sentence for sentence in found.says)


def test_a_loader_that_takes_sectors_as_they_come_is_followed_in_its_order(opened: Opened) -> None:
    rig = replace(RIGS["fast-spinning"], name="any-spinning", order="any")
    found = hung_at(opened, LONG, rig, 5)
    assert found.likely is not None
    assert TRACKS_35.index(*found.likely.place) in opened.audit.by_slot[LONG].chain.blocks


def test_what_has_no_such_moment_is_refused(opened: Opened, tmp_path: Path) -> None:
    path = tmp_path / "gross.d81"
    path.write_bytes(compose(b"GROSS", [NewFile(b"EINS", b"\1\10" * 300)], TRACKS_80))
    with pytest.raises(NoSuchMoment, match="does not mount 80-track images"):
        hung_at(open_and_audit(str(path)), 0, RIGS["stock-spinning"], 2)
