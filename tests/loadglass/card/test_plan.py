"""The plan of a fill: what it takes, where it puts it, what it leaves out; it changes nothing."""

from __future__ import annotations

import gzip
import hashlib
import os
from dataclasses import replace
from pathlib import Path

import pytest

from formats.findings import Verdict
from loadglass.card.candidates import Candidate
from loadglass.card.choose import Rules
from loadglass.card.dest import open_card
from loadglass.card.device import CardTrouble, Device, Room
from loadglass.card.folders import Arrangement, Layout
from loadglass.card.plan import Plan, State, Wishes, make_plan
from loadglass.timing.rig_files import built_in_rigs
from tests.loadglass.card.evening import (
    FAST_CARD,
    Evening,
    broken,
    candidate,
    image,
    plain_evening,
    tree,
    used_card,
)
from tests.loadglass.card.faulty import FaultyDevice


def targets(plan: Plan) -> dict[str, State]:
    return {pick.entry.target: pick.state for pick in plan.picks}


def why(plan: Plan, name: str) -> str:
    return next(each.why for each in plan.left_out if each.path.endswith(name))


@pytest.fixture
def evening(tmp_path: Path) -> Evening:
    return plain_evening(tmp_path)


def test_a_plan_says_all_and_changes_nothing(evening: Evening) -> None:
    evening.add("Broken.d64", broken(b"BROKEN", 9))
    evening.wishes = Wishes()
    before = tree(evening.shelf), tree(evening.card)
    plan = evening.plan()
    assert targets(plan) == dict.fromkeys(
        ["Fog Horn.d64", "Harbour Night.d64", "Tide Table.d64"], State.NEW
    )
    assert why(plan, "Broken.d64") == "damaged"
    assert plan.bytes == 3 * 174_848
    assert (plan.waiting.stock_s, plan.waiting.fast_s, plan.waiting.saved_s) == (60.0, 12.0, 48.0)
    for pick in plan.picks:
        data = Path(pick.candidate.path).read_bytes()
        assert pick.entry.sha256 == hashlib.sha256(data).hexdigest()
    assert (tree(evening.shelf), tree(evening.card)) == before


def test_hash_and_size_are_of_what_will_be_on_the_card(evening: Evening) -> None:
    """Unpacked, with error bytes and whatever follows."""
    plain = image(b"PLAIN", 50)
    files = {
        "errors.d64": plain + b"\x01" * 683,
        "long.d64": image(b"LONG", 51) + b"behind",
        "packed.d64.gz": gzip.compress(image(b"PACKED", 52) + b"more"),
    }
    for name, data in files.items():
        evening.add(name, data)
    found = {Path(pick.candidate.path).name: pick.entry for pick in evening.plan().picks}
    for name, data in files.items():
        unpacked = gzip.decompress(data) if name.endswith(".gz") else data
        assert found[name].sha256 == hashlib.sha256(unpacked).hexdigest()
        assert found[name].bytes == len(unpacked)


def test_an_image_that_changed_or_went_since_the_survey(evening: Evening) -> None:
    (evening.shelf / "Fog Horn.d64").write_bytes(image(b"FOG", 99) + b"\x01" * 683)
    (evening.shelf / "Tide Table.d64").unlink()
    plan = evening.plan()
    assert [pick.candidate.title for pick in plan.picks] == ["HARBOUR NIGHT"]
    assert "changed since the survey" in why(plan, "Fog Horn.d64")
    assert "there is no file" in why(plan, "Tide Table.d64")


def test_mended_copies_stand_in_for_damaged_originals(evening: Evening) -> None:
    hurt = evening.add("Broken.d64", broken(b"BROKEN", 9))
    bad_spot = bytearray(b"\x01" * 683)
    bad_spot[16 * 21] = 5  # error bytes are never cleared: mending does not help
    evening.add("Spot.d64", image(b"SPOT", 10) + bytes(bad_spot))
    plan = evening.plan()
    mended = next(pick for pick in plan.picks if pick.entry.mended)
    assert mended.entry.target == "B/Broken (m).d64"
    assert mended.candidate.path == hurt.path
    assert mended.entry.verdict is Verdict.QUIRKY
    assert why(plan, "Spot.d64") == "damaged"
    evening.wishes = replace(evening.wishes, mended=False)
    assert not any(pick.entry.mended for pick in evening.plan().picks)


def test_a_card_keeps_its_layout_unless_another_is_asked_for(evening: Evening) -> None:
    evening.fill()
    evening.add("Zoll.d64", image(b"ZOLL", 60))
    evening.wishes = Wishes()
    plan = evening.plan()
    assert plan.arrangement == Arrangement(Layout.LETTER)
    assert targets(plan) == {
        "F/Fog Horn.d64": State.THERE,
        "H/Harbour Night.d64": State.THERE,
        "T/Tide Table.d64": State.THERE,
        "Z/Zoll.d64": State.NEW,
    }


def test_a_used_card(tmp_path: Path) -> None:
    plan = used_card(tmp_path).plan()
    assert targets(plan) == {
        "A/Anchor.d64": State.THERE,
        "A/Atlas (2).d64": State.NEW,
        "B/Buoy.d64": State.CHANGED,
        "C/Crane.d64": State.NEW,
        "D/Dock.d64": State.OTHER,
        "F/Ferry.d64": State.NEW,
        "G/Gull.d64": State.NEW,
        "H/Hawser (m).d64": State.NEW,
        "J/Jetty.d64": State.NEW,
    }
    assert [entry.target for entry in plan.removals] == ["E/Ebb.d64"]


def test_a_plan_says_what_has_changed_on_the_card_as_a_fill_and_a_check_do(
    evening: Evening,
) -> None:
    evening.fill()
    (evening.card / "F" / "Fog Horn.d64").write_bytes(image(b"HIGH SCORE", 77))
    (evening.card / "H" / "Harbour Night.d64").write_bytes(b"cut")
    plan = evening.plan()
    changed = ["F/Fog Horn.d64", "H/Harbour Night.d64"]
    assert targets(plan) == {**dict.fromkeys(changed, State.CHANGED), "T/Tide Table.d64": "there"}
    assert plan.copied_bytes == 0, "they are kept"
    assert [each.entry.target for each in evening.check().changed] == changed
    evening.wishes = replace(evening.wishes, replace_changed=True)
    assert evening.plan().copied_bytes > 2 * 174_000
    evening.candidates = []
    plan = evening.plan()
    assert [entry.target for entry in plan.removals] == ["T/Tide Table.d64"]
    assert [entry.target for entry in plan.changed] == changed
    filled = evening.fill()
    assert filled.removed == list(plan.removals)
    assert filled.changed == list(plan.changed)


def test_a_plan_reads_a_file_on_the_card_only_where_its_time_is_another(evening: Evening) -> None:
    evening.fill()
    device = FaultyDevice(str(evening.card), also=("digest",))
    assert set(targets(evening.plan(device)).values()) == {State.THERE}
    assert not device.trace
    os.utime(evening.card / "F" / "Fog Horn.d64")
    assert set(targets(evening.plan(device)).values()) == {State.THERE}, "its content is the same"
    assert device.trace == [("digest", "F/Fog Horn.d64")]
    evening.fill()
    assert evening.plan(FaultyDevice(str(evening.card), also=("digest",))).picks
    assert (evening.card / "T" / "Tide Table.d64").stat().st_mtime_ns % 2_000_000_000 == 0


def test_an_image_with_nothing_to_load_goes_on_the_card_with_a_remark(evening: Evening) -> None:
    evening.add("Blank.d64", bytes(174_848), title="", why="blank image")
    plan = evening.plan()
    assert plan.nothing_to_load == 1
    (pick,) = [pick for pick in plan.picks if pick.candidate.why]
    assert pick.entry.target == "B/Blank.d64" and pick.entry.shown_title == "(Blank.d64)"


def test_what_is_not_picked_any_more_stays_unless_asked_to_go(evening: Evening) -> None:
    evening.fill()
    evening.candidates = evening.candidates[:1]
    evening.wishes = Wishes()
    plan = evening.plan()
    assert not plan.removals
    assert [entry.target for entry in plan.staying] == ["H/Harbour Night.d64", "T/Tide Table.d64"]
    evening.wishes = Wishes(remove_unpicked=True)
    assert [entry.target for entry in evening.plan().removals] == [
        "H/Harbour Night.d64",
        "T/Tide Table.d64",
    ]


class SmallCard(Device):
    """A card with room for so many bytes, in clusters of 4 KiB."""

    free_bytes = 0

    def room(self) -> Room:
        return Room(self.free_bytes, 4096)


def test_the_room_on_the_card_is_a_budget(evening: Evening) -> None:
    card = SmallCard(str(evening.card))
    card.free_bytes = 2 * 176_128 + 200_000  # two images, and the room that is kept for folders
    plan = evening.plan(card)
    assert len(plan.picks) == 2
    assert plan.choice.limited and plan.choice.more_titles == 0
    assert "room for" in plan.left_out[0].why


def test_a_refill_does_not_need_the_room_twice(evening: Evening) -> None:
    evening.fill()
    card = SmallCard(str(evening.card))
    card.free_bytes = 200_000
    assert set(targets(evening.plan(card)).values()) == {State.THERE}
    new = evening.add("Zoll.d64", image(b"ZOLL", 60))
    evening.candidates = [*evening.candidates[1:3], new]
    assert len(evening.plan(card).picks) == 3, "what is to be removed makes room"


def test_what_a_packed_image_really_takes_counts(evening: Evening) -> None:
    evening.candidates = []
    for i in range(3):
        evening.add(f"p{i}.d64.gz", gzip.compress(image(b"P", i) + bytes(100_000)))
    evening.candidates = [replace(each, size_bytes=174_848) for each in evening.candidates]
    evening.rules = Rules(FAST_CARD, budget_bytes=2 * 280_000)
    plan = evening.plan()
    assert len(plan.picks) == 2 and plan.bytes == 2 * 274_848


def test_rigs_without_times(evening: Evening) -> None:
    evening.candidates = [replace(each, all_s={}) for each in evening.candidates]
    plan = evening.plan()
    assert plan.waiting.unknown == 3 and plan.waiting.saved_s == 0


def test_what_the_drive_cannot_mount(evening: Evening) -> None:
    evening.candidates = [replace(evening.candidates[0], kind="80-track"), *evening.candidates[1:]]
    evening.rules = Rules(built_in_rigs()["fast-spinning"])
    assert "mounts no 80-track images" in why(evening.plan(), "Fog Horn.d64")


# -- where a card cannot be


@pytest.mark.parametrize(
    ("dest", "says"),
    [
        ("{tmp}/nowhere", "there is no folder"),
        ("{tmp}/file", "is no folder"),
        ("{tmp}/link", "is a link to"),
        ("{tmp}/link/", "is a link to"),
        ("{tmp}/dangling", "is a link to"),
    ],
)
def test_what_is_no_card(tmp_path: Path, dest: str, says: str) -> None:
    (tmp_path / "file").write_bytes(b"x")
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "real")
    (tmp_path / "dangling").symlink_to(tmp_path / "gone")
    with pytest.raises(CardTrouble, match=says):
        open_card(dest.format(tmp=tmp_path))


@pytest.mark.parametrize("dest", ["shelf", "shelf/below", ".", "other/../shelf"])
def test_a_card_on_the_shelf_itself(tmp_path: Path, dest: str) -> None:
    evening = plain_evening(tmp_path)
    (evening.shelf / "below").mkdir()
    (tmp_path / "other").mkdir()
    device = open_card(os.path.join(tmp_path, dest))
    with pytest.raises(CardTrouble, match="on the shelf itself"):
        make_plan(
            device, evening.candidates, evening.rules, Wishes(), surveyed=[str(evening.shelf)]
        )


def test_a_card_that_holds_what_is_to_be_copied(tmp_path: Path) -> None:
    evening = plain_evening(tmp_path)
    with pytest.raises(CardTrouble, match="holds images that are to be copied"):
        make_plan(open_card(str(evening.shelf)), evening.candidates, evening.rules, Wishes())


def test_a_broken_list_is_not_guessed_at(evening: Evening) -> None:
    evening.fill()
    path = evening.card / ".loadglass" / "list.json"
    path.write_bytes(path.read_bytes().replace(b"Fog Horn", b"Fog Hern"))
    with pytest.raises(CardTrouble, match="is broken"):
        evening.plan()


def test_the_same_image_twice_goes_there_twice(evening: Evening) -> None:
    """Without the rule of twins; both are found again on the card."""
    copy = evening.shelf / "Copy.d64"
    copy.write_bytes((evening.shelf / "Fog Horn.d64").read_bytes())
    evening.candidates.append(candidate(copy))
    assert len(evening.fill().copied) == 4
    again = evening.plan()
    assert set(targets(again).values()) == {State.THERE} and len(again.picks) == 4
    paths: dict[str, Candidate] = {pick.entry.target: pick.candidate for pick in again.picks}
    assert paths["C/Copy.d64"].path == str(copy)
