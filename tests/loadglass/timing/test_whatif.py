import dataclasses

import pytest

from formats.audit import audit
from formats.compose import Allocator, NewFile, compose
from formats.errors import NotReadable
from formats.geometry import TRACKS_35, TRACKS_80
from formats.image import DiskImage
from loadglass.timing.estimate import clock_image
from loadglass.timing.prices import STAGES
from loadglass.timing.whatif import (
    BadInterleave,
    compare,
    interleave_whatif,
    lay_anew,
    usual_gap,
)

FILES = [
    NewFile(b"NEBELHORN", bytes(254 * 40)),
    NewFile(b"LOTSE", bytes(254 * 75 + 9)),
    NewFile(b"TIDENUHR", bytes(254 * 12)),
]


def judged(files=FILES, **options):
    return audit(DiskImage.from_bytes(compose(b"GRAUHAVEN", files, **options)))


@pytest.fixture(scope="module")
def disk():
    return judged()


@pytest.mark.parametrize("slot", [0, 1, 2])
def test_at_the_drives_own_interleave_nothing_changes(disk, slot, rigs):
    assert lay_anew(disk, slot, 10) == disk.by_slot[slot].chain.blocks
    found = interleave_whatif(disk, slot, rigs.values(), [10])
    assert found.laid[10] == found.today == clock_image(disk, rigs.values()).files[slot]


@pytest.mark.parametrize("interleave", [1, 4, 6, 13])
def test_it_is_laid_as_a_drive_with_that_interleave_does(disk, interleave):
    alone, other = judged(FILES[:1]), judged(FILES[:1], interleave=interleave)
    assert lay_anew(alone, 0, interleave) == other.by_slot[0].chain.blocks
    assert usual_gap(TRACKS_35, lay_anew(disk, 0, interleave)) == interleave


def test_other_files_stay_where_they_are(disk):
    others = {block for slot in (0, 2) for block in disk.by_slot[slot].chain.blocks}
    blocks = lay_anew(disk, 1, 6)
    assert len(set(blocks)) == 76
    assert not others & set(blocks)
    assert not set(disk.directory.owned) & set(blocks)


def test_todays_usual_gap_is_marked(disk, rigs):
    assert interleave_whatif(disk, 1, [rigs["stock-card"]], [4]).gap == 10
    assert usual_gap(TRACKS_35, [0]) is None
    assert usual_gap(TRACKS_35, [0, 30, 60]) is None
    assert usual_gap(TRACKS_35, [20, 3, 7, 11]) == 4
    assert usual_gap(TRACKS_35, [20, 3]) == 4


def test_a_sector_just_missed_costs_a_turn(disk, rigs):
    """By hand: 9.2 + 12 + 53.3 + 3 ms of reading and work are 8.1 of 21 sectors in 200 ms."""
    found = interleave_whatif(judged(FILES[:1]), 0, [rigs["fast-spinning"]], range(1, 17))
    seconds = {k: times["fast-spinning"].seconds for k, times in found.laid.items()}
    assert seconds[8] - seconds[9] > 0.5 * 40 * 0.2
    # Past the end of the track the drive's rule takes one sector less, so 9 is missed once a lap.
    assert min(seconds, key=seconds.get) == found.best("fast-spinning") == 10
    says = found.says["fast-spinning"]
    assert "8.1 sectors of tracks 1 to 17" in says
    assert "8 further on is just missed and costs a turn, 200 ms, and 9 further on" in says


def test_at_stock_speed_turns_go_by(disk, rigs):
    """By hand: 9.2 + 20 + 508 + 5 + 12 ms are two turns and 16.2 sectors."""
    says = interleave_whatif(disk, 0, [rigs["stock-spinning"]], [10]).says["stock-spinning"]
    assert "2 turns and 16.2 sectors" in says
    assert "16 further on is just missed" in says and "17 further on it is caught" in says


def test_nothing_to_wait_for_on_a_card(disk, rigs):
    found = interleave_whatif(disk, 0, [rigs["fast-card"], rigs["any-spinning"]], [1, 10])
    assert found.laid[1]["fast-card"].seconds == pytest.approx(found.laid[10]["fast-card"].seconds)
    assert found.best("fast-card") == 1
    assert "changes nothing" in found.says["fast-card"]
    assert "as they come" in found.says["any-spinning"]


def test_a_layout_that_a_rig_does_not_mount(rigs):
    disk = judged(geometry=TRACKS_80)
    found = interleave_whatif(disk, 0, rigs.values(), [1, 2])
    assert found.today["stock-spinning"] is found.laid[2]["stock-spinning"] is None
    assert found.best("stock-spinning") is None
    assert found.laid[2]["stock-card"] is not None
    assert "does not mount 80-track images" in found.says["stock-spinning"]


def test_a_file_on_the_directory_track_is_laid_on_an_empty_disk():
    full = judged([NewFile(b"VOLL", bytes(254 * 663)), NewFile(b"REST", bytes(254))])
    image = bytearray(full.image.sectors)
    last = TRACKS_35.index(18, 10)
    entry = TRACKS_35.directory_block * 256 + 32
    image[entry + 3 : entry + 5] = bytes((18, 10))
    image[last * 256 : last * 256 + 2] = bytes((0, 255))
    rest = full.by_slot[1].chain.blocks[0]
    bits = TRACKS_35.header_block * 256 + 4 * TRACKS_35.place(rest).track
    assert image[bits + 1 : bits + 4] == bytes(3)
    moved = audit(DiskImage.from_bytes(bytes(image)))
    assert moved.by_slot[1].chain.blocks == [last]
    assert lay_anew(moved, 1, 10) == Allocator(TRACKS_35).chain(1)


def test_bad_questions_are_sentences(disk, rigs):
    for interleave in (0, -3, 21):
        with pytest.raises(BadInterleave, match="give 1 to 20"):
            interleave_whatif(disk, 0, rigs.values(), [interleave])
    image = bytearray(disk.image.sectors)
    first = disk.by_slot[0].chain.blocks[0]
    image[first * 256] = 99
    broken = audit(DiskImage.from_bytes(bytes(image)))
    with pytest.raises(NotReadable, match='"NEBELHORN" cannot be read whole'):
        interleave_whatif(broken, 0, rigs.values())


def test_what_the_cartridge_saves_and_what_it_cannot(disk, rigs):
    times = clock_image(disk, rigs.values()).files[1]
    found = compare(times["stock-spinning"], times["fast-spinning"])
    assert found.saved_s == pytest.approx(
        times["stock-spinning"].seconds - times["fast-spinning"].seconds
    )
    assert sum(change.saved_s for change in found.stages.values()) == pytest.approx(found.saved_s)
    assert found.factor > 3
    assert tuple(found.stages) == STAGES
    assert found.stages["transfer"].remains == pytest.approx(
        (0.21 * 254 + 3) / (2 * 254 + 5), rel=0.01
    )
    assert found.stages["spin_up"].remains == 1
    assert found.stages["setup"].remains is None
    assert found.stages["setup"].saved_s == pytest.approx(-0.9)


def test_a_load_beside_itself(disk, rigs):
    estimate = clock_image(disk, rigs.values()).start["fast-card"]
    found = compare(estimate, dataclasses.replace(estimate))
    assert (found.saved_s, found.factor) == (0, 1)
