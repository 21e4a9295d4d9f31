"""An evening at the club of Grauhaven: a shelf of images, and a card that has seen some use."""

from __future__ import annotations

import gzip
import zipfile
from dataclasses import dataclass, field, replace
from pathlib import Path
from random import Random

from formats.compose import NewFile, compose
from formats.findings import Verdict
from formats.geometry import TRACKS_35
from formats.petscii import to_text
from loadglass.card.candidates import Candidate
from loadglass.card.check import Checked, check_card
from loadglass.card.choose import Rules
from loadglass.card.device import Device
from loadglass.card.fill import Filled, fill
from loadglass.card.folders import Arrangement, Layout
from loadglass.card.plan import Plan, Wishes, make_plan
from loadglass.opened import open_and_audit
from loadglass.timing.rig_files import built_in_rigs

FAST_CARD = built_in_rigs()["fast-card"]


def image(title: bytes, seed: int) -> bytes:
    """A disk of two small programs, like no other seed's."""
    noise = Random(seed).randbytes(1200)
    return compose(title, [NewFile(b"START", b"\x01\x08" + noise), NewFile(b"NIGHT", noise)])


def broken(title: bytes, seed: int) -> bytes:
    """The same with a chain that comes back to its own first block."""
    data = bytearray(image(title, seed))
    start = TRACKS_35.index(17, 0)
    second = TRACKS_35.index(*data[start * 256 : start * 256 + 2])
    data[second * 256 : second * 256 + 2] = bytes((17, 0))
    return bytes(data)


def candidate(path: Path | str, **changes: object) -> Candidate:
    """What a survey would say of an image."""
    opened = open_and_audit(str(path))
    found = Candidate(
        path=str(path),
        sha256=opened.sha256,
        title=to_text(opened.audit.directory.title),
        file_name=opened.file_name,
        size_bytes=len(opened.image.to_bytes()),
        verdict=opened.audit.verdict,
        kind=opened.image.kind,
        start_s={"stock-card": 9.0, "fast-card": 2.0},
        all_s={"stock-card": 20.0, "fast-card": 4.0},
        archive=opened.source.file if opened.source.member else "",
    )
    return replace(found, **changes)  # type: ignore[arg-type]


def tree(folder: Path) -> dict[str, bytes]:
    """Every file below a folder, and what is in it."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


@dataclass
class Evening:
    """The shelf, the card, and how the card is to be filled tonight."""

    shelf: Path
    card: Path
    candidates: list[Candidate] = field(default_factory=list)
    rules: Rules = field(default_factory=lambda: Rules(FAST_CARD))
    wishes: Wishes = field(
        default_factory=lambda: Wishes(
            Arrangement(Layout.LETTER), remove_unpicked=True, mended=True
        )
    )

    def add(self, name: str, data: bytes, **changes: object) -> Candidate:
        path = self.shelf / name
        path.write_bytes(data)
        self.candidates.append(candidate(path, **changes))
        return self.candidates[-1]

    def plan(self, device: Device | None = None) -> Plan:
        device = device or Device(str(self.card))
        return make_plan(device, self.candidates, self.rules, self.wishes)

    def fill(self, device: Device | None = None, *, replace_changed: bool = False) -> Filled:
        device = device or Device(str(self.card))
        self.wishes = replace(self.wishes, replace_changed=replace_changed)
        return fill(device, self.plan(device))

    def check(self) -> Checked:
        return check_card(Device(str(self.card)))

    def on_card(self) -> dict[str, bytes]:
        """All that is on the card besides our own folder."""
        return {
            name: data for name, data in tree(self.card).items() if not name.startswith(".load")
        }


def plain_evening(tmp_path: Path) -> Evening:
    """Three images and an empty card."""
    evening = Evening(tmp_path / "shelf", tmp_path / "card")
    evening.shelf.mkdir(parents=True)
    evening.card.mkdir()
    for seed, name in enumerate(("Fog Horn", "Harbour Night", "Tide Table")):
        evening.add(f"{name}.d64", image(name.upper().encode(), seed))
    return evening


def used_card(tmp_path: Path) -> Evening:
    """A card with everything that can be on one, and a shelf that has moved on since.

    Of ours there are: one as it was, one that the drive has changed, one that someone deleted,
    one that is newer on the shelf, one that is not wanted any more and was alone in its folder.
    Others' files lie beside them, one where a new image would go. New are a plain image, a
    gzip, a zip member, a damaged one that can be mended and one that changed since the survey.
    """
    evening = Evening(tmp_path / "shelf", tmp_path / "card")
    evening.shelf.mkdir(parents=True)
    evening.card.mkdir()
    evening.add("Anchor.d64", image(b"ANCHOR", 1))
    evening.add("Buoy.d64", image(b"BUOY", 2))
    evening.add("Crane.d64", image(b"CRANE", 3))
    evening.add("Dock.d64", image(b"DOCK", 4))
    evening.add("Ebb.d64", image(b"EBB", 5))
    evening.fill()
    (evening.card / "B" / "Buoy.d64").write_bytes(image(b"BUOY", 20))
    (evening.card / "C" / "Crane.d64").unlink()
    (evening.shelf / "Ebb.d64").unlink()
    evening.candidates = [each for each in evening.candidates if each.title != "EBB"]
    evening.candidates = [each for each in evening.candidates if "Dock" not in each.path]
    evening.add("Dock.d64", image(b"DOCK", 40))

    (evening.card / "letters").mkdir()
    (evening.card / "letters" / "to the club.txt").write_bytes(b"Moin")
    (evening.card / "A" / "Atlas.d64").write_bytes(b"someone else's atlas")
    (evening.card / "readme.txt").write_bytes(b"keep me")

    evening.add("Atlas.d64", image(b"ATLAS", 6))
    packed = evening.shelf / "Ferry.d64.gz"
    packed.write_bytes(gzip.compress(image(b"FERRY", 7)))
    evening.candidates.append(candidate(packed))
    with zipfile.ZipFile(evening.shelf / "club.zip", "w") as archive:
        archive.writestr("disks/Gull.d64", image(b"GULL", 8))
    evening.candidates.append(candidate(f"{evening.shelf}/club.zip/disks/Gull.d64"))
    evening.add("Hawser.d64", broken(b"HAWSER", 9))
    assert evening.candidates[-1].verdict is Verdict.DAMAGED
    evening.add("Jetty.d64", image(b"JETTY", 10))
    (evening.shelf / "Jetty.d64").write_bytes(image(b"JETTY", 100))
    return evening
