"""Images that read fine, but something about them is unusual."""

from dataclasses import replace

from formats.compose import NewFile
from formats.geometry import TRACKS_40, TRACKS_80
from tests.formats.builders import NAMES, PARTITION, PRG, USR, Disk, noise, program, relative
from tests.formats.findings.case import case


@case(
    "count-differs",
    "count-differs 0 17/0",
    files="quirky",
    verdict="quirky",
    says="the entry states 1 block, the file has 3",
)
def the_entry_states_fewer_blocks() -> Disk:
    return Disk(program(3)).entry(0, blocks=1)


@case(
    "count-differs",
    "count-differs 0 17/0",
    files="quirky",
    verdict="quirky",
    says="the entry states 664 blocks, the file has 3",
)
def the_entry_boasts() -> Disk:
    return Disk(program(3)).entry(0, blocks=664)


@case("count-differs", "count-differs 0 17/0", files="quirky", verdict="quirky")
def a_single_entry_of_zero_blocks_hides_a_real_file() -> Disk:
    return Disk(program(3)).entry(0, blocks=0)


@case("count-differs", "count-differs 0 17/0", files="quirky", verdict="quirky")
def a_relative_file_whose_length_leaves_out_its_side_sector() -> Disk:
    return Disk(relative(2)).entry(0, blocks=1)


@case(
    "count-differs",
    "count-differs 0 80/0",
    "partition 0 80/0",
    files="partition-quirky",
    verdict="quirky",
    says="the entry states 41 blocks, the file has 40",
)
def a_partition_longer_than_the_disk() -> Disk:
    disk = Disk(geometry=TRACKS_80).put((40, 2), bytes(6), at=0x10 + 39 * 6)
    return disk.entry(0, kind=PARTITION, start=(80, 0), name=NAMES[0], blocks=41)


@case(
    "end-byte-odd",
    "end-byte-odd 0 17/10",
    files="quirky",
    verdict="quirky",
    says="the last block 17/10 ends at byte 01, which the stock drive never writes",
)
def the_last_block_ends_before_its_data() -> Disk:
    return Disk(program(2)).link((17, 10), (0, 1))


@case("end-byte-odd", "end-byte-odd 0 17/10", files="quirky", verdict="quirky")
def the_last_block_ends_at_byte_00() -> Disk:
    return Disk(program(2)).link((17, 10), (0, 0))


@case(
    "entry-unclosed",
    "entry-unclosed 0 17/0",
    files="quirky",
    verdict="quirky",
    says="the file was never properly closed (shown with * in the listing)",
)
def the_entry_is_not_closed() -> Disk:
    return Disk(replace(program(3), closed=False))


@case(
    "type-unknown",
    "type-unknown 0 17/0",
    files="quirky sound",
    verdict="quirky",
    says="type 7 is none that the drive knows, but it can be read: 3 blocks",
)
def a_program_of_type_seven() -> Disk:
    return Disk(program(3), program(1, name=NAMES[1], seed=1)).entry(0, kind=0x87)


@case("type-unknown", "type-unknown 0 17/0", files="quirky", verdict="quirky")
def a_partition_on_a_35_track_disk() -> Disk:
    return Disk(program(3)).entry(0, kind=PARTITION)


@case(
    "name-twin",
    "name-twin 1 -",
    files="sound quirky",
    verdict="quirky",
    says="a file of the same name stands before it: only that one can be loaded by name",
)
def two_files_of_one_name() -> Disk:
    return Disk(program(1), NewFile(NAMES[0], noise(10), USR & 7))


@case(
    "map-frees-used",
    "map-frees-used 0 17/10",
    files="quirky",
    verdict="quirky",
    says="1 block in use but marked free in the map, the first 17/10",
)
def a_block_of_a_file_is_marked_free() -> Disk:
    return Disk(program(3)).mark_free((17, 10))


@case(
    "map-frees-used",
    "map-frees-used - 18/0",
    verdict="quirky",
    says="2 blocks in use but marked free in the map, the first 18/0",
)
def header_and_directory_are_marked_free() -> Disk:
    return Disk().mark_free((18, 0), (18, 1))


@case(
    "map-count-differs",
    "map-count-differs - 18/0",
    files="sound",
    verdict="quirky",
    says="free counts and bits of the map disagree on 2 tracks, the first 3",
)
def two_counts_of_the_map_are_wrong() -> Disk:
    return Disk(program(1)).put((18, 0), b"\x05", at=4 * 3).put((18, 0), b"\x00", at=4 * 35)


@case(
    "map-count-differs",
    "map-frees-used 0 17/0",
    "map-count-differs - 18/0 note",
    files="quirky",
    verdict="quirky",
)
def a_map_of_one_value_that_calls_all_free() -> Disk:
    return Disk(program(1)).put((18, 0), b"\xff" * 140, at=4)


@case(
    "header-odd",
    "header-odd - 18/0",
    files="sound",
    verdict="quirky",
    says="the header has format mark 50 in place of 41",
)
def a_format_mark_that_keeps_the_drive_from_writing() -> Disk:
    return Disk(program(1)).put((18, 0), b"\x50", at=2)


@case(
    "header-odd",
    "header-odd - 18/0",
    verdict="quirky",
    says="the header has format mark 00 in place of 41",
)
def a_format_mark_of_zero_on_an_empty_disk() -> Disk:
    return Disk().put((18, 0), b"\0", at=2)


@case(
    "header-odd",
    "header-odd - 18/0",
    files="sound",
    verdict="quirky",
    says="the header has a first directory link to 18/4 in place of 18/1",
)
def a_first_link_to_elsewhere_which_the_drive_does_not_follow() -> Disk:
    return Disk(program(1)).link((18, 0), (18, 4))


@case(
    "header-odd",
    "header-odd - 18/0",
    "decoration 1 -",
    files="sound decoration",
    verdict="quirky",
    says="the header has format mark 00 in place of 41 and "
    "a first directory link to 0/0 in place of 18/1",
)
def a_header_that_lies_twice_above_a_real_directory() -> Disk:
    disk = Disk(program(1)).put((18, 0), b"\0\0\0")
    return disk.entry(1, kind=0x80, start=(0, 0), name=b"NUR GUCKEN")


@case(
    "header-odd",
    "header-odd - 40/0",
    files="sound",
    verdict="quirky",
    says="the header has format mark 41 in place of 44",
)
def the_35_track_format_mark_on_80_tracks() -> Disk:
    return Disk(program(1), geometry=TRACKS_80).put((40, 0), b"\x41", at=2)


@case(
    "past-35",
    "past-35 0 36/0",
    files="quirky",
    verdict="quirky",
    says="2 blocks of it past track 35, the first 36/0",
)
def a_file_that_goes_on_past_track_35() -> Disk:
    disk = Disk(geometry=TRACKS_40).chain([(35, 0), (36, 0), (40, 16)])
    disk.put((35, 0), b"\x01\x08", at=2)
    return disk.entry(0, kind=PRG, start=(35, 0), name=NAMES[0], blocks=3)


@case(
    "program-wraps",
    "program-wraps 0 17/0",
    "address-tight 0 17/0",
    files="quirky",
    verdict="quirky",
    says="loads from FF04 and would run past FFFF",
)
def a_program_one_byte_too_long_for_memory() -> Disk:
    """252 bytes from FF04 end at FFFF; one more does not fit."""
    fits = program(1, load=0xFF04)
    return Disk(replace(fits, data=fits.data + b"\x55"))


@case(
    "image-long",
    "image-long - -",
    files="sound",
    verdict="quirky",
    says="more than the 35-track layout holds: 3 bytes at the end",
)
def three_bytes_follow() -> Disk:
    disk = Disk(program(1))
    disk.extra = b"\r\n\x1a"
    return disk


@case(
    "image-long",
    "image-long - - note",
    files="sound",
    verdict="sound",
    says="more than the 35-track layout holds: 1 byte at the end",
)
def one_zero_follows() -> Disk:
    disk = Disk(program(1))
    disk.extra = b"\0"
    return disk
