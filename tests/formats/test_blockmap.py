"""The block map: bits, counts, and blocks free as the drive's manuals have them (from memory)."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.blockmap import read_map, write_map
from formats.compose import compose
from formats.geometry import LAYOUTS, TRACKS_35, TRACKS_70, TRACKS_80, Geometry, Place
from formats.image import DiskImage
from tests.examples import examples
from tests.formats.builders import Disk, noise, program

# Blocks free on a new disk, from memory of the drives' manuals; 40- and 42-track disks by the
# stock map.
BLOCKS_FREE = {
    "35-track": 664,
    "40-track": 664,
    "42-track": 664,
    "70-track": 1_328,
    "80-track": 3_160,
}


@pytest.mark.parametrize("layout", LAYOUTS, ids=lambda layout: layout.name)
def test_blocks_free_of_a_new_disk(layout: Geometry) -> None:
    block_map = read_map(DiskImage.from_bytes(compose(b"NEU", [], layout)))
    assert block_map.blocks_free == BLOCKS_FREE[layout.name]
    assert (block_map.counts == block_map.counted).all()
    full = read_map(DiskImage.from_bytes(compose(b"NEU", [program(100)], layout)))
    assert full.blocks_free == BLOCKS_FREE[layout.name] - 100


def test_bits_lowest_first_and_one_is_free() -> None:
    """Track 1's four bytes: count, sectors 0-7, 8-15, 16-20."""
    disk = Disk().put((18, 0), bytes([3, 0b0000_0001, 0b1000_0000, 0b0001_0000]), at=4)
    block_map = read_map(disk.image)
    assert np.flatnonzero(block_map.free[:21]).tolist() == [0, 15, 20]
    assert np.flatnonzero(block_map.used[:21]).size == 18
    assert block_map.counts[0] == block_map.counted[0] == 3


def test_bits_of_sectors_that_do_not_exist_count_for_nothing() -> None:
    disk = Disk().put((18, 0), bytes([21, 0xFF, 0xFF, 0xFF]), at=4)
    assert read_map(disk.image).counted[0] == 21


def test_the_second_sides_map() -> None:
    """Counts from DD of 18/0, bits in 53/0, three bytes a track; track 53 is not counted free."""
    disk = Disk(geometry=TRACKS_70)
    disk.put((18, 0), b"\x01", at=0xDD + 34).put((53, 0), b"\x00\x00\x01", at=34 * 3)
    block_map = read_map(disk.image)
    assert block_map.counts[69] == block_map.counted[69] == 1
    first = TRACKS_70.first_block[69]
    assert np.flatnonzero(block_map.free[first:]).tolist() == [16]
    assert block_map.blocks_free == 1_328 - 17 + 1
    assert not block_map.free[TRACKS_70.index(53, 5)]


def test_the_map_of_80_tracks() -> None:
    """40/1 has tracks 1-40, 40/2 the others, six bytes a track from offset 10."""
    disk = Disk(geometry=TRACKS_80)
    disk.put((40, 2), bytes([2, 0, 0, 0, 0, 0b1100_0000]), at=0x10 + 6 * 39)
    block_map = read_map(disk.image)
    free_on_last = np.flatnonzero(block_map.free[3_160:]).tolist()
    free = [TRACKS_80.place(3_160 + block) for block in free_on_last]
    assert free == [Place(80, 38), Place(80, 39)]
    assert block_map.blocks_free == 3_160 - 38


def test_tracks_past_35_are_outside_the_map() -> None:
    for layout in LAYOUTS[1:3]:
        block_map = read_map(DiskImage.from_bytes(bytes(layout.size_bytes)))
        assert block_map.mapped_blocks == 683
        assert not block_map.free[683:].any()
        assert not block_map.used[683:].any()
        assert block_map.used[:683].all()


@pytest.mark.parametrize(
    ("filling", "alike"), [(b"\0", True), (b"\xff", True), (b"\x01\x02", False)]
)
def test_a_map_of_one_value(filling: bytes, alike: bool) -> None:
    disk = Disk().put((18, 0), (filling * 140)[:140], at=4)
    assert read_map(disk.image).one_value is alike


@given(st.sampled_from(LAYOUTS), st.integers(0, 2**32))
@examples(40)
def test_what_is_written_is_read(layout: Geometry, seed: int) -> None:
    """Any blocks free or used; the rest of the image stays as it was."""
    free = np.frombuffer(noise(layout.blocks, seed), dtype=np.uint8) > 99
    before = noise(layout.size_bytes, seed)
    sectors = bytearray(before)
    write_map(layout, sectors, free)
    block_map = read_map(DiskImage.from_bytes(bytes(sectors)))
    mapped = layout.first_block[layout.map_tracks]
    assert (block_map.free[:mapped] == free[:mapped]).all()
    assert not block_map.free[mapped:].any()
    assert (block_map.counts == block_map.counted).all()
    assert (block_map.used == (~free & (np.arange(layout.blocks) < mapped))).all()
    changed = [at // 256 for at in range(len(before)) if before[at] != sectors[at]]
    assert set(changed) <= set(layout.system_blocks)


@given(st.binary(min_size=140, max_size=140))
@examples(40)
def test_any_map_is_read(raw: bytes) -> None:
    block_map = read_map(Disk().put((18, 0), raw, at=4).image)
    bits = [
        bool(raw[4 * (track - 1) + 1 + sector // 8] >> sector % 8 & 1)
        for track, sector in TRACKS_35.places
    ]
    assert block_map.free.tolist() == bits
    outside = [raw[4 * (track - 1)] for track in range(1, 36) if track != 18]
    assert block_map.blocks_free == sum(outside)
