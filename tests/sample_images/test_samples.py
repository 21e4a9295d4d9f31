"""Each sample shows what it is for, and nothing else; all are the same to the byte when made anew.

How the images hold together is checked against tests/naive too, which shares no code with formats.
"""

import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest

from formats.chains import follow
from formats.directory import DEL, read_directory
from formats.files import Role
from formats.geometry import TRACKS_35
from formats.image import DiskImage
from formats.petscii import from_text
from formats.programs import checksum, end_address
from loadglass.timing.estimate import clock_image
from loadglass.timing.rig_files import built_in_rigs
from sample_images import folder, make
from tests.naive.checker import check
from tests.sample_images.samples import audited, basic_programs, content, file_of, images, unpacked

# Layout, verdict and the codes of all findings but decorations.
EXPECTED: dict[str, tuple[str, str, tuple[str, ...]]] = {
    "fog-over-grauhaven.d64": ("35-track", "sound", ("address-tight",)),
    "lantern-watch.d64": ("35-track", "sound", ()),
    "club-evening.d64": ("35-track", "sound", ()),
    "the-long-pier-disk-1.d64": ("35-track", "sound", ()),
    "the-long-pier-disk-2.d64": ("35-track", "sound", ()),
    "ring-buoy.d64": ("35-track", "damaged", ("chain-loop",)),
    "tangled-ropes.d64": ("35-track", "damaged", ("chain-shared",)),
    "power-cut.d64": (
        "35-track",
        "quirky",
        ("count-differs", "entry-unclosed", "map-count-differs", "map-frees-used"),
    ),
    "deep-water.d64": ("40-track", "quirky", ("past-35",)),
    "salt-spray.d64": (
        "35-track with error bytes",
        "damaged",
        ("chain-bad-block", "map-strands"),
    ),
    "pier-gallery.d64": ("35-track", "sound", ()),
    "smugglers-tunnel.d64": ("35-track", "sound", ("own-loader",)),
    "low-tide.d64": ("35-track", "sound", ("deleted-remains",)),
    "club-register.d64.gz": ("35-track", "sound", ()),
    "chart-room.d71": ("70-track", "sound", ()),
    "harbour-archive.d81": ("80-track", "sound", ()),
    "bench-disk.d64": ("35-track", "sound", ("address-tight",)),
}
DAMAGED_FILES = {
    "ring-buoy.d64": {"RING BUOY"},
    "tangled-ropes.d64": {"CHART 1"},
    "salt-spray.d64": {"CHART 7"},
}
MAX_FOLDER_BYTES = 4_000_000


def test_every_image_is_expected_and_no_other() -> None:
    assert list(images()) == list(EXPECTED)


@pytest.mark.parametrize("image", EXPECTED)
def test_findings_and_verdict(image: str) -> None:
    kind, verdict, codes = EXPECTED[image]
    audit = audited(image)
    found = sorted(item.code for item in audit.findings if item.code != "decoration")
    assert (audit.image.kind, audit.verdict, tuple(found)) == (kind, verdict, codes)


@pytest.mark.parametrize("image", EXPECTED)
def test_a_second_opinion_agrees_on_every_file(image: str) -> None:
    opinion = check(images()[image])
    seconds = {entry.slot: entry for entry in opinion.entries}
    files = audited(image).files
    assert seconds.keys() == {file.entry.slot for file in files}
    for file in files:
        second = seconds[file.entry.slot]
        assert second.decoration == (file.role is Role.DECORATION)
        assert bool(second.whole) == file.whole
        if file.whole and file.entry.kind != "REL":
            assert second.data == content(image, file.entry.text)


@pytest.mark.parametrize("image", EXPECTED)
def test_only_the_files_meant_to_be_are_damaged(image: str) -> None:
    damaged = {file.entry.text for file in audited(image).files if file.verdict == "damaged"}
    assert damaged == DAMAGED_FILES.get(image, set())


@pytest.mark.parametrize("file", make.SAMPLES)
def test_made_anew_it_is_the_same_to_the_byte(file: str, made: Path) -> None:
    assert unpacked(made / file) == unpacked(folder() / file)


def test_nothing_but_the_samples_is_made(made: Path) -> None:
    assert {path.name for path in made.iterdir()} == make.SAMPLES.keys()


def test_it_says_which_folder_cannot_be_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").touch()
    monkeypatch.setattr(sys, "argv", ["make", str(tmp_path / "file")])
    with pytest.raises(SystemExit) as stop:
        make.main()
    assert str(tmp_path / "file") in str(stop.value)


def test_names_and_titles_are_unique_and_fit() -> None:
    titles = [audited(image).directory.title for image in images()]
    assert len(set(titles)) == len(titles)
    assert all(1 <= len(title) <= 16 for title in titles)
    for image in images():
        names = Counter(f.entry.name for f in audited(image).files if f.role is Role.FILE)
        assert set(names.values()) == {1}, image


def test_the_folder_is_told_without_loading_anything_heavy() -> None:
    code = "import sys, sample_images; print(sample_images.folder(), 'numpy' in sys.modules)"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.split() == [str(folder()), "False"]


def test_the_folder_stays_small() -> None:
    assert sum(path.stat().st_size for path in folder().iterdir()) < MAX_FOLDER_BYTES


def test_the_page_tells_of_every_image() -> None:
    page = (folder() / "README.md").read_text(encoding="utf-8")
    for name in [*make.SAMPLES, *images()]:
        assert f"`{name}`" in page


def test_the_title_of_one_file_takes_as_long_as_the_rules_of_thumb_say() -> None:
    # Common practice, no source: 92 s from an SD-card drive, 13 s with the cartridge.
    image = "fog-over-grauhaven.d64"
    assert len(audited(image).files) == 1
    times = clock_image(audited(image), built_in_rigs().values()).start
    stock, fast = times["stock-card"], times["fast-card"]
    assert stock and fast
    assert stock.seconds == pytest.approx(92, rel=0.03)
    assert fast.seconds == pytest.approx(13, rel=0.03)


def test_a_title_of_many_files_starts_with_basic() -> None:
    files = audited("lantern-watch.d64").files
    assert len(files) == 4
    assert ("lantern-watch.d64", files[0].entry.text) in list(basic_programs())


def test_an_evening_of_twenty_programs() -> None:
    programs = [name for image, name in basic_programs() if image == "club-evening.d64"]
    assert len(programs) == len(audited("club-evening.d64").files) == 20


def test_the_two_disks_differ_in_their_number_only() -> None:
    one, two = images()["the-long-pier-disk-1.d64"], images()["the-long-pier-disk-2.d64"]
    titles = [read_directory(DiskImage.from_bytes(data)).title for data in (one, two)]
    assert titles == [b"THE LONG PIER 1", b"THE LONG PIER 2"]


def test_the_read_error_is_inside_the_file() -> None:
    image = audited("salt-spray.d64").image
    wrong = [block for block in range(683) if image.error_byte(block) != 0x01]
    file = file_of("salt-spray.d64", "CHART 7")
    assert wrong == [file.chain.stopped_at]
    assert len(file.chain.blocks) == 12


def test_the_map_of_the_power_cut_frees_the_whole_file() -> None:
    audit = audited("power-cut.d64")
    chain = file_of("power-cut.d64", "CHART 3").chain.blocks
    assert audit.block_map.free[chain].all() and len(chain) == 36


def test_a_file_lies_past_track_35() -> None:
    audit = audited("deep-water.d64")
    tracks = audit.image.geometry.track_of[file_of("deep-water.d64", "CHART 5").chain.blocks]
    assert set(tracks.tolist()) <= set(range(36, 41))
    assert audit.image.geometry.first_block[35] not in audit.block_map.free.nonzero()[0]


def test_dozens_of_decorations_surround_one_program() -> None:
    files = audited("pier-gallery.d64").files
    decorations = [file for file in files if file.role is Role.DECORATION]
    assert len(decorations) > 24
    assert [f.entry.text for f in files if f.role is Role.FILE] == ["GALLERY"]
    assert files[0].role is files[-1].role is Role.DECORATION
    assert {f.entry.type_code == DEL for f in decorations} == {True, False}
    assert all(len(file.entry.name) == 16 for file in decorations)
    assert all(from_text(file.entry.text) == file.entry.name for file in decorations)
    assert max(audited("pier-gallery.d64").directory.title) >= 0x80  # graphics in the title too


def test_hundreds_of_blocks_lie_outside_the_small_loader() -> None:
    audit = audited("smugglers-tunnel.d64")
    assert [file.walked_blocks for file in audit.files] == [2]
    assert "336 blocks" in audit.findings[0].says


def test_the_scratched_file_is_whole_and_free() -> None:
    audit = audited("low-tide.d64")
    (entry,) = audit.directory.scratched
    chain = follow(audit.image, audit.image.geometry.index(*entry.start), entry.blocks)
    assert chain.ended and len(chain.blocks) == entry.blocks == 36
    assert audit.block_map.free[chain.blocks].all()


def test_rel_files_have_one_and_two_side_sectors() -> None:
    sides = {
        file.entry.text: len(file.facts.side.blocks)
        for file in audited("club-register.d64.gz").files
        if file.facts.side
    }
    assert sides == {"MEMBERS": 1, "TIDES": 2}


def test_the_double_sided_disk_uses_both_sides() -> None:
    audit = audited("chart-room.d71")
    tracks = {
        int(audit.image.geometry.track_of[block])
        for file in audit.files
        for block in file.chain.blocks
    }
    assert min(tracks) <= 35 < max(tracks)


class TestBenchDisk:
    IMAGE = "bench-disk.d64"

    def test_files_of_one_block_and_last_blocks_of_one_and_254_bytes(self) -> None:
        shapes = {
            name: (file.walked_blocks, file.chain.last_bytes)
            for name in ("ONE BYTE", "ONE BLOCK", "LAST BLOCK 1", "LAST BLOCK 254")
            for file in (file_of(self.IMAGE, name),)
        }
        assert shapes == {
            "ONE BYTE": (1, 3),
            "ONE BLOCK": (1, 254),
            "LAST BLOCK 1": (2, 1),
            "LAST BLOCK 254": (2, 254),
        }

    @pytest.mark.parametrize("tracks", [(17, 19), (24, 25), (30, 31)])
    def test_a_file_crosses_into_each_zone(self, tracks: tuple[int, int]) -> None:
        blocks = file_of(self.IMAGE, "TRACKS {} TO {}".format(*tracks)).chain.blocks
        assert list(dict.fromkeys(TRACKS_35.track_of[blocks].tolist())) == list(tracks)
        assert len({TRACKS_35.sectors[track - 1] for track in tracks}) == 2

    @pytest.mark.parametrize("value", [0x00, 0xFF, 0x55, 0xAA])
    def test_a_fill_is_one_value(self, value: int) -> None:
        assert set(content(self.IMAGE, f"FILL {value:02X}")[2:]) == {value}

    def test_the_longest_reaches_the_last_byte_below_i_o(self) -> None:
        assert end_address(content(self.IMAGE, "0801 TO CFFF")) == 0xCFFF

    def test_no_two_files_have_the_same_sum(self) -> None:
        files = audited(self.IMAGE).files
        sums = [checksum(content(self.IMAGE, file.entry.text)) & 0xFFFF for file in files]
        assert len(set(sums)) == len(sums)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder in which the samples have been made anew."""
    target = tmp_path_factory.mktemp("samples") / "new"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "argv", ["make", str(target)])
        make.main()
    return target
