"""Filling a card: what is copied, what is left alone, and what is said about it."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import stat
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from formats.image import DiskImage
from formats.mend import mend
from loadglass.card.device import CardInUse, CardTrouble, Device
from loadglass.card.fill import FillStopped, fill
from loadglass.card.folders import Arrangement, Layout
from loadglass.card.manifest import LOCK, read_list
from loadglass.card.plan import Wishes
from loadglass.opened import open_and_audit
from loadglass.progress import Job, Progress
from tests.loadglass.card.evening import Evening, image, plain_evening, tree, used_card
from tests.loadglass.card.faulty import FaultyDevice


@pytest.fixture
def evening(tmp_path: Path) -> Evening:
    return plain_evening(tmp_path)


def test_what_is_on_the_card_is_what_was_on_the_shelf(evening: Evening) -> None:
    filled = evening.fill()
    assert filled.safe_to_remove and len(filled.copied) == 3 and not filled.left_out
    assert evening.on_card() == {
        f"{name[0]}/{name}": data for name, data in tree(evening.shelf).items()
    }
    for entry in filled.on_card:
        data = (evening.card / entry.target).read_bytes()
        assert (entry.sha256, entry.bytes) == (hashlib.sha256(data).hexdigest(), len(data))


def test_filling_again_copies_nothing(evening: Evening) -> None:
    evening.fill()
    before = {path: path.stat().st_mtime_ns for path in evening.card.rglob("*.d64")}
    filled = evening.fill()
    assert not filled.copied and len(filled.there) == 3
    assert {path: path.stat().st_mtime_ns for path in evening.card.rglob("*.d64")} == before


def test_everything_that_can_be_on_a_card(tmp_path: Path) -> None:
    evening = used_card(tmp_path)
    filled = evening.fill()
    assert {entry.target for entry in filled.copied} == {
        *("A/Atlas (2).d64", "C/Crane.d64", "D/Dock.d64", "F/Ferry.d64", "G/Gull.d64"),
        "H/Hawser (m).d64",
    }
    assert [entry.target for entry in filled.removed] == ["E/Ebb.d64"]
    assert [entry.target for entry in filled.changed] == ["B/Buoy.d64"]
    assert [Path(each.path).name for each in filled.left_out] == ["Jetty.d64"]
    assert [Path(each.path).name for each in filled.kept] == ["Buoy.d64"]
    on_card = evening.on_card()
    assert on_card["A/Atlas.d64"] == b"someone else's atlas"
    assert on_card["B/Buoy.d64"] == image(b"BUOY", 20), "the drive's own, kept"
    assert on_card["D/Dock.d64"] == image(b"DOCK", 40), "the newer one"
    assert on_card["F/Ferry.d64"] == image(b"FERRY", 7), "unpacked"
    assert on_card["G/Gull.d64"] == image(b"GULL", 8), "unpacked"
    hurt = open_and_audit(evening.shelf / "Hawser.d64")
    assert on_card["H/Hawser (m).d64"] == mend(hurt.audit).data
    assert not (evening.card / "E").exists() and not (evening.card / "J").exists()
    assert (evening.card / "letters").is_dir()


def test_a_changed_file_is_replaced_only_if_asked_for(tmp_path: Path) -> None:
    evening = used_card(tmp_path)
    filled = evening.fill(replace_changed=True)
    assert not filled.changed and not filled.kept
    assert evening.on_card()["B/Buoy.d64"] == image(b"BUOY", 2)


def test_a_changed_file_is_not_removed_even_if_it_is_not_picked_any_more(evening: Evening) -> None:
    evening.fill()
    played = evening.card / "F" / "Fog Horn.d64"
    played.write_bytes(image(b"HIGH SCORE", 77))
    evening.candidates = evening.candidates[1:]
    filled = evening.fill(replace_changed=True)
    assert [entry.target for entry in filled.changed] == ["F/Fog Horn.d64"]
    assert played.read_bytes() == image(b"HIGH SCORE", 77)
    assert "F/Fog Horn.d64" in read_list(Device(str(evening.card))).by_target


def test_a_file_of_someone_elses_that_appears_after_the_plan(evening: Evening) -> None:
    device = FaultyDevice(str(evening.card))
    plan = evening.plan(device)
    (evening.card / "F").mkdir()
    (evening.card / "F" / "Fog Horn.d64").write_bytes(b"mine")
    filled = fill(device, plan)
    assert "not ours" in filled.left_out[0].why
    assert (evening.card / "F" / "Fog Horn.d64").read_bytes() == b"mine"
    assert "F/Fog Horn.d64" not in read_list(device).by_target


def test_a_file_that_appears_at_the_last_moment(evening: Evening) -> None:
    """Between the look and the renaming: the rename itself refuses."""
    target = evening.card / "F" / "Fog Horn.d64"

    def appear(_call: str) -> None:
        target.write_bytes(b"mine")

    trace = FaultyDevice(str(evening.card))
    whole = replace(evening, card=evening.card.with_name("other"))
    whole.card.mkdir()
    trace = FaultyDevice(str(whole.card))
    whole.fill(trace)
    first = next(i for i, (name, _) in enumerate(trace.trace) if name == "rename")
    filled = evening.fill(FaultyDevice(str(evening.card), appear, first))
    assert "not ours" in filled.left_out[0].why
    assert target.read_bytes() == b"mine"
    assert sorted(path.name for path in target.parent.iterdir()) == ["Fog Horn.d64"]


def test_links_on_the_card_are_never_followed(evening: Evening, tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    evening.card.joinpath("F").symlink_to(elsewhere)
    evening.fill()
    assert not list(elsewhere.iterdir())
    assert (evening.card / "F (2)" / "Fog Horn.d64").is_file()


def test_a_folder_that_became_a_link_after_the_plan(evening: Evening, tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    device = Device(str(evening.card))
    plan = evening.plan(device)
    (evening.card / "F").symlink_to(elsewhere)
    with pytest.raises(CardTrouble, match="is a link"):
        fill(device, plan)
    assert not list(elsewhere.iterdir())


def test_a_link_in_the_place_of_a_file_of_ours(evening: Evening, tmp_path: Path) -> None:
    evening.fill()
    original = tmp_path / "precious.d64"
    original.write_bytes(b"precious")
    ours = evening.card / "F" / "Fog Horn.d64"
    ours.unlink()
    ours.symlink_to(original)
    assert [entry.target for entry in evening.fill().changed] == ["F/Fog Horn.d64"]
    evening.fill(replace_changed=True)
    assert original.read_bytes() == b"precious"
    assert not ours.is_symlink()


def test_a_hard_link_to_an_original_is_not_written_through(evening: Evening) -> None:
    evening.fill()
    ours = evening.card / "F" / "Fog Horn.d64"
    ours.unlink()
    os.link(evening.shelf / "Tide Table.d64", ours)
    before = tree(evening.shelf)
    evening.fill(replace_changed=True)
    assert tree(evening.shelf) == before
    assert ours.read_bytes() == before["Fog Horn.d64"]


def test_a_card_that_gives_back_other_bytes(evening: Evening) -> None:
    """As cards do that are smaller than they say."""

    class Liar(Device):
        def write(self, descriptor: int, data: bytes) -> None:
            super().write(descriptor, data[:100_000] + b"\xff" * (len(data) - 100_000))

    with pytest.raises(CardTrouble, match="gives back other bytes"):
        evening.fill(Liar(str(evening.card)))
    assert evening.on_card() == {}


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write everywhere")
def test_a_card_that_may_not_be_written(evening: Evening) -> None:
    evening.card.chmod(stat.S_IRUSR | stat.S_IXUSR)
    with pytest.raises(CardTrouble, match="you may not write"):
        evening.fill()


def test_our_folders_name_is_taken(evening: Evening) -> None:
    (evening.card / ".loadglass").write_bytes(b"someone's file")
    with pytest.raises(CardTrouble, match="move it away"):
        evening.fill()
    assert (evening.card / ".loadglass").read_bytes() == b"someone's file"


def test_someone_elses_file_where_our_journal_goes(evening: Evening) -> None:
    (evening.card / ".loadglass").mkdir()
    (evening.card / ".loadglass" / "journal").write_bytes(b"Dear diary")
    with pytest.raises(CardTrouble, match="none of loadglass's files"):
        evening.fill()
    assert (evening.card / ".loadglass" / "journal").read_bytes() == b"Dear diary"


def test_two_fills_at_once(evening: Evening) -> None:
    evening.fill()
    device = Device(str(evening.card))
    with device.locked(LOCK), pytest.raises(CardInUse, match="another loadglass"):
        evening.fill()
    evening.fill()


def test_two_fills_at_once_in_two_processes(evening: Evening) -> None:
    evening.fill()
    code = (
        "import sys; from loadglass.card.device import Device\n"
        "with Device(sys.argv[1]).locked(sys.argv[2]):\n"
        "    print('held', flush=True); sys.stdin.read()"
    )
    command = [sys.executable, "-c", code, str(evening.card), LOCK]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as other:
        assert other.stdin is not None and other.stdout is not None
        assert other.stdout.readline() == b"held\n"
        with pytest.raises(CardInUse):
            evening.fill()
        other.kill()
    assert evening.fill().safe_to_remove, "a lock ends with its process"


def test_a_plan_of_another_time(evening: Evening) -> None:
    device = Device(str(evening.card))
    plan = evening.plan(device)
    evening.fill()
    with pytest.raises(CardTrouble, match="plan it again"):
        fill(device, plan)


def test_stopping_between_two_files(evening: Evening) -> None:
    device = FaultyDevice(str(evening.card))
    plan = evening.plan(device)

    def report(progress: Progress) -> None:
        if progress.done and not progress.what.startswith("checking"):
            job.stop()

    job = Job(report, interval_s=0.0)
    with pytest.raises(FillStopped) as stopped:
        fill(device, plan, job=job)
    assert len(stopped.value.filled.copied) == 1
    assert not stopped.value.filled.safe_to_remove
    assert not (evening.card / ".loadglass" / "journal").exists()
    checked = evening.check()
    assert len(checked.ok) == 1 and not checked.unfinished
    assert len(evening.fill().copied) == 2


def test_progress_is_in_bytes_and_comes_to_its_end(evening: Evening) -> None:
    seen: list[Progress] = []
    device = FaultyDevice(str(evening.card))
    fill(device, evening.plan(device), job=Job(seen.append, interval_s=0.0))
    copying = [each for each in seen if not each.what.startswith("checking")]
    assert (copying[-1].done, copying[-1].total) == (3 * 174_848, 3 * 174_848)


def test_a_flat_card_moves_nothing_when_it_grows(evening: Evening) -> None:
    evening.wishes = Wishes(Arrangement(Layout.FLAT, 4))
    evening.fill()
    for i in range(6):
        evening.add(f"New {i}.d64", image(b"NEW", 70 + i))
    evening.fill()
    names = set(evening.on_card())
    assert {"Fog Horn.d64", "Harbour Night.d64", "Tide Table.d64"} <= names
    assert len(names) == 9 and not evening.check().foreign


def test_the_list_on_the_card_is_plain_json(evening: Evening) -> None:
    evening.fill()
    text = (evening.card / ".loadglass" / "list.json").read_text("ascii")
    listed: dict[str, Any] = json.loads(text)
    assert [each["target"] for each in listed["files"]] == sorted(evening.on_card())
    assert (listed["stock"], listed["fast"], listed["layout"]) == (
        "stock-card",
        "fast-card",
        "letter",
    )


def test_an_image_with_another_name_of_the_same_source(evening: Evening) -> None:
    """The shelf's image moved: it is the same image, and is not copied again."""
    evening.fill()
    moved = evening.shelf / "moved"
    moved.mkdir()
    (evening.shelf / "Fog Horn.d64").rename(moved / "Horn.d64")
    evening.candidates[0] = replace(
        evening.candidates[0], path=str(moved / "Horn.d64"), file_name="Horn.d64"
    )
    filled = evening.fill()
    assert not filled.copied and not filled.removed
    entry = read_list(Device(str(evening.card))).by_target["F/Fog Horn.d64"]
    assert entry.source == str(moved / "Horn.d64")


@pytest.mark.parametrize(
    ("number", "says"),
    [
        (errno.ENOSPC, "it is full"),
        (errno.EROFS, "cannot be written to"),
        (errno.EIO, "does not answer"),
        (errno.ENODEV, "it is gone"),
        (errno.EACCES, "you may not write"),
        (errno.EMFILE, "Too many open files"),
    ],
)
def test_what_the_system_says_becomes_one_sentence(
    evening: Evening, number: int, says: str
) -> None:
    class Failing(Device):
        def create(self, name: str) -> int:
            raise OSError(number, os.strerror(number), name)

    with pytest.raises(CardTrouble, match=says) as raised:
        evening.fill(Failing(str(evening.card)))
    assert str(evening.card) in str(raised.value)


def test_a_short_image_stays_short(evening: Evening) -> None:
    cut = image(b"CUT", 80)[:120_000]
    made = evening.add("Cut.d64", cut)
    assert len(DiskImage.from_bytes(cut).to_bytes()) == 120_000
    evening.rules = replace(evening.rules, even_damaged=True)
    evening.wishes = replace(evening.wishes, mended=False)
    evening.fill()
    assert evening.on_card()["C/Cut.d64"] == cut
    assert made.sha256 != hashlib.sha256(cut).hexdigest()
