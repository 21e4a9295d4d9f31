"""Images from files: what is put on comes back, laid out as the stock drive does it.

Placing order, interleave and free blocks: drive manuals of the 1980s, from memory.
"""

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.audit import audit
from formats.chains import read_bytes
from formats.compose import Allocator, NewFile, blocks_for, compose, next_sector
from formats.errors import DoesNotFit
from formats.findings import Severity
from formats.geometry import (
    LAYOUTS,
    TRACKS_35,
    TRACKS_40,
    TRACKS_42,
    TRACKS_70,
    TRACKS_80,
    Geometry,
)
from formats.image import DiskImage
from tests.examples import examples
from tests.formats.builders import STOCK_FILLING, ZEROS, noise, program, relative

ABOUT_NAMES_AND_ADDRESSES = {"name-twin", "name-awkward", "program-wraps", "address-tight"}


# -- the order in which the stock drive takes blocks


def sectors_of(blocks: list[int], geometry: Geometry = TRACKS_35) -> list[int]:
    return [geometry.place(block).sector for block in blocks]


def tracks_of(blocks: list[int], geometry: Geometry = TRACKS_35) -> list[int]:
    """Each track once, in the order in which they are come to."""
    return list(dict.fromkeys(geometry.place(block).track for block in blocks))


def test_the_stock_order_on_21_sectors() -> None:
    """As printed in the drive's manual, from memory."""
    order = sectors_of(Allocator(TRACKS_35).chain(21))
    assert order == [0, 10, 20, 8, 18, 6, 16, 4, 14, 2, 12, 1, 11, 3, 13, 5, 15, 7, 17, 9, 19]
    assert {(b - a) % 21 for a, b in pairwise(order)} == {9, 10, 13}


@pytest.mark.parametrize(
    ("sector", "interleave", "sectors", "following"),
    [
        *((0, 10, 21, 10), (10, 10, 21, 20), (11, 10, 21, 0), (12, 10, 21, 0), (20, 10, 21, 8)),
        *((16, 10, 17, 8), (7, 10, 17, 0), (16, 3, 19, 0), (39, 1, 40, 0)),
    ],
)
def test_past_the_end_it_subtracts_one_more(
    sector: int, interleave: int, sectors: int, following: int
) -> None:
    """The number of sectors, and one more unless that gave 0."""
    assert next_sector(sector, interleave, sectors) == following


def test_files_start_beside_the_directory_and_move_away() -> None:
    allocator = Allocator(TRACKS_35)
    assert tracks_of(allocator.chain(21 + 1)) == [17, 16]
    assert tracks_of(allocator.chain(19 + 5)) == [19, 20]
    assert tracks_of(allocator.chain(20)) == [16]
    assert tracks_of(allocator.chain(14)) == [20]
    assert tracks_of(allocator.chain(1)) == [15]
    assert tracks_of(Allocator(TRACKS_35).chain(664)) == [*range(17, 0, -1), *range(19, 36)]


def test_a_double_sided_disk_fills_side_one_first() -> None:
    blocks = Allocator(TRACKS_70).chain(1_328)
    one = [*range(17, 0, -1), *range(19, 36)]
    two = [track + 35 for track in one]
    tracks = tracks_of(blocks, TRACKS_70)
    assert tracks[:34] == one
    assert sorted(tracks[34:]) == sorted(two)
    assert sectors_of(Allocator(TRACKS_70).chain(4)) == [0, 6, 12, 18]


def test_the_80_track_drive_takes_neighbours() -> None:
    assert sectors_of(Allocator(TRACKS_80).chain(40), TRACKS_80) == list(range(40))


@pytest.mark.parametrize(
    ("layout", "free"),
    [(TRACKS_35, 664), (TRACKS_40, 664), (TRACKS_42, 664), (TRACKS_70, 1_328), (TRACKS_80, 3_160)],
)
def test_free_blocks_of_a_new_disk(layout: Geometry, free: int) -> None:
    """Drive manuals, from memory: a disk takes that many blocks and not one more."""
    allocator = Allocator(layout)
    assert allocator.available_blocks == free
    with pytest.raises(DoesNotFit):
        allocator.chain(free + 1)
    blocks = allocator.chain(free)
    assert len(set(blocks)) == free
    assert not layout.reserved_tracks & {layout.place(block).track for block in blocks}
    assert allocator.available_blocks == 0


@pytest.mark.parametrize(("layout", "free"), [(TRACKS_40, 749), (TRACKS_42, 783)])
def test_tracks_past_35_are_used_only_when_asked_for(layout: Geometry, free: int) -> None:
    """A speed-up system's new 40-track disk has 749 blocks free (from memory)."""
    assert Allocator(layout, extra_tracks=True).available_blocks == free
    long = replace(program(free), type_code=1)
    image = DiskImage.from_bytes(compose(b"LANG", [long], layout, extra_tracks=True))
    judged = audit(image)
    assert judged.files[0].whole
    assert [item.code for item in judged.findings] == ["past-35"]
    assert judged.block_map.blocks_free == 0


@pytest.mark.parametrize("interleave", range(1, 21))
def test_any_interleave_fills_the_disk(interleave: int) -> None:
    blocks = Allocator(TRACKS_35, interleave).chain(664)
    assert len(set(blocks)) == 664
    assert sectors_of(blocks)[1] == next_sector(0, interleave, 21)


# -- what is put on comes back


NAMES = st.binary(min_size=1, max_size=16).filter(lambda name: 0xA0 not in name)


@st.composite
def new_files(draw: st.DrawFn, most_blocks: int) -> list[NewFile]:
    """Files of all types, some of one value throughout; no two of one name."""
    files = []
    least = draw(st.sampled_from([0, 0, 20]))
    for name in draw(st.lists(NAMES, unique=True, min_size=least, max_size=24)):
        length = draw(st.integers(1, most_blocks)) * 254 - draw(st.sampled_from([0, 1, 252, 253]))
        value = draw(st.one_of(st.none(), st.integers(0, 255)))
        data = noise(length, length) if value is None else bytes([value]) * length
        kind = draw(st.integers(1, 4))
        record = draw(st.integers(1, 254)) if kind == 4 else 0
        if record:
            data = data.ljust(-(-length // record) * record, b"\r")
        files.append(NewFile(name, data, kind, draw(st.booleans()), record_length=record))
    return files


def blocks_needed(file: NewFile, layout: Geometry) -> int:
    """With the side sectors of a REL file: one for 120 blocks, and one above them on 80 tracks."""
    data = -(-len(file.data) // 254)
    return data if file.type_code < 4 else data + -(-data // 120) + (layout is TRACKS_80)


@given(st.data(), st.sampled_from(LAYOUTS), st.sampled_from([ZEROS, STOCK_FILLING]))
@examples(80)
def test_what_is_put_on_comes_back(data: st.DataObject, layout: Geometry, filling: bytes) -> None:
    files = data.draw(new_files(most_blocks=60))
    interleave = data.draw(st.one_of(st.none(), st.integers(1, 20)))
    needed = sum(blocks_needed(file, layout) for file in files)
    if needed > Allocator(layout).available_blocks:
        with pytest.raises(DoesNotFit, match="are free on the"):
            compose(b"PROBE", files, layout, interleave=interleave)
        return
    raw = compose(b"PROBE", files, layout, interleave=interleave, filling=filling)
    judged = audit(DiskImage.from_bytes(raw))
    assert len(raw) == layout.size_bytes
    assert [file.entry.name for file in judged.files] == [file.name for file in files]
    for file, new in zip(judged.files, files, strict=True):
        assert read_bytes(judged.image, file.chain) == new.data
        assert (file.entry.type_code, file.entry.locked) == (new.type_code, new.locked)
        assert file.entry.record_length == new.record_length
        assert file.whole
        assert file.size_bytes == len(new.data)
    serious = [item for item in judged.findings if item.severity is not Severity.NOTE]
    assert {item.code for item in serious} <= ABOUT_NAMES_AND_ADDRESSES
    assert {item.code for item in judged.findings} <= ABOUT_NAMES_AND_ADDRESSES
    assert [file.entry.blocks for file in judged.files] == [
        blocks_needed(file, layout) for file in files
    ]
    assert judged.block_map.blocks_free + needed == Allocator(layout).available_blocks


def test_a_file_may_be_unclosed() -> None:
    judged = audit(DiskImage.from_bytes(compose(b"", [replace(program(2), closed=False)])))
    assert not judged.files[0].entry.closed


def test_a_disk_filled_to_the_last_block_by_144_files() -> None:
    files = [program(5 if i < 88 else 4, name=b"%d" % i, seed=i) for i in range(144)]
    assert sum(blocks_for(file.data) for file in files) == 664
    judged = audit(DiskImage.from_bytes(compose(b"RANDVOLL", files)))
    assert (judged.verdict, judged.block_map.blocks_free) == ("sound", 0)
    assert [read_bytes(judged.image, file.chain) for file in judged.files] == [
        file.data for file in files
    ]


# -- what does not fit


@pytest.mark.parametrize(
    ("files", "layout", "words"),
    [
        ([program(665)], TRACKS_35, 'the file "LEUCHTTURM" needs 665 blocks and 664 are free'),
        ([program(660), program(5, name=b"B")], TRACKS_40, 'the file "B" needs 5 blocks and 4 are'),
        ([program(1_329)], TRACKS_70, "needs 1329 blocks and 1328 are free on the 70-track disk"),
        ([program(1, name=b"")], TRACKS_35, 'the file name "" has 0 bytes'),
        ([program(1, name=b"A" * 17)], TRACKS_35, "has 17 bytes: it may have 1 to 16"),
        ([program(1, name=b"A\xa0B")], TRACKS_35, "no shifted space"),
        ([NewFile(b"LEER", b"")], TRACKS_35, 'the file "LEER" is empty'),
        ([NewFile(b"X", b"x", type_code=5)], TRACKS_80, "type 5: it may be 0 to 4"),
        ([NewFile(b"X", b"x" * 10, 4, record_length=3)], TRACKS_35, "records of 3 bytes"),
        ([NewFile(b"X", b"x" * 10, 4, record_length=0)], TRACKS_35, "records of 0 bytes"),
        ([NewFile(b"X", b"x" * 255, 4, record_length=255)], TRACKS_35, "a record has 1 to 254"),
        ([relative(2 * 660)], TRACKS_35, "needs 666 blocks and 664 are free"),
        ([relative(2 * 721)], TRACKS_70, "6 side sectors name 720 at the most"),
        ([program(1, name=b"%d" % i) for i in range(145)], TRACKS_35, "144 entries at the most"),
        ([program(1, name=b"%d" % i) for i in range(297)], TRACKS_80, "296 entries at the most"),
    ],
)
def test_what_does_not_fit_is_told_in_a_sentence(
    files: list[NewFile], layout: Geometry, words: str
) -> None:
    with pytest.raises(DoesNotFit) as told:
        compose(b"GRAUHAVEN", files, layout)
    assert words in str(told.value)
    assert str(told.value).replace("\xa0", " ").isprintable()


def test_a_title_of_17_bytes() -> None:
    with pytest.raises(DoesNotFit, match="disk title"):
        compose(b"GRAUHAVEN HAFEN 1", [])


def test_hostile_names_are_shown_harmlessly() -> None:
    with pytest.raises(DoesNotFit) as told:
        compose(b"", [NewFile(b"\x1b[2J\x00", b"")])
    assert str(told.value).isprintable()
