"""A fill that is killed, or whose card fails, at every single call that changes the card.

After each the card is looked at: nothing lost, nothing half under a final name, other people's
files as they were; and filling again always comes to the same end.
"""

from __future__ import annotations

import errno
import os
import shutil
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from loadglass.card.device import CardTrouble, Device
from loadglass.card.fill import fill
from loadglass.card.manifest import CardList, read_list
from tests.loadglass.card.evening import Evening, plain_evening, tree, used_card
from tests.loadglass.card.faulty import (
    LOOKING,
    FaultyDevice,
    Killed,
    StaysBroken,
    exit_at_once,
    failing,
    kill,
)

ERRORS = {"full": errno.ENOSPC, "read-only": errno.EROFS, "bad spot": errno.EIO}


@dataclass(frozen=True)
class Scene:
    """A card before a fill, and what a fill that nothing happens to makes of it."""

    evening: Evening
    before: dict[str, bytes]
    after: dict[str, bytes]
    foreign: dict[str, bytes]
    changed: frozenset[str]
    shelf: dict[str, bytes]
    points: int

    def copy(self, place: Path) -> Evening:
        """The same card once more, in another place.

        Of links, so that a file that is written in place would show on every other copy.
        """
        shutil.copytree(self.evening.card, place / "card", copy_function=os.link)
        return replace(self.evening, card=place / "card")

    def inspect(self, evening: Evening) -> Counter[str]:
        """Look at a card after something has happened; how many of what was found."""
        found: Counter[str] = Counter()
        for name, data in evening.on_card().items():
            if name.rpartition("/")[2].startswith("lg-"):
                found["unfinished files under a name of their own"] += 1
            elif name in self.foreign:
                assert data == self.foreign[name]
                found["files of others, as they were"] += 1
            else:
                assert data in (self.before.get(name), self.after.get(name)), name
                is_old = data == self.before.get(name)
                found["whole files from before" if is_old else "whole new files"] += 1
        kept = {name for name in self.before if name in self.after}
        assert kept <= evening.on_card().keys(), "something is lost"
        assert tree(evening.shelf) == self.shelf
        return found

    def ends_well(self, evening: Evening) -> None:
        """Filling again comes to the same end as if nothing had happened."""
        device = FaultyDevice(str(evening.card))
        assert evening.fill(device).safe_to_remove
        assert evening.on_card() == self.after
        assert {name.name for name in (evening.card / ".loadglass").iterdir()} == {
            "list.json",
            "lock",
        }
        checked = evening.check()
        assert not checked.missing and not checked.unfinished
        assert {each.entry.target for each in checked.changed} == self.changed
        assert set(checked.foreign) == self.foreign.keys()
        ours = self.after.keys() - self.foreign.keys()
        assert {entry.target for entry in checked.card_list.files} == ours


def scene_of(evening: Evening, place: Path) -> Scene:
    before = evening.on_card()
    shelf = tree(evening.shelf)
    ours = read_list(Device(str(evening.card))).by_target
    foreign = {name: data for name, data in before.items() if name not in ours}
    place.mkdir()
    shutil.copytree(evening.card, place / "card")
    other = replace(evening, card=place / "card")
    device = FaultyDevice(str(other.card))
    filled = other.fill(device)
    changed = frozenset(entry.target for entry in filled.changed)
    after = other.on_card()
    return Scene(evening, before, after, foreign, changed, shelf, len(device.trace))


@pytest.fixture(autouse=True)
def memory_is_enough(monkeypatch: pytest.MonkeyPatch) -> None:
    """Reading back from the disk itself, some thousand times, is not what is tested here."""
    monkeypatch.delattr(os, "posix_fadvise", raising=False)


@pytest.fixture(scope="module", params=["used", "flat and new"])
def scene(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Scene:
    folder = tmp_path_factory.mktemp("evening")
    if request.param == "used":
        evening = used_card(folder)
    else:
        evening = plain_evening(folder)
        evening.wishes = replace(evening.wishes, arrangement=None)
        (evening.card / "notes.txt").write_bytes(b"not ours")
    return scene_of(evening, tmp_path_factory.mktemp("whole") / "run")


@pytest.fixture
def found() -> Iterator[Counter[str]]:
    """What was found on the card over all points; printed at the end (pytest -s)."""
    total: Counter[str] = Counter()
    yield total
    print("\n" + "\n".join(f"    {count:6,} {what}" for what, count in sorted(total.items())))


def test_the_scene_has_every_kind_of_call(scene: Scene, tmp_path: Path) -> None:
    device = FaultyDevice(str(scene.copy(tmp_path).card))
    evening = replace(scene.evening, card=tmp_path / "card")
    evening.fill(device)
    calls = {name for name, _ in device.trace}
    assert {"create", "write", "flush", "rename", "replace", "flush_folder"} <= calls
    assert len(device.trace) == scene.points


def test_killed_at_every_call(scene: Scene, tmp_path: Path, found: Counter[str]) -> None:
    for point in range(scene.points):
        evening = scene.copy(tmp_path / str(point))
        with pytest.raises(Killed):
            evening.fill(FaultyDevice(str(evening.card), kill, point))
        found += scene.inspect(evening)
        found["kill points"] += 1
        scene.ends_well(evening)
        shutil.rmtree(tmp_path / str(point))


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
def test_a_process_that_ends_at_every_call(
    scene: Scene, tmp_path: Path, found: Counter[str]
) -> None:
    for point in range(scene.points):
        evening = scene.copy(tmp_path / str(point))
        child = os.fork()
        if child == 0:
            try:
                evening.fill(FaultyDevice(str(evening.card), exit_at_once, point))
            finally:
                os._exit(0)
        _, status = os.waitpid(child, 0)
        assert os.waitstatus_to_exitcode(status) == 9
        found += scene.inspect(evening)
        found["processes ended"] += 1
        scene.ends_well(evening)
        shutil.rmtree(tmp_path / str(point))


@pytest.mark.proof
def test_killed_again_while_going_on(scene: Scene, tmp_path: Path, found: Counter[str]) -> None:
    """The fill that goes on after a kill is killed itself, at each of its first calls."""
    for first in range(3, scene.points, 9):
        for second in range(14):
            evening = scene.copy(tmp_path / f"{first}-{second}")
            for point in (first, second):
                with pytest.raises(Killed):
                    evening.fill(FaultyDevice(str(evening.card), kill, point))
            found += scene.inspect(evening)
            found["pairs of kill points"] += 1
            scene.ends_well(evening)
            shutil.rmtree(tmp_path / f"{first}-{second}")


@pytest.mark.parametrize("what", ERRORS)
def test_one_call_fails(scene: Scene, tmp_path: Path, found: Counter[str], what: str) -> None:
    for point in range(scene.points):
        evening = scene.copy(tmp_path / str(point))
        device = FaultyDevice(str(evening.card), failing(ERRORS[what]), point)
        with pytest.raises(CardTrouble) as raised:
            evening.fill(device)
        assert_sentence(raised.value)
        found += scene.inspect(evening)
        found["failing calls"] += 1
        scene.ends_well(evening)
        shutil.rmtree(tmp_path / str(point))


@pytest.mark.proof
@pytest.mark.parametrize("what", ERRORS)
def test_every_call_fails_from_one_on(
    scene: Scene, tmp_path: Path, found: Counter[str], what: str
) -> None:
    broken = StaysBroken(ERRORS[what])
    for point in range(scene.points):
        evening = scene.copy(tmp_path / str(point))
        device = broken.device(str(evening.card), point)
        try:
            evening.fill(device)
        except CardTrouble as error:
            assert_sentence(error)
            found["cards that stay broken"] += 1
        found += scene.inspect(evening)
        scene.ends_well(evening)
        shutil.rmtree(tmp_path / str(point))


@pytest.mark.proof
def test_a_card_that_cannot_be_read_for_a_moment(
    scene: Scene, tmp_path: Path, found: Counter[str]
) -> None:
    whole = FaultyDevice(str(scene.copy(tmp_path / "whole").card), also=LOOKING)
    replace(scene.evening, card=tmp_path / "whole" / "card").fill(whole)
    for point in range(len(whole.trace)):
        evening = scene.copy(tmp_path / str(point))
        device = FaultyDevice(str(evening.card), failing(errno.EIO), point, also=LOOKING)
        try:
            evening.fill(device)
        except CardTrouble as error:
            assert_sentence(error)
            found["failing calls, looks too"] += 1
        found += scene.inspect(evening)
        scene.ends_well(evening)
        shutil.rmtree(tmp_path / str(point))


def test_the_card_is_pulled_at_every_call(
    scene: Scene, tmp_path: Path, found: Counter[str]
) -> None:
    """The folder is gone, and an empty one is in its place, as when a card is pulled."""
    for point in range(scene.points):
        evening = scene.copy(tmp_path / str(point))
        away = evening.card.with_name("pulled")

        def pull(_call: str, evening: Evening = evening, away: Path = away) -> None:
            evening.card.rename(away)
            evening.card.mkdir()

        with pytest.raises(CardTrouble) as raised:
            evening.fill(FaultyDevice(str(evening.card), pull, point))
        assert_sentence(raised.value)
        assert not list(evening.card.iterdir()), "written beside the card"
        evening.card.rmdir()
        away.rename(evening.card)
        found += scene.inspect(evening)
        found["times pulled"] += 1
        scene.ends_well(evening)
        shutil.rmtree(tmp_path / str(point))


def test_everything_is_flushed_before_it_counts(scene: Scene, tmp_path: Path) -> None:
    """Before a file gets its name its bytes are on the card, and before all, the journal is."""
    evening = scene.copy(tmp_path)
    device = FaultyDevice(str(evening.card))
    evening.fill(device)
    calls = device.trace
    names = [name for name, _ in calls]
    assert names[-1] == "flush_all"
    first_change = next(
        i
        for i, (name, about) in enumerate(calls)
        if name in ("create", "make_folder", "remove", "rename") and ".loadglass" not in about
    )
    journal = next(i for i, (_, about) in enumerate(calls) if about.endswith("/journal"))
    assert "flush" in names[journal:first_change]
    for i, (name, _) in enumerate(calls):
        if name in ("rename", "replace"):
            written = max(k for k in range(i) if names[k] == "half a write")
            assert "flush" in names[written:i]
            assert names[i + 1] == "flush_folder"


def assert_sentence(error: CardTrouble) -> None:
    says = str(error)
    assert "\n" not in says and "Errno" not in says and says.startswith("cannot ")


def test_no_file_is_ever_written_in_place(scene: Scene) -> None:
    """All the copies of the card above shared their files."""
    assert scene.evening.on_card() == scene.before


def test_an_older_list_is_never_lost(tmp_path: Path) -> None:
    """Whatever call of writing a list is the last one, there is a whole list."""
    evening = plain_evening(tmp_path)
    evening.fill(FaultyDevice(str(evening.card)))
    listed = read_list(Device(str(evening.card)))
    assert listed.generation > 0

    def write(device: Device) -> None:
        fill(device, evening.plan(device))

    device = FaultyDevice(str(evening.card))
    write(device)
    for point in range(len(device.trace)):
        with pytest.raises(Killed):
            write(FaultyDevice(str(evening.card), kill, point))
        now = read_list(Device(str(evening.card)))
        assert now != CardList() and now.files == listed.files
