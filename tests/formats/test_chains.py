"""Following chains, and the side sectors of REL files.

End bytes and side sectors: programmer's references of the 1980s, from memory.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.chains import TAKEN, Chain, Ending, follow, marks, read_bytes, remains
from formats.directory import read_directory
from formats.geometry import END as NO_NEXT
from formats.geometry import OFF_DISK, TRACKS_35, TRACKS_70, TRACKS_80, Geometry, Place
from formats.image import DiskImage
from formats.side_sectors import SideSectors, compare_with_chain, read_side_sectors
from tests.examples import examples
from tests.formats.builders import (
    END,
    ONES,
    STOCK_FILLING,
    ZEROS,
    At,
    Disk,
    noise,
    program,
    relative,
)


def blocks_of(*places: At, geometry: Geometry = TRACKS_35) -> list[int]:
    return [geometry.index(*place) for place in places]


def walk(disk: Disk, start: At = (17, 0), stated: int | None = 3) -> Chain:
    barred = bytes(marks(disk.geometry, [disk.geometry.header_block]))
    return follow(disk.image, disk.geometry.index(*start), stated, barred)


THREE = blocks_of((17, 0), (17, 10), (17, 20))


def test_a_whole_chain_gives_its_bytes() -> None:
    file = program(3)
    disk = Disk(file)
    chain = walk(disk)
    assert (chain.blocks, chain.ending, chain.stopped_at) == (THREE, Ending.END, None)
    assert (chain.last_byte, chain.last_bytes, chain.size_bytes) == (255, 254, 762)
    assert read_bytes(disk.image, chain) == file.data


@pytest.mark.parametrize(
    ("end_byte", "bytes_of_last"), [(0, 0), (1, 0), (2, 1), (3, 2), (0x80, 127), (255, 254)]
)
def test_the_end_byte_is_the_index_of_the_last_byte(end_byte: int, bytes_of_last: int) -> None:
    disk = Disk(program(3)).link((17, 20), (0, end_byte))
    chain = walk(disk)
    assert chain.last_bytes == bytes_of_last
    assert chain.size_bytes == 2 * 254 + bytes_of_last
    assert read_bytes(disk.image, chain) == program(3).data[: chain.size_bytes]


@pytest.mark.parametrize(
    ("link", "ending", "walked", "stopped_at"),
    [
        ((17, 0), Ending.LOOP, 3, (17, 0)),
        ((17, 20), Ending.LOOP, 3, (17, 20)),
        ((36, 0), Ending.OFF_DISK, 3, (17, 20)),
        ((17, 21), Ending.OFF_DISK, 3, (17, 20)),
        ((18, 0), Ending.IN_DIRECTORY, 3, (18, 0)),
        ((1, 5), Ending.BAD_BLOCK, 3, (1, 5)),
        ((35, 16), Ending.MISSING, 3, (35, 16)),
        ((2, 0), Ending.BLANK, 3, (2, 0)),
        ((2, 1), Ending.BLANK, 3, (2, 1)),
    ],
)
def test_what_stops_a_chain(link: At, ending: Ending, walked: int, stopped_at: At) -> None:
    disk = Disk(program(3)).link((17, 20), link).put((2, 1), STOCK_FILLING)
    if ending is Ending.BAD_BLOCK:
        disk.error((1, 5), 0x04)
    if ending is Ending.MISSING:
        del disk.sectors[-1:]
    chain = walk(disk, stated=4)
    assert (chain.ending, len(chain.blocks)) == (ending, walked)
    assert chain.stopped_at == TRACKS_35.index(*stopped_at)
    assert not chain.ended
    assert (chain.size_bytes, chain.last_bytes) == (walked * 254, 254)


def test_nothing_can_be_read_where_the_first_block_stops_the_walk() -> None:
    for start in ((18, 0), (1, 0)):
        chain = walk(Disk(), start, stated=1)
        assert (chain.blocks, chain.size_bytes) == ([], 0)
        assert chain.stopped_at == TRACKS_35.index(*start)


@pytest.mark.parametrize("filling", [ZEROS, ONES, STOCK_FILLING, b"\xf6" * 256, b"\x12" * 256])
def test_blank_blocks_stop_a_walk_only_while_blocks_are_owed(filling: bytes) -> None:
    """With none owed the drive reads what stands there as a link."""
    disk = Disk(program(3), filling=filling).link((17, 20), (35, 0))
    assert walk(disk, stated=4).ending is Ending.BLANK
    for stated in (3, 0, None):
        chain = walk(disk, stated=stated)
        assert chain.ending is not Ending.BLANK
        assert TRACKS_35.index(35, 0) in chain.blocks


# A block full of one value that is a track may be data: its link leads to the like sector.


def ones_then(*chain: At, stated: int, value: int = 1) -> Ending:
    disk = Disk(program(2)).put((17, 10), bytes([value]) * 256)
    if chain:
        disk.chain(chain)
    return walk(disk, stated=stated).ending


def test_one_value_that_leads_to_the_stated_end_is_data() -> None:
    assert ones_then((1, 1), (1, 2), stated=4) is Ending.END
    assert ones_then((9, 9), stated=3, value=9) is Ending.END


def test_one_value_that_leads_elsewhere_is_blank() -> None:
    assert ones_then((1, 1), (1, 2), stated=3) is Ending.BLANK
    assert ones_then((1, 1), (1, 2), stated=5) is Ending.BLANK
    assert ones_then(stated=3) is Ending.BLANK
    assert ones_then(stated=3, value=0xF6) is Ending.BLANK
    assert ones_then(stated=2, value=0) is Ending.BLANK  # zeros are never the last block


# -- marks


def test_marks_tell_whose_block_stopped_the_walk() -> None:
    disk = Disk(program(3))
    barred = marks(TRACKS_35, [THREE[2]], TAKEN)
    chain = follow(disk.image, THREE[0], 3, barred)
    assert (chain.ending, chain.blocks, chain.stopped_at) == (Ending.SHARED, THREE[:2], THREE[2])
    assert barred == marks(TRACKS_35, [THREE[2]], TAKEN)


def test_what_a_bad_block_names_further_on_is_explained() -> None:
    disk = Disk(program(4)).error((17, 10), 0x05)
    chain = walk(disk, stated=4)
    beyond = blocks_of((17, 10), (17, 20), (17, 8))
    assert remains(disk.image, chain) == beyond
    assert remains(disk.image, walk(Disk(program(3)))) == []
    looping = disk.link((17, 8), (17, 0))
    assert remains(looping.image, walk(looping, stated=4)) == beyond


# -- any links at all


@given(st.integers(0, 2**32), st.integers(0, 682), st.integers(0, 700), st.booleans())
@examples(60)
def test_any_walk_ends_and_takes_no_block_twice(
    seed: int, start: int, stated: int, with_errors: bool
) -> None:
    sectors = bytearray(noise(683 * 256, seed))
    targets = noise(683 * 2, seed + 1)
    for block in range(683):  # mostly valid links, so that chains are long
        sectors[block * 256 : block * 256 + 2] = bytes(TRACKS_35.place(targets[block] * 2))
    errors = bytes(1 + 4 * (byte < 9) for byte in noise(683, seed)) if with_errors else b""
    image = DiskImage.from_bytes(bytes(sectors) + errors)
    barred = bytes(marks(TRACKS_35, [357, 358]))
    chain = follow(image, start, stated, barred)
    assert len(set(chain.blocks)) == len(chain.blocks)
    assert not {357, 358} & set(chain.blocks)
    assert not image.fails[chain.blocks].any()
    for block, following in zip(chain.blocks, chain.blocks[1:], strict=False):
        assert image.next_blocks[block] == following
    if chain.ended:
        assert image.next_blocks[chain.blocks[-1]] == NO_NEXT
    elif chain.ending is Ending.OFF_DISK:
        assert image.next_blocks[chain.blocks[-1]] == OFF_DISK
    elif chain.blocks:
        assert image.next_blocks[chain.blocks[-1]] == chain.stopped_at


# -- side sectors


def side_of(disk: Disk) -> SideSectors:
    """The side sectors of the only entry, compared with its chain."""
    image = disk.image
    directory = read_directory(image)
    (entry,) = directory.entries
    side = read_side_sectors(image, directory.barred, entry)
    owed = entry.blocks - len(side.blocks)
    chain = follow(image, image.geometry.index(*entry.start), owed, directory.barred)
    compare_with_chain(image.geometry, side, chain)
    return side


@pytest.mark.parametrize("geometry", [TRACKS_35, TRACKS_70, TRACKS_80])
@pytest.mark.parametrize("blocks", [1, 120, 121, 500, 600])
def test_side_sectors_that_agree(geometry: Geometry, blocks: int) -> None:
    side = side_of(Disk(relative(blocks * 2), geometry=geometry))
    assert side.trouble is None
    assert len(side.blocks) == -(-blocks // 120) + (geometry is TRACKS_80)
    assert sum(place.track > 0 for place in Place.pairs(side.named)) == blocks


def test_the_layout_of_a_side_sector() -> None:
    """Link 00-01, own number 02, record length 03, the side sectors 04-0F, data from 10."""
    disk = Disk(relative(2 * 121))
    image = disk.image
    (entry,) = read_directory(image).entries
    first = image.at(*entry.side_start)
    second = image.at(*first[:2])
    assert (first[2], second[2]) == (0, 1)
    assert (first[3], second[3]) == (127, 127)
    group = bytes(entry.side_start) + first[:2] + bytes(8)
    assert first[0x04:0x10] == second[0x04:0x10] == group
    assert first[0x10:0x14] == bytes([17, 0, 17, 10])
    assert second[0x10:0x14] == second[0x10:0x12] + bytes(2)
    assert second[:2] == bytes([0, 0x11])  # its last byte used is that of the one pair


def two_sides() -> Disk:
    """Records of 121 blocks; the side sectors lie on 19/0 and 19/10."""
    return Disk(relative(2 * 121))


FIRST, SECOND = (19, 0), (19, 10)


def test_where_the_two_side_sectors_lie() -> None:
    assert side_of(two_sides()).blocks == blocks_of(FIRST, SECOND)


@pytest.mark.parametrize(
    ("place", "at", "value", "words"),
    [
        (FIRST, 0, (0, 0xFF), "one does not list them all"),
        (SECOND, 0, FIRST, "they come back to one of their own"),
        (SECOND, 0, (99, 0), "one links off the disk"),
        (SECOND, 0, (18, 1), "they run into the directory"),
        (SECOND, 0, (35, 0), "one does not list them all"),
        (SECOND, 2, (0, 127), "number 1 of them calls itself 0"),
        (FIRST, 2, (0, 126), "record length not that of the entry"),
        (FIRST, 6, (11, 9), "one does not list them all"),
        (SECOND, 8, (11, 9), "one does not list them all"),
        (FIRST, 0x10, (17, 7), "they name 17/7 where the chain has 17/0"),
        (FIRST, 0x12, (0, 0), "they name 0/0 where the chain has 17/10"),
        (SECOND, 0x10, (0, 0), "they stop before the end of the chain"),
        (SECOND, 0x12, (9, 9), "they name more blocks than the chain has"),
    ],
)
def test_troubles_of_side_sectors(place: At, at: int, value: At, words: str) -> None:
    disk = two_sides().put(place, bytes(value), at)
    side = side_of(disk)
    assert side.trouble is not None
    assert side.trouble[0] == words


def test_side_sectors_that_cannot_be_read() -> None:
    assert side_of(two_sides().error(SECOND, 5)).trouble == (
        "one cannot be read",
        TRACKS_35.index(*SECOND),
    )
    assert side_of(two_sides().entry(0, side=(0, 0))).trouble == (
        "there are none where the entry says",
        None,
    )


def test_more_than_six_side_sectors() -> None:
    disk = two_sides().link(SECOND, (1, 0))
    disk.chain([(1, sector) for sector in range(0, 14, 2)])
    side = side_of(disk)
    assert side.trouble == ("there are more than 6 of them", TRACKS_35.index(1, 8))
    assert len(side.blocks) == 6


def test_a_chain_that_runs_through_its_own_side_sector() -> None:
    """The side sector names itself as the second block, and so has the chain."""
    disk = Disk(relative(2)).link((17, 0), (17, 1)).put((17, 1), bytes((17, 1)), at=0x12)
    side = side_of(disk.entry(0, blocks=3))
    assert side.trouble == ("one of them is also a block of the chain", TRACKS_35.index(17, 1))


# -- 80 tracks: groups of side sectors named by a super side sector


def two_groups() -> tuple[Disk, At, list[At]]:
    """721 blocks of records: the super side sector, six side sectors and one more."""
    disk = Disk(relative(2 * 721), geometry=TRACKS_80)
    super_block, *sides = (TRACKS_80.place(block) for block in side_of(disk).blocks)
    return disk, super_block, list(sides)


def test_a_super_side_sector_names_each_group() -> None:
    disk, super_place, sides = two_groups()
    block = disk.image.at(*super_place)
    assert block[2] == 0xFE
    assert block[3:9] == bytes(sides[0]) + bytes(sides[6]) + bytes(2)
    assert [disk.image.at(*side)[2] for side in sides] == [0, 1, 2, 3, 4, 5, 0]


def test_groups_may_be_lists_of_their_own() -> None:
    disk, _, sides = two_groups()
    side = side_of(disk.link(sides[5], END))
    assert side.trouble is None
    assert len(side.blocks) == 8


def test_groups_that_run_together() -> None:
    disk, _, sides = two_groups()
    side = side_of(disk.link(sides[5], END).link(sides[6], sides[2]))
    assert side.trouble == ("groups of them run together", TRACKS_80.index(*sides[2]))
    assert len(set(side.blocks)) == len(side.blocks) == 8


def test_troubles_of_a_super_side_sector() -> None:
    disk, super_place, sides = two_groups()
    first = TRACKS_80.index(*super_place)
    whole = disk.image.at(*super_place)
    unnamed = "the super side sector does not name every group"
    for at, value, words in (
        (2, b"\xff", "no super side sector where the entry says"),
        (3, bytes(2), unnamed),
        (5, bytes(2), unnamed),
        (5, bytes(sides[0]), unnamed),
        (5, bytes(sides[3]), unnamed),
        (7, bytes((81, 0)), "the super side sector names 81/0, which does not exist"),
    ):
        side = side_of(disk.put(super_place, whole).put(super_place, value, at))
        assert side.trouble == (words, first)
    cut_short = side_of(disk.put(super_place, whole).link(sides[2], END))
    assert cut_short.trouble == (unnamed, first)
