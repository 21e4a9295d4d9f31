"""A filled card looked at again: with its list, with the shelf, and with what drives wrote."""

from __future__ import annotations

from pathlib import Path

import pytest

from formats.findings import Verdict
from loadglass.card.check import Original, check_card
from loadglass.card.device import CardTrouble, Device
from loadglass.card.keep import keep_changed
from tests.loadglass.card.evening import Evening, broken, image, plain_evening, tree
from tests.loadglass.card.faulty import FaultyDevice, Killed, kill


@pytest.fixture
def evening(tmp_path: Path) -> Evening:
    filled = plain_evening(tmp_path)
    filled.fill()
    return filled


def test_a_card_as_it_was_filled(evening: Evening) -> None:
    (evening.card / "notes.txt").write_bytes(b"x")
    (evening.card / "System Volume Information").mkdir()
    (evening.card / "System Volume Information" / "IndexerVolumeGuid").write_bytes(b"x")
    checked = evening.check()
    assert len(checked.ok) == 3
    assert checked.foreign == ["notes.txt"]
    assert not checked.missing and not checked.changed and not checked.damaged


def test_missing_changed_and_now_damaged(evening: Evening) -> None:
    (evening.card / "F" / "Fog Horn.d64").unlink()
    (evening.card / "H" / "Harbour Night.d64").write_bytes(image(b"PLAYED", 7))
    (evening.card / "T" / "Tide Table.d64").write_bytes(broken(b"HURT", 8))
    before = tree(evening.card)
    checked = evening.check()
    assert [entry.target for entry in checked.missing] == ["F/Fog Horn.d64"]
    assert [(each.entry.target, each.verdict) for each in checked.changed] == [
        ("H/Harbour Night.d64", Verdict.SOUND),
        ("T/Tide Table.d64", Verdict.DAMAGED),
    ]
    assert "comes back to its own block" in checked.changed[1].says
    assert [entry.target for entry in checked.damaged] == ["T/Tide Table.d64"]
    assert tree(evening.card) == before


@pytest.mark.parametrize("what", ["empty", "short", "huge", "a folder", "a link", "dangling"])
def test_what_is_no_image_any_more(evening: Evening, what: str) -> None:
    path = evening.card / "F" / "Fog Horn.d64"
    path.unlink()
    if what == "a folder":
        path.mkdir()
    elif "link" in what or what == "dangling":
        path.symlink_to(evening.shelf / ("Fog Horn.d64" if what == "a link" else "nothing"))
    else:
        path.write_bytes({"empty": b"", "short": b"x" * 100, "huge": bytes(3 << 20)}[what])
    checked = evening.check()
    assert [each.verdict for each in checked.changed] == [Verdict.UNREADABLE]
    assert checked.changed[0].says


def test_the_shelf_has_moved_on(evening: Evening) -> None:
    first, second, third = evening.candidates
    originals = {
        first.path: Original(first.sha256, gone=False),
        second.path: Original("00" * 32, gone=False),
        third.path: Original(third.sha256, gone=True),
    }
    checked = check_card(Device(str(evening.card)), originals.get)
    assert [entry.target for entry in checked.outdated] == [
        "H/Harbour Night.d64",
        "T/Tide Table.d64",
    ]
    assert not evening.check().outdated, "what the shelf does not know is not outdated"


def test_a_card_without_a_list(tmp_path: Path) -> None:
    with pytest.raises(CardTrouble, match="no list of loadglass"):
        check_card(Device(str(tmp_path)))


def test_an_unfinished_fill_is_told_and_its_leftover_is_not_foreign(tmp_path: Path) -> None:
    evening = plain_evening(tmp_path)
    trace = FaultyDevice(str(evening.card))
    evening.fill(trace)
    writing = [i for i, (name, _) in enumerate(trace.trace) if name == "half a write"]
    other = plain_evening(tmp_path / "again")
    with pytest.raises(Killed):
        other.fill(FaultyDevice(str(other.card), kill, writing[3]))
    assert any(name.rpartition("/")[2].startswith("lg-") for name in other.on_card())
    checked = other.check()
    assert checked.unfinished and not checked.foreign and len(checked.ok) == 1


# -- bringing back


def test_what_a_drive_wrote_comes_back_beside_the_original(evening: Evening) -> None:
    played = image(b"HIGH SCORE", 7)
    (evening.card / "F" / "Fog Horn.d64").write_bytes(played)
    before, card = tree(evening.shelf), tree(evening.card)
    kept = keep_changed(Device(str(evening.card)), evening.shelf)
    assert kept.copied == [("F/Fog Horn.d64", evening.shelf / "Fog Horn changed.d64")]
    assert tree(evening.shelf) == {**before, "Fog Horn changed.d64": played}
    assert tree(evening.card) == card


def test_bringing_back_twice_copies_once_and_never_overwrites(evening: Evening) -> None:
    device, folder = Device(str(evening.card)), evening.shelf
    on_card = evening.card / "F" / "Fog Horn.d64"
    on_card.write_bytes(image(b"FIRST", 7))
    keep_changed(device, folder)
    again = keep_changed(device, folder)
    assert not again.copied and again.there == [("F/Fog Horn.d64", folder / "Fog Horn changed.d64")]
    on_card.write_bytes(image(b"SECOND", 8))
    (folder / "Fog Horn changed 2.d64").symlink_to(folder / "nowhere")
    kept = keep_changed(device, folder)
    assert [path.name for _, path in kept.copied] == ["Fog Horn changed 3.d64"]
    assert (folder / "Fog Horn changed.d64").read_bytes() == image(b"FIRST", 7)
    assert not (folder / "nowhere").exists()


def test_something_huge_is_not_brought_back(evening: Evening) -> None:
    (evening.card / "F" / "Fog Horn.d64").write_bytes(bytes(3 << 20))
    kept = keep_changed(Device(str(evening.card)), evening.shelf)
    assert kept.too_large == ["F/Fog Horn.d64"] and not kept.copied


@pytest.mark.parametrize(
    ("folder", "says"),
    [
        ("card", "on the card itself"),
        ("card/F", "on the card itself"),
        ("none", "there is no folder"),
    ],
)
def test_where_it_cannot_be_brought(evening: Evening, folder: str, says: str) -> None:
    with pytest.raises(CardTrouble, match=says):
        keep_changed(Device(str(evening.card)), evening.card.parent / folder)


def test_no_name_of_a_half_written_copy(evening: Evening, monkeypatch: pytest.MonkeyPatch) -> None:
    (evening.card / "F" / "Fog Horn.d64").write_bytes(image(b"PLAYED", 7))
    before = tree(evening.shelf)

    def fail(_descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", fail)
    with pytest.raises(CardTrouble, match="No space left"):
        keep_changed(Device(str(evening.card)), evening.shelf)
    assert tree(evening.shelf) == before
