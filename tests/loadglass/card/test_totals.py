"""What the picks come to is what a plan takes, however it is made up."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from formats.compose import NewFile, compose
from formats.geometry import TRACKS_80
from loadglass.card.choose import Rules
from loadglass.card.device import Device
from loadglass.card.plan import Wishes, make_plan
from loadglass.card.totals import Totals, totals_of
from loadglass.shelf.query import Shelf
from loadglass.timing.rig import Rig
from tests.loadglass.card.evening import FAST_CARD, broken, image
from tests.loadglass.card.test_asked import RIGS, Club


@pytest.fixture
def club(tmp_path: Path) -> Iterator[Club]:
    """Everything is picked: two of one content, one damaged, one of tracks that few drives read,
    one without a program, one that is gone."""
    made = Club(tmp_path)
    made.put("Fog Horn.d64", image(b"FOG HORN", 1))
    made.put("Fog Horn again.d64", image(b"FOG HORN", 1))
    made.put("Tide Table.d64", image(b"TIDE TABLE", 2))
    made.put("Members.d64", compose(b"MEMBERS", []))
    made.put("Broken.d64", broken(b"BROKEN", 4))
    made.put("Archive.d81", compose(b"ARCHIVE", [NewFile(b"LIST", b"MOIN" * 99)], TRACKS_80))
    made.put("Gone.d64", image(b"GONE", 5))
    made.survey()
    made.pick(*(path.name for path in made.folder.iterdir()))
    (made.folder / "Gone.d64").unlink()
    made.survey()
    yield made
    made.choices.close()


def totals(club: Club, rig: Rig, even_damaged: bool, every_copy: bool) -> Totals:
    with closing(Shelf(club.index, club.choices, RIGS)) as shelf:
        return totals_of(shelf, "stock-card", rig, even_damaged, every_copy)


@pytest.mark.parametrize("every_copy", [False, True])
@pytest.mark.parametrize("even_damaged", [False, True])
@pytest.mark.parametrize("layouts", [("35-track", "80-track"), ("35-track",)])
def test_totals_are_the_plans(
    club: Club, tmp_path: Path, even_damaged: bool, layouts: tuple[str, ...], every_copy: bool
) -> None:
    rig = dataclasses.replace(FAST_CARD, layouts=layouts)
    found = totals(club, rig, even_damaged, every_copy)
    (tmp_path / "card").mkdir()
    rules = Rules(rig, even_damaged=even_damaged, every_copy=every_copy)
    plan = make_plan(Device(str(tmp_path / "card")), club.ask(), rules, Wishes())
    assert found.images == len(plan.picks) == 3 + even_damaged + every_copy + len(layouts) - 1
    assert found.bytes == plan.bytes
    assert found.waiting.unknown == plan.waiting.unknown == 1
    assert found.waiting.stock_s == pytest.approx(plan.waiting.stock_s)
    assert found.waiting.fast_s == pytest.approx(plan.waiting.fast_s)
    assert (found.damaged, found.unmounted) == (1 - even_damaged, 2 - len(layouts))
    assert (found.picks, found.copies) == (5 + every_copy, 1 - every_copy)
