"""Images in which nothing is wrong, and there is something to know."""

from formats.geometry import TRACKS_40, TRACKS_80
from tests.formats.builders import (
    DEL,
    NAMES,
    PARTITION,
    PRG,
    STOCK_FILLING,
    ZEROS,
    Disk,
    noise,
    program,
)
from tests.formats.findings.case import case
from tests.formats.findings.damage import desktop_file


def sound_file() -> Disk:
    return Disk(program(3))


@case(
    "no-directory",
    "no-directory - 18/0",
    verdict="sound",
    says="no directory: a store of raw blocks, used by a title's own loader or by nothing",
)
def random_bytes_in_header_and_directory() -> Disk:
    return sound_file().put((18, 0), noise(256, 1)).put((18, 1), noise(256, 2))


@case(
    "no-directory",
    "no-directory - 18/0",
    verdict="sound",
    says="the whole image is zeros: never written",
)
def an_image_of_nothing_but_zeros() -> Disk:
    return sound_file().put((1, 0), bytes(683 * 256))


@case(
    "no-directory",
    "no-directory - 18/0",
    verdict="sound",
    says="every block is blank: never written",
)
def an_image_of_blocks_as_a_format_leaves_them() -> Disk:
    return sound_file().put((1, 0), (b"\x4b" + b"\x01" * 255) * 683)


@case(
    "alias",
    "alias 1 17/0",
    files="sound alias-sound",
    verdict="sound",
    says='starts at the same block as "LEUCHTTURM"',
)
def a_second_name_for_a_file() -> Disk:
    return sound_file().entry(1, kind=PRG, start=(17, 0), name=NAMES[1], blocks=3)


@case("alias", "alias 1 17/0", files="sound alias-sound", verdict="sound")
def an_alias_of_another_length_gets_no_finding_for_it() -> Disk:
    return sound_file().entry(1, kind=PRG & 7, start=(17, 0), name=NAMES[0], blocks=99)


@case(
    "alias",
    "chain-off-disk 0 17/20",
    "alias 1 17/0",
    files="damaged alias-damaged",
    verdict="damaged",
)
def an_alias_is_as_good_as_its_file() -> Disk:
    disk = sound_file().link((17, 20), (99, 99))
    return disk.entry(1, kind=PRG, start=(17, 0), name=NAMES[1], blocks=1)


@case(
    "decoration",
    "decoration 1 -",
    files="sound decoration",
    verdict="sound",
    says="decorates the directory: there is nothing to load",
)
def a_line_of_type_del() -> Disk:
    return sound_file().entry(1, kind=DEL, start=(18, 0), name=b"-" * 16)


@case("decoration", "decoration 1 -", files="sound decoration", verdict="sound")
def a_line_of_type_del_that_states_blocks() -> Disk:
    return sound_file().entry(1, kind=DEL, start=(17, 10), name=b"-" * 16, blocks=999)


@case(
    "decoration", "decoration 0 -", "decoration 1 -", files="decoration decoration", verdict="sound"
)
def zero_blocks_that_start_nowhere() -> Disk:
    disk = Disk().entry(0, kind=PRG, start=(0, 0), name=b"GRAUHAVENS")
    return disk.entry(1, kind=PRG, start=(36, 200), name=b"BESTE SEITE")


@case("decoration", "decoration 0 -", files="decoration", verdict="sound")
def zero_blocks_that_start_at_a_blank_block() -> Disk:
    return Disk(filling=STOCK_FILLING).entry(0, kind=PRG, start=(19, 0), name=b"AHOI")


@case("decoration", "decoration 1 -", files="sound decoration", verdict="sound")
def an_unknown_type_whose_blocks_cannot_be_read() -> Disk:
    disk = sound_file().put((1, 0), b"\xee" + noise(255))
    return disk.entry(1, kind=0x87, start=(1, 0), name=b"AHOI", blocks=7)


@case("decoration", "decoration 0 -", files="decoration", verdict="sound")
def a_partition_of_no_blocks() -> Disk:
    disk = Disk(geometry=TRACKS_80).put((1, 0), noise(256))
    return disk.entry(0, kind=PARTITION, start=(1, 0), name=b"LEER")


@case(
    "own-loader",
    "own-loader - 1/0",
    files="sound",
    verdict="sound",
    says="2 blocks written but of no file, the first 1/0: the title probably loads such blocks "
    "itself, so its time is a lower bound and the cartridge may not help",
)
def written_blocks_of_no_file() -> Disk:
    return sound_file().chain([(1, 0)]).chain([(2, 5)])


@case("own-loader", "count-differs 0 17/0", "own-loader - 1/0", files="quirky", verdict="quirky")
def a_loader_that_boasts_explains_no_blocks() -> Disk:
    return sound_file().chain([(1, 0)]).entry(0, blocks=664)


@case(
    "map-strands",
    "map-strands - 1/0",
    files="sound",
    verdict="sound",
    says="1 block marked used but of no file, the first 1/0",
)
def a_blank_block_that_is_marked_used() -> Disk:
    return sound_file().mark_used((1, 0))


@case(
    "map-strands",
    "map-strands - 17/1",
    "decoration 1 -",
    files="sound decoration",
    verdict="sound",
)
def blocks_of_a_file_that_became_a_line_of_type_del() -> Disk:
    return Disk(program(1), program(3, name=NAMES[1], seed=1)).entry(1, kind=DEL)


@case(
    "deleted-remains",
    "deleted-remains 1 17/1",
    files="sound",
    verdict="sound",
    says="a scratched file of 3 blocks is still whole at 17/1",
)
def a_scratched_file() -> Disk:
    disk = Disk(program(1), program(3, name=NAMES[1], seed=1)).entry(1, kind=0)
    return disk.mark_free((17, 1), (17, 11), (17, 2))


@case("map-strands", "map-strands - 17/1", files="sound", verdict="sound")
def a_scratched_file_that_is_overwritten_in_part_explains_its_blocks() -> Disk:
    disk = Disk(program(1), program(3, name=NAMES[1], seed=1)).entry(1, kind=0)
    return disk.put((17, 2), ZEROS)


@case(
    "error-bytes",
    "error-bytes - 1/7",
    files="sound",
    verdict="sound",
    says="1 block with error bytes outside every file, the first 1/7",
)
def an_error_byte_on_a_block_of_no_file() -> Disk:
    return sound_file().error((1, 7), 0x05)


@case(
    "error-bytes",
    "error-bytes - 35/0",
    files="sound",
    verdict="sound",
    says="17 blocks with error bytes outside every file, the first 35/0; "
    "the whole of track 35: probably copy protection",
)
def a_whole_track_of_error_bytes() -> Disk:
    disk = sound_file()
    for sector in range(17):
        disk.error((35, sector), 0x03)
    return disk


@case(
    "tracks-extra",
    "tracks-extra - 38/4",
    files="sound",
    verdict="sound",
    says="1 block written past track 35 but of no file, the first 38/4",
)
def a_written_block_on_track_38() -> Disk:
    return Disk(program(3), geometry=TRACKS_40).put((38, 4), noise(256))


@case(
    "name-awkward",
    "name-awkward 0 -",
    files="sound",
    verdict="sound",
    says="its name holds a quote, an asterisk, a question mark, a comma, a colon: "
    'hard to load by typing; use ? in its place or "*"',
)
def a_name_of_everything_that_is_hard_to_type() -> Disk:
    return Disk(program(3, name=b'A"*?,:Z'))


@case(
    "address-tight",
    "address-tight 0 17/0",
    files="sound",
    verdict="sound",
    says="loads to 8000–80FB, into 8000–9FFF, the cartridge's window",
)
def a_program_in_the_cartridges_window() -> Disk:
    return Disk(program(1, load=0x8000))


@case(
    "address-tight",
    "address-tight 0 17/0",
    files="sound",
    verdict="sound",
    says="loads to 0326–0421, below 0400, over the machine's own work space",
)
def a_program_that_loads_over_the_machines_vectors() -> Disk:
    return Disk(program(1, load=0x0326))


@case(
    "address-tight",
    "address-tight 0 17/0",
    files="sound",
    verdict="sound",
    says="loads to CFFF–D0FA, under I/O at D000–DFFF",
)
def a_program_that_reaches_into_io() -> Disk:
    return Disk(program(1, load=0xCFFF))


@case(
    "address-tight",
    "address-tight 0 17/0",
    files="sound",
    verdict="sound",
    says="loads to FF04–FFFF, under ROM at E000–FFFF",
)
def a_program_that_ends_where_memory_ends() -> Disk:
    return Disk(program(1, load=0xFF04))


@case(
    "record-index",
    "record-index 1 1/0",
    files="sound sound",
    verdict="sound",
    says="a desktop's indexed file: its first block names 2 record chains",
)
def a_desktops_indexed_file() -> Disk:
    """Records that are deleted (00/FF) or were never there (00/00) stand between the others."""
    return desktop_file([(1, 1), (0, 255), (0, 0), (1, 2)], blocks=5)


@case(
    "partition",
    "partition 0 1/0",
    files="partition-sound",
    verdict="sound",
    says="a partition of 120 blocks from 1/0; its inside is not looked at",
)
def a_partition_of_three_tracks() -> Disk:
    disk = Disk(geometry=TRACKS_80).put((40, 1), bytes(3 * 6), at=0x10).put((1, 0), noise(2560))
    return disk.entry(0, kind=PARTITION, start=(1, 0), name=NAMES[0], blocks=120)
