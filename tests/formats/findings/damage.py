"""Images in which a file or the directory cannot be read whole."""

from formats.geometry import TRACKS_70, TRACKS_80
from tests.formats.builders import (
    NAMES,
    ONES,
    PARTITION,
    PRG,
    STOCK_FILLING,
    USR,
    ZEROS,
    Disk,
    program,
    relative,
)
from tests.formats.findings.case import case


def two_programs() -> Disk:
    """Three blocks on 17/0, 17/10, 17/20, and three on 17/1, 17/11, 17/2."""
    return Disk(program(3), program(3, name=NAMES[1], seed=1))


# -- chains


@case(
    "chain-loop",
    "chain-loop 0 17/0",
    files="damaged sound",
    verdict="damaged",
    says="the chain comes back to its own block 17/0 after 3 of 3 blocks",
)
def the_last_block_links_to_the_first() -> Disk:
    return two_programs().link((17, 20), (17, 0))


@case("chain-loop", "chain-loop 0 17/10", files="damaged", verdict="damaged")
def a_block_links_to_itself() -> Disk:
    return Disk(program(2)).link((17, 10), (17, 10))


@case(
    "chain-off-disk",
    "chain-off-disk 0 17/20",
    files="damaged sound",
    verdict="damaged",
    says="block 17/20 links to 36/0, which does not exist; 3 of 3 blocks read",
)
def the_last_block_links_past_track_35() -> Disk:
    return two_programs().link((17, 20), (36, 0))


@case(
    "chain-off-disk",
    "chain-off-disk 0 17/0",
    "map-strands - 17/10",
    files="damaged",
    verdict="damaged",
    says="block 17/0 links to 17/21, which does not exist; 1 of 3 blocks read",
)
def the_first_block_links_past_the_last_sector_and_two_are_lost() -> Disk:
    return Disk(program(3)).link((17, 0), (17, 21))


@case(
    "chain-shared",
    "chain-shared 0 17/20",
    "map-strands - 17/2",
    files="damaged sound",
    verdict="damaged",
    says='its chain and that of "MOLENFEUER" run together at 17/20',
)
def the_file_that_lost_its_length_shares() -> Disk:
    """17/0, 17/20 (two of three blocks) and 17/1, 17/11, 17/20 (three of three)."""
    disk = two_programs()
    return disk.link((17, 0), (17, 20)).link((17, 11), (17, 20)).mark_free((17, 10))


@case(
    "chain-shared",
    "chain-shared 0 17/20",
    "chain-shared 1 17/20",
    "map-strands - 17/2",
    files="damaged damaged",
    verdict="damaged",
    says='its chain and that of "MOLENFEUER" run together at 17/20',
)
def both_files_have_their_length_and_share() -> Disk:
    return two_programs().link((17, 11), (17, 20))


@case(
    "chain-shared",
    "chain-shared 0 17/20",
    "chain-shared 1 17/20",
    "chain-shared 2 17/20",
    "map-strands - 17/2",
    files="damaged damaged damaged",
    verdict="damaged",
)
def three_files_share_and_all_have_their_length() -> Disk:
    third = program(3, name=NAMES[2], seed=2)
    disk = Disk(program(3), program(3, name=NAMES[1], seed=1), third)
    return disk.link((17, 11), (17, 20)).link((17, 13), (17, 20)).mark_free((17, 4))


@case(
    "chain-shared",
    "chain-shared 1 17/1",
    "map-strands - 17/3",
    files="sound damaged",
    verdict="damaged",
    says='its chain and that of "MITGLIEDER" run together at 17/1',
)
def a_program_runs_into_a_side_sector_of_a_relative_file() -> Disk:
    """Records on 17/0, the side sector on 17/1; the program on 17/2, 17/12, 17/3."""
    return Disk(relative(2), program(3)).link((17, 2), (17, 1))


@case(
    "chain-shared",
    "chain-shared 1 1/1",
    "record-index 1 1/0",
    files="sound damaged",
    verdict="damaged",
    says="its chain and that of another of its records run together at 1/1",
)
def two_records_of_a_desktop_file_are_the_same() -> Disk:
    return desktop_file([(1, 1), (1, 1)])


@case(
    "chain-in-directory",
    "chain-in-directory 0 18/1",
    files="damaged",
    verdict="damaged",
    says="the chain runs into the directory at 18/1 after 3 of 3 blocks",
)
def the_last_block_links_to_the_directory() -> Disk:
    return Disk(program(3)).link((17, 20), (18, 1))


@case("chain-in-directory", "chain-in-directory 0 18/0", files="damaged", verdict="damaged")
def the_last_block_links_to_the_header() -> Disk:
    return Disk(program(3)).link((17, 20), (18, 0))


@case(
    "chain-in-directory",
    "chain-in-directory 0 18/1",
    files="damaged",
    verdict="damaged",
    says="the chain runs into the directory at 18/1 after 0 of 5 blocks",
)
def an_entry_of_five_blocks_starts_in_the_directory() -> Disk:
    return Disk().entry(0, kind=PRG, start=(18, 1), name=NAMES[0], blocks=5)


@case("chain-in-directory", "chain-in-directory 0 53/0", files="damaged", verdict="damaged")
def a_chain_runs_into_the_second_sides_map() -> Disk:
    return Disk(program(2), geometry=TRACKS_70).link((17, 6), (53, 0))


@case(
    "chain-bad-block",
    "chain-bad-block 0 17/10",
    "map-strands - 17/10",
    files="damaged",
    verdict="damaged",
    says="block 17/10 cannot be read: data checksum wrong (error 23); 1 of 3 blocks before it",
)
def an_error_byte_on_the_chain() -> Disk:
    return Disk(program(3)).error((17, 10), 0x05)


@case(
    "chain-bad-block",
    "chain-bad-block 0 17/0",
    "map-strands - 17/0",
    files="damaged",
    verdict="damaged",
    says="block 17/0 cannot be read: drive not ready (error 74); 0 of 1 block before it",
)
def an_error_byte_on_the_first_block() -> Disk:
    return Disk(program(1)).error((17, 0), 0x0F)


@case(
    "chain-blank",
    "chain-blank 0 17/20",
    "map-strands - 17/20",
    files="damaged",
    verdict="damaged",
    says="the chain runs into the never written block 17/20 after 2 of 3 blocks",
)
def the_last_block_is_all_zeros() -> Disk:
    return Disk(program(3)).put((17, 20), ZEROS)


@case(
    "chain-blank",
    "chain-blank 0 17/10",
    "map-strands - 17/10",
    files="damaged",
    verdict="damaged",
)
def a_block_in_the_middle_is_as_the_drive_formatted_it() -> Disk:
    return Disk(program(3)).put((17, 10), STOCK_FILLING)


@case(
    "chain-blank", "chain-blank 0 17/10", "map-strands - 17/10", files="damaged", verdict="damaged"
)
def a_block_of_ones_whose_link_leads_to_no_proper_end() -> Disk:
    return Disk(program(3)).put((17, 10), ONES).put((1, 1), ONES)


@case(
    "entry-no-start",
    "entry-no-start 0 -",
    "map-strands - 17/0",
    files="damaged",
    verdict="damaged",
    says="the entry states 3 blocks but starts at 0/0, which does not exist",
)
def an_entry_whose_start_is_wiped() -> Disk:
    return Disk(program(3)).entry(0, start=(0, 0))


@case(
    "entry-no-start",
    "entry-no-start 0 -",
    "entry-no-start 1 -",
    "entry-unclosed 1 -",
    files="damaged damaged",
    verdict="damaged",
)
def two_entries_of_the_same_start_off_the_disk() -> Disk:
    disk = Disk().entry(0, kind=PRG, start=(36, 0), name=NAMES[0], blocks=1)
    return disk.entry(1, kind=PRG & 7, start=(36, 0), name=NAMES[1], blocks=1)


@case(
    "entry-no-start",
    "entry-no-start 0 -",
    files="partition-damaged",
    verdict="damaged",
    says="the entry states 120 blocks but starts at 81/0, which does not exist",
)
def a_partition_off_the_disk() -> Disk:
    disk = Disk(geometry=TRACKS_80)
    return disk.entry(0, kind=PARTITION, start=(81, 0), name=NAMES[0], blocks=120)


# -- the directory


@case(
    "directory-loop",
    "directory-loop - 18/1",
    files="sound",
    verdict="damaged",
    says="the directory comes back to its own sector 18/1",
)
def the_directory_links_to_itself() -> Disk:
    return Disk(program(3)).link((18, 1), (18, 1))


@case("directory-loop", "directory-loop - 18/0", files="sound", verdict="damaged")
def the_directory_links_to_the_header() -> Disk:
    return Disk(program(3)).link((18, 1), (18, 0))


@case(
    "directory-off-disk",
    "directory-off-disk - 18/1",
    files="sound",
    verdict="damaged",
    says="directory sector 18/1 links to 18/19, which does not exist",
)
def the_directory_links_past_its_track() -> Disk:
    return Disk(program(3)).link((18, 1), (18, 19))


@case(
    "directory-blank",
    "directory-blank - 18/4",
    files="sound",
    verdict="damaged",
    says="the directory runs into the never written sector 18/4",
)
def the_directory_links_to_a_sector_as_formatted() -> Disk:
    return Disk(program(3)).link((18, 1), (18, 4)).put((18, 4), STOCK_FILLING)


def nine_programs() -> Disk:
    return Disk(*(program(1, name=b"TEIL %d" % i, seed=i) for i in range(9)))


@case(
    "directory-bad-block",
    "directory-bad-block - 18/4",
    files="sound " * 7 + "sound",
    verdict="damaged",
    says="directory sector 18/4 cannot be read: no sync (error 21)",
)
def the_directorys_second_sector_cannot_be_read() -> Disk:
    """The ninth file is lost with it: its block is no own loader's, and no strand."""
    return nine_programs().error((18, 4), 0x03)


@case("directory-bad-block", "directory-bad-block - 18/1", verdict="damaged")
def the_directorys_first_sector_cannot_be_read() -> Disk:
    return Disk(program(3)).error((18, 1), 0x0B)


@case("directory-bad-block", "directory-bad-block - 18/0", files="sound", verdict="damaged")
def the_header_cannot_be_read() -> Disk:
    return Disk(program(3)).error((18, 0), 0x02)


@case(
    "directory-bad-block",
    "directory-bad-block - 18/0",
    "directory-bad-block - 18/1",
    "header-odd - 18/0",
    verdict="damaged",
)
def header_and_directory_are_lost_and_hold_zeros() -> Disk:
    """That is no store of raw blocks."""
    disk = Disk(program(3)).put((18, 0), ZEROS).put((18, 1), ZEROS)
    return disk.error((18, 0), 0x02).error((18, 1), 0x02)


# -- REL files


@case(
    "side-sector-broken",
    "side-sector-broken 0 -",
    "map-strands - 17/1",
    files="damaged",
    verdict="damaged",
    says="REL side sectors: there are none where the entry says",
)
def a_relative_file_without_side_sectors() -> Disk:
    return Disk(relative(2)).entry(0, side=(0, 0))


@case(
    "side-sector-broken",
    "side-sector-broken 0 17/0",
    files="damaged",
    verdict="damaged",
    says="REL side sectors: they name 17/7 where the chain has 17/0",
)
def a_side_sector_that_names_another_block() -> Disk:
    return Disk(relative(2)).put((17, 1), bytes((17, 7)), at=0x10)


@case(
    "side-sector-broken",
    "side-sector-broken 0 17/1",
    files="damaged",
    verdict="damaged",
    says="REL side sectors: they come back to one of their own",
)
def a_side_sector_that_links_to_itself() -> Disk:
    return Disk(relative(2)).link((17, 1), (17, 1))


@case(
    "side-sector-broken",
    "side-sector-broken 0 39/0",
    "map-strands - 39/1",
    files="damaged",
    verdict="damaged",
    says="REL side sectors: no super side sector where the entry says",
)
def a_relative_file_of_80_tracks_without_its_super_side_sector() -> Disk:
    return Disk(relative(2), geometry=TRACKS_80).entry(0, side=(39, 0))


# -- desktop files


def desktop_file(records: list[tuple[int, int]], blocks: int = 4) -> Disk:
    """A program, and an indexed file: index 1/0, info block 1/5, records 1/1 and 1/2, 1/3."""
    disk = Disk(program(3)).chain([(1, 0)]).chain([(1, 1)], 1).chain([(1, 2), (1, 3)], 2)
    disk.put((1, 0), b"".join(map(bytes, records)).ljust(254, b"\0"), at=2)
    disk.chain([(1, 5)], 3)
    disk.entry(1, kind=USR, start=(1, 0), name=b"HAFENBLATT", blocks=blocks)
    disk.entry(1, side=(1, 5), structure=1, desktop_kind=7)
    if (1, 2) not in records:
        disk.mark_free((1, 2), (1, 3))
    if (1, 1) not in records:
        disk.mark_free((1, 1))
    return disk


@case(
    "chain-off-disk",
    "chain-off-disk 1 1/0",
    "record-index 1 1/0",
    files="sound damaged",
    verdict="damaged",
    says="block 1/0 links to 0/7, which does not exist; 3 of 4 blocks read",
)
def a_record_that_starts_nowhere() -> Disk:
    return desktop_file([(1, 1), (0, 7)])


@case(
    "chain-loop",
    "chain-loop 1 1/2",
    "record-index 1 1/0",
    files="sound damaged",
    verdict="damaged",
    says="the chain comes back to its own block 1/2 after 4 of 5 blocks",
)
def a_record_that_loops() -> Disk:
    return desktop_file([(1, 2)], blocks=5).link((1, 3), (1, 2))


# -- short images


def cut(disk: Disk, place: tuple[int, int]) -> Disk:
    """Without the second half of this block and all after it."""
    del disk.sectors[disk.offset(place) + 128 :]
    return disk


@case(
    "image-short",
    "image-short - -",
    "image-short 1 35/1",
    files="sound damaged sound",
    verdict="damaged",
    says="the image stops after 667 of 683 blocks; what comes later is missing",
)
def a_short_image_hits_only_the_file_that_reaches_there() -> Disk:
    disk = Disk(*(program(2, name=name, seed=i) for i, name in enumerate(NAMES[:3])))
    return cut(disk.link((17, 1), (35, 1)).mark_free((17, 11)), (35, 1))


@case(
    "image-short",
    "image-short - 20/4",
    "image-short - -",
    files="sound",
    verdict="damaged",
)
def a_short_image_without_a_directory_sector() -> Disk:
    return cut(Disk(program(2)).link((18, 1), (20, 4)), (20, 0))
