"""Everyday disks that look odd and must not be called damaged."""

from dataclasses import replace

from formats.geometry import TRACKS_35, TRACKS_40, TRACKS_42, TRACKS_70, TRACKS_80, Geometry
from tests.formats.builders import (
    DEL,
    NAMES,
    ONES,
    PRG,
    SEQ,
    STOCK_FILLING,
    USR,
    ZEROS,
    Disk,
    noise,
    program,
    relative,
)
from tests.formats.findings.case import case

LINES = range(1, 8)
SEVEN_NOTES = tuple(f"decoration {slot} -" for slot in LINES)
SEVEN = " decoration" * 7
TRACK_18 = [(18, 10), (18, 13), (18, 16), (18, 2)]


# -- directories with decorations


@case("lines", "own-loader - 18/2", *SEVEN_NOTES, files="sound" + SEVEN, verdict="sound")
def lines_at_the_header_and_a_loaders_blocks_beside_them() -> Disk:
    return Disk(program(3)).rows(LINES, 0x87, (18, 0)).chain(TRACK_18)


@case(
    "lines",
    *(f"decoration {slot} -" for slot in range(7)),
    files="decoration " * 7 + "sound",
    verdict="sound",
)
def a_program_of_four_blocks_on_track_18_behind_lines_at_the_header() -> Disk:
    disk = Disk().rows(range(7), PRG, (18, 0)).chain(TRACK_18).put((18, 10), b"\x01\x08", at=2)
    return disk.entry(7, kind=PRG, start=TRACK_18[0], name=NAMES[0], blocks=4)


@case("lines", "own-loader - 19/0", *SEVEN_NOTES, files="sound" + SEVEN, verdict="sound")
def lines_at_a_block_of_garbage() -> Disk:
    disk = Disk(program(3)).rows(LINES, PRG, (19, 0)).chain([(19, 0)])
    return disk.link((19, 0), (0xEE, 0xEE))


@case("lines", *SEVEN_NOTES, files="sound" + SEVEN, verdict="sound")
def lines_in_the_middle_of_a_program() -> Disk:
    return Disk(program(3)).rows(LINES, 0x87, (17, 10))


@case(
    "lines",
    *(f"alias {slot} 17/0" for slot in LINES),
    files="sound" + " alias-sound" * 7,
    verdict="sound",
)
def lines_that_load_the_program_before_them() -> Disk:
    return Disk(program(3)).rows(LINES, PRG, (17, 0))


@case(
    "lines",
    *(f"decoration {slot} -" for slot in range(7)),
    files="decoration " * 7 + "sound",
    verdict="sound",
)
def lines_before_the_program_that_they_load() -> Disk:
    disk = Disk(program(3)).entry(7, kind=PRG, start=(17, 0), name=NAMES[0], blocks=3)
    return disk.rows(range(7), PRG, (17, 0))


@case(
    "lines",
    "count-differs 0 17/0",
    *(f"alias {slot} 17/0" for slot in LINES),
    files="quirky" + " alias-quirky" * 7,
    verdict="quirky",
)
def lines_that_all_load_a_program_and_hide_its_length() -> Disk:
    return Disk(program(3)).rows(range(8), PRG, (17, 0))


@case("lines", "decoration 0 -", *SEVEN_NOTES, files="decoration" + SEVEN, verdict="sound")
def a_sector_of_nothing_but_del_lines_that_state_blocks() -> Disk:
    return Disk().rows(range(8), DEL, (17, 0), blocks=664)


# -- titles with loaders of their own, and what they leave


def written_everywhere(disk: Disk) -> Disk:
    """Noise in every block that was never written; all are marked used."""
    for block in disk.image.blank.nonzero()[0].tolist():
        disk.put(disk.geometry.place(block), noise(256, block))
    return disk.every_block_used()


@case("own loader", "own-loader - 1/0", files="sound", verdict="sound")
def a_small_loader_and_600_used_blocks_outside_every_file() -> Disk:
    return written_everywhere(Disk(program(3)))


@case("own loader", "own-loader - 1/0", verdict="sound")
def no_entry_at_all_and_every_block_marked_used() -> Disk:
    return written_everywhere(Disk())


@case("own loader", "map-strands - 1/0", verdict="sound")
def an_empty_disk_with_every_block_marked_used() -> Disk:
    return Disk().every_block_used()


@case("scratched", verdict="sound")
def scratched_files_that_are_long_overwritten() -> Disk:
    disk = Disk(*(program(1, name=name, seed=i) for i, name in enumerate(NAMES)))
    for slot in range(len(NAMES)):
        place = (17, slot)
        disk.entry(slot, kind=0).mark_free(place).put(place, ZEROS)
    return disk


# -- files of every kind


@case("files", files="sound " * 4 + "sound", verdict="sound")
def files_of_every_type() -> Disk:
    kinds = (SEQ & 7, PRG & 7, USR & 7)
    files = [
        replace(program(2, name=NAMES[kind], seed=kind), type_code=kind, locked=kind == 2)
        for kind in kinds
    ]
    return Disk(*files, relative(250), relative(4, 254, b"KASSE"))


@case("files", files="sound sound", verdict="sound")
def a_desktops_plain_file_with_an_info_block() -> Disk:
    disk = Disk(program(1), program(2, name=NAMES[1], seed=1)).chain([(1, 5)])
    return disk.entry(1, kind=USR, blocks=3, side=(1, 5), structure=0, desktop_kind=4)


@case("files", files="sound", verdict="sound")
def a_plain_file_whose_unused_bytes_look_like_a_desktops() -> Disk:
    """Its length leaves no room for an info block, so 19/0 is not claimed (it is free)."""
    return Disk(program(2)).entry(0, side=(19, 0), structure=0, desktop_kind=4)


@case("files", files="sound sound sound", verdict="sound")
def programs_that_just_miss_what_is_tight() -> Disk:
    """252 bytes from 0400, up to 7FFF, and from C000."""
    loads = (0x0400, 0x8000 - 252, 0xC000)
    names = NAMES[:3]
    return Disk(*(program(1, load, name, load) for load, name in zip(loads, names, strict=True)))


@case("files", files="sound", verdict="sound")
def a_program_of_nothing_but_its_load_address() -> Disk:
    return Disk(replace(program(1), data=b"\x00\x80"))


@case("files", files="sound", verdict="sound")
def a_block_of_ones_that_leads_on_to_the_stated_end() -> Disk:
    """17/0, 17/10 full of 01, so on to 1/1."""
    disk = Disk(program(2)).put((17, 10), ONES).chain([(1, 1)])
    return disk.entry(0, blocks=3)


@case("files", files="sound", verdict="sound")
def a_file_of_one_byte() -> Disk:
    return Disk(replace(program(1), data=b"\x01", type_code=SEQ & 7))


# -- fresh disks


def fresh(geometry: Geometry, filling: bytes) -> Disk:
    return Disk(geometry=geometry, filling=filling)


@case("fresh", verdict="sound")
def a_fresh_35_track_disk_of_zeros() -> Disk:
    return fresh(TRACKS_35, ZEROS)


@case("fresh", verdict="sound")
def a_fresh_35_track_disk_of_the_stock_drive() -> Disk:
    return fresh(TRACKS_35, STOCK_FILLING)


@case("fresh", verdict="sound")
def a_fresh_40_track_disk() -> Disk:
    return fresh(TRACKS_40, STOCK_FILLING)


@case("fresh", verdict="sound")
def a_fresh_42_track_disk() -> Disk:
    return fresh(TRACKS_42, ZEROS)


@case("fresh", verdict="sound")
def a_fresh_double_sided_disk() -> Disk:
    return fresh(TRACKS_70, STOCK_FILLING)


@case("fresh", verdict="sound")
def a_fresh_80_track_disk() -> Disk:
    return fresh(TRACKS_80, ZEROS)


@case("fresh", verdict="sound")
def a_fresh_disk_whose_first_directory_sector_is_zeros() -> Disk:
    return Disk().put((18, 1), ZEROS)


@case("fresh", verdict="sound")
def a_directory_that_ends_in_a_sector_of_zeros() -> Disk:
    return Disk().link((18, 1), (18, 4)).mark_used((18, 4))


@case("fresh", "map-strands - 18/2", verdict="sound")
def a_disk_whose_directory_track_is_marked_used_throughout() -> Disk:
    return Disk().put((18, 0), bytes(4), at=4 * 18)


@case("fresh", "no-directory - 18/0", verdict="sound")
def a_store_of_raw_blocks_whose_header_happens_to_hold_an_a() -> Disk:
    raw = Disk().put((18, 0), b"RA" + b"\x41" + noise(253)).put((18, 1), b"\0" + noise(255, 1))
    return raw.put((1, 0), noise(2560))
