"""A fill, a refill and a check on a real FAT32 file system of someone else's making."""

from __future__ import annotations

import unicodedata
from pathlib import Path

from loadglass.card.check import check_card
from loadglass.card.fill import fill
from loadglass.card.folders import Arrangement, Layout
from loadglass.card.plan import Wishes, make_plan
from tests.loadglass.card.evening import Evening, image, plain_evening
from tests.loadglass.card.fat import FatDevice, fat_card, mounted


def fill_fat(evening: Evening, device: FatDevice) -> None:
    plan = make_plan(device, evening.candidates, evening.rules, evening.wishes)
    assert fill(device, plan).safe_to_remove


def test_names_that_fat_takes_for_one_and_a_card_that_is_filled_twice(tmp_path: Path) -> None:
    evening = plain_evening(tmp_path)
    for i, name in enumerate(("FOG HORN", "fog horn ", "Fóg Horn", "con", "HARBOU~1", "Harbour.")):
        evening.add(f"{unicodedata.normalize('NFC', name)}.d64", image(b"CLASH", 30 + i))
    path = tmp_path / "card.img"
    with fat_card(path) as card:
        card.makedirs("/a")
        card.writebytes("/a/ANKER.D64", b"not ours")
        evening.add("Anker.d64", image(b"ANKER", 40))
        fill_fat(evening, FatDevice(str(evening.card), card))
    evening.candidates = evening.candidates[2:]
    evening.add("Zoll.d64", image(b"ZOLL", 41))
    with mounted(path) as card:
        device = FatDevice(str(evening.card), card)
        fill_fat(evening, device)
        checked = check_card(device)
        assert checked.foreign == ["a/ANKER.D64"]
        assert len(checked.ok) == len(evening.candidates) and not checked.missing
        assert card.readbytes("/a/ANKER.D64") == b"not ours"
        on_card = {card.readbytes(entry.target) for entry in checked.ok}
        assert on_card == {Path(each.path).read_bytes() for each in evening.candidates}
        assert not card.exists("/.loadglass/journal")


def test_a_flat_card_with_folders_that_change_nothing(tmp_path: Path) -> None:
    evening = plain_evening(tmp_path)
    evening.wishes = Wishes(Arrangement(Layout.FLAT, 2))
    path = tmp_path / "card.img"
    with fat_card(path) as card:
        fill_fat(evening, FatDevice(str(evening.card), card))
        first = {entry.target for entry in check_card(FatDevice(str(evening.card), card)).ok}
    evening.add("Another.d64", image(b"ANOTHER", 50))
    with mounted(path) as card:
        fill_fat(evening, FatDevice(str(evening.card), card))
        assert first < {entry.target for entry in check_card(FatDevice(str(evening.card), card)).ok}
