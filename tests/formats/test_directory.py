"""Header, directory chain and entries, as programmer's references have them (from memory)."""

import pytest

from formats.chains import Ending
from formats.compose import NewFile, compose
from formats.directory import kind_of, read_directory
from formats.geometry import LAYOUTS, TRACKS_35, TRACKS_70, TRACKS_80, Geometry
from formats.image import DiskImage
from tests.formats.builders import (
    NAMES,
    PRG,
    STOCK_FILLING,
    ZEROS,
    At,
    Disk,
    noise,
    program,
    relative,
)


def many(count: int) -> list[NewFile]:
    return [program(1, name=b"TEIL %d" % i, seed=i) for i in range(count)]


@pytest.mark.parametrize("layout", LAYOUTS, ids=lambda layout: layout.name)
def test_title_and_id(layout: Geometry) -> None:
    data = compose(b"CLUBABEND 7", many(1), layout, disk_id=b"K7")
    directory = read_directory(DiskImage.from_bytes(data))
    assert (directory.title, directory.disk_id) == (b"CLUBABEND 7", b"K7")
    assert directory.format_name == (b"3D" if layout is TRACKS_80 else b"2A")
    assert directory.format_mark == (0x44 if layout is TRACKS_80 else 0x41)
    assert directory.first_link == layout.directory


def test_a_title_may_hold_anything_but_its_padding_at_the_end() -> None:
    disk = Disk().put((18, 0), b"A\xa0B\x00\x12".ljust(16, b"\xa0"), at=0x90)
    assert read_directory(disk.image).title == b"A\xa0B\x00\x12"


def test_fields_of_an_entry() -> None:
    (entry,) = read_directory(Disk(relative(3, 100, b"KARTEI")).image).entries
    assert (entry.slot, entry.name, entry.after_name) == (0, b"KARTEI", b"")
    assert (entry.kind, entry.type_byte, entry.type_code) == ("REL", 0x84, 4)
    assert (entry.start, entry.side_start) == ((17, 0), (17, 1))
    assert (entry.record_length, entry.blocks) == (100, 3)
    assert entry.raw[5:11] == b"KARTEI"
    assert len(entry.raw) == 32


def test_what_stands_behind_the_padding_is_kept() -> None:
    disk = Disk(program(1)).entry(0, name=b"LOTSE\xa0,8,1\xa0\xa0X")
    (entry,) = read_directory(disk.image).entries
    assert (entry.name, entry.after_name) == (b"LOTSE", b",8,1\xa0\xa0X")
    assert entry.text == "LOTSE"


def test_a_length_is_stored_low_byte_first() -> None:
    disk = Disk(program(1)).entry(0, blocks=0x0201)
    offset = disk.entry_offset(0)
    assert disk.sectors[offset + 0x1E : offset + 0x20] == b"\x01\x02"
    assert read_directory(disk.image).entries[0].blocks == 513


@pytest.mark.parametrize(
    ("type_byte", "closed", "locked", "being_replaced"),
    [
        (0x82, True, False, False),
        (0x02, False, False, False),
        (0xC2, True, True, False),
        (0xA2, True, False, True),
        (0x42, False, True, False),
    ],
)
def test_bits_of_the_type(type_byte: int, closed: bool, locked: bool, being_replaced: bool) -> None:
    disk = Disk(program(1)).entry(0, kind=type_byte)
    (entry,) = read_directory(disk.image).entries
    assert (entry.closed, entry.locked, entry.being_replaced) == (closed, locked, being_replaced)
    assert entry.kind == "PRG"


def test_kinds() -> None:
    kinds = ["DEL", "SEQ", "PRG", "USR", "REL", "?", "?", "?"]
    assert [kind_of(0x80 | code, partitions=False) for code in range(8)] == kinds
    kinds[5] = "partition"
    assert [kind_of(0x80 | code, partitions=True) for code in range(8)] == kinds


def test_scratched_and_unused_entries() -> None:
    """A type byte of 00 is no entry; one with a start left was scratched."""
    disk = Disk(*many(3)).entry(1, kind=0)
    directory = read_directory(disk.image)
    assert [entry.slot for entry in directory.entries] == [0, 2]
    assert [(entry.slot, entry.name) for entry in directory.scratched] == [(1, b"TEIL 1")]


# -- the directory's chain


@pytest.mark.parametrize(
    ("layout", "sectors"),
    [
        # Three apart and round the track: the manual of the 35-track drive, from memory.
        (TRACKS_35, [1, 4, 7, 10, 13, 16, 2, 5, 8, 11, 14, 17, 3, 6, 9, 12, 15, 18]),
        (TRACKS_70, [1, 4, 7, 10, 13, 16, 2, 5, 8, 11, 14, 17, 3, 6, 9, 12, 15, 18]),
        (TRACKS_80, list(range(3, 40))),
    ],
)
def test_a_full_directory(layout: Geometry, sectors: list[int]) -> None:
    count = layout.directory_limit
    directory = read_directory(DiskImage.from_bytes(compose(b"VOLL", many(count), layout)))
    track = layout.directory.track
    assert [layout.place(block) for block in directory.blocks] == [(track, s) for s in sectors]
    assert [entry.name for entry in directory.entries] == [b"TEIL %d" % i for i in range(count)]
    assert [entry.slot for entry in directory.entries] == list(range(count))
    assert directory.chain.ended


def test_what_the_drive_reads_to_find_an_entry() -> None:
    directory = read_directory(Disk(*many(20)).image)
    header, first, second, third = (TRACKS_35.index(18, sector) for sector in (0, 1, 4, 7))
    assert directory.search_blocks(0) == [header, first]
    assert directory.search_blocks(7) == [header, first]
    assert directory.search_blocks(8) == [header, first, second]
    assert directory.search_blocks(19) == [header, first, second, third]


@pytest.mark.parametrize(
    ("link", "ending"),
    [
        ((18, 1), Ending.LOOP),
        ((18, 4), Ending.LOOP),
        ((18, 0), Ending.IN_DIRECTORY),
        ((99, 0), Ending.OFF_DISK),
        ((20, 0), Ending.BLANK),
        ((19, 0), Ending.END),
        ((18, 7), Ending.BAD_BLOCK),
    ],
)
def test_a_directory_cut_short_keeps_the_entries_before(link: At, ending: Ending) -> None:
    disk = Disk(*many(9)).put((20, 0), STOCK_FILLING).put((19, 0), ZEROS)
    directory = read_directory(disk.error((18, 7), 4).link((18, 4), link).image)
    assert directory.chain.ending is ending
    assert len(directory.entries) == 9


def test_the_directory_starts_at_its_own_place_whatever_the_header_says() -> None:
    disk = Disk(*many(1)).link((18, 0), (18, 7)).put((18, 7), noise(256))
    directory = read_directory(disk.image)
    assert directory.first_link == (18, 7)
    assert [entry.name for entry in directory.entries] == [b"TEIL 0"]


def test_a_disk_owns_its_header_map_and_directory() -> None:
    directory = read_directory(Disk(*many(9), geometry=TRACKS_70).image)
    places = [(18, 0), (53, 0), (18, 1), (18, 4)]
    assert directory.owned == {TRACKS_70.index(*place) for place in places}
    barred = [block for block, mark in enumerate(directory.barred) if mark]
    assert barred == sorted(directory.owned)


def test_names_may_be_any_bytes() -> None:
    hostile = bytes(range(16))
    disk = Disk(program(1)).entry(0, name=hostile, kind=PRG)
    (entry,) = read_directory(disk.image).entries
    assert entry.name == hostile
    assert entry.text.isprintable()
    assert NAMES[0] not in entry.raw
