"""Hand-made images with known answers, to show that the slow checker is right."""

import random

import pytest

from tests.naive.checker import Entry, Verdict, check

ONE_SIDE = [21] * 17 + [19] * 7 + [18] * 6 + [17] * 5
SECTORS = {
    35: ONE_SIDE,
    40: ONE_SIDE + [17] * 5,
    42: ONE_SIDE + [17] * 7,
    70: ONE_SIDE + ONE_SIDE,
    80: [40] * 80,
}
# From memory of drive manuals: bytes plain, and with one error byte a sector (FACTS section 1).
BYTES = {
    35: (174_848, 175_531),
    40: (196_608, 197_376),
    42: (205_312, 206_114),
    70: (349_696, 351_062),
    80: (819_200, 822_400),
}
DEL, SEQ, PRG, USR, REL = 0x80, 0x81, 0x82, 0x83, 0x84
ZEROS, ONES = bytes(256), b"\x01" * 256
STOCK_BLANK = b"\x4b" + b"\x01" * 255

Place = tuple[int, int]


class Maker:
    """A tiny image under construction: blocks, a directory of one sector or more, error bytes."""

    def __init__(self, tracks: int = 35) -> None:
        self.tracks = tracks
        self.raw = bytearray(256 * sum(SECTORS[tracks]))
        self.errors: bytearray | None = None
        self.dir_track = 40 if tracks == 80 else 18
        self.directory = [(self.dir_track, 3 if tracks == 80 else 1)]
        self.slots = 0
        mark = b"D" if tracks == 80 else b"A"
        self.put((self.dir_track, 0), bytes(self.directory[0]) + mark)
        self.put(self.directory[0], b"\x00\xff")

    def number(self, place: Place) -> int:
        return sum(SECTORS[self.tracks][: place[0] - 1]) + place[1]

    def put(self, place: Place, data: bytes, at: int = 0) -> None:
        start = 256 * self.number(place) + at
        self.raw[start : start + len(data)] = data

    def block(self, place: Place, link: Place, filler: int = 0x55) -> bytes:
        block = bytes(link) + bytes([filler] * 253) + bytes([place[1]])
        self.put(place, block)
        return block

    def chain(self, *places: Place, end: Place = (0, 0xFF)) -> bytes:
        """Blocks that link on in order; gives back what a drive would hand over."""
        links = [*places[1:], end]
        blocks = [self.block(place, link) for place, link in zip(places, links, strict=True)]
        return b"".join(block[2:] for block in blocks)

    def entry(
        self,
        start: Place,
        blocks: int,
        kind: int = PRG,
        side: Place = (0, 0),
        record_length: int = 0,
    ) -> None:
        sector = self.directory[self.slots // 8]
        raw = bytes([kind, *start]) + b"MOLENFEUER".ljust(16, b"\xa0")
        raw += bytes([*side, record_length]) + bytes(6) + blocks.to_bytes(2, "little")
        self.put(sector, raw, at=32 * (self.slots % 8) + 2)
        self.slots += 1

    def more_directory(self, place: Place) -> None:
        self.put(place, bytes(256))
        self.put(place, b"\x00\xff")
        self.put(self.directory[-1], bytes(place))
        self.directory.append(place)
        self.slots = 8 * (len(self.directory) - 1)

    def error(self, place: Place, value: int) -> None:
        if self.errors is None:
            self.errors = bytearray(b"\x01" * sum(SECTORS[self.tracks]))
        self.errors[self.number(place)] = value

    def bytes(self) -> bytes:
        return bytes(self.raw) + bytes(self.errors or b"")

    def check(self) -> Verdict:
        return check(self.bytes())

    def only(self) -> Entry:
        (entry,) = self.check().entries
        return entry


def broken(entry: Entry, *reasons: str) -> bool:
    return entry.whole is False and entry.data is None and entry.reasons == set(reasons)


# --- layouts and sizes


@pytest.mark.parametrize("tracks", BYTES)
def test_each_layout_with_and_without_error_bytes(tracks: int) -> None:
    last = (tracks, SECTORS[tracks][-1] - 1)
    disk = Maker(tracks)
    disk.chain((1, 0), last)
    disk.entry((1, 0), 2)
    plain, with_errors = BYTES[tracks]
    assert len(disk.bytes()) == plain
    verdict = disk.check()
    assert (verdict.layout, verdict.has_error_bytes) == (f"{tracks}-track", False)
    assert not verdict.long
    assert verdict.directory_whole
    assert verdict.entries[0].walked == [(1, 0), last]
    assert verdict.entries[0].whole
    disk.error(last, 0x05)
    assert len(disk.bytes()) == with_errors
    verdict = disk.check()
    assert (verdict.layout, verdict.has_error_bytes) == (f"{tracks}-track", True)
    assert broken(verdict.entries[0], "chain-bad-block")
    assert verdict.entries[0].walked == [(1, 0)]


@pytest.mark.parametrize(
    ("size", "layout", "has_error_bytes", "short", "long"),
    [
        (0, "unreadable", False, False, False),
        (376 * 256, "unreadable", False, False, False),
        (376 * 256 + 1, "35-track", False, True, False),
        (174_847, "35-track", False, True, False),
        (174_849, "35-track", False, False, True),
        (175_532, "35-track", True, False, True),
        (197_375, "40-track", False, False, True),
        (300_000, "42-track", True, False, True),
        (819_199, "70-track", True, False, True),
        (900_000, "80-track", True, False, True),
    ],
)
def test_sizes_between_layouts(
    size: int, layout: str, has_error_bytes: bool, short: bool, long: bool
) -> None:
    verdict = check(bytes(size))
    assert (verdict.layout, verdict.has_error_bytes) == (layout, has_error_bytes)
    assert (verdict.short, verdict.long) == (short, long)


def test_a_short_image_spoils_only_files_whose_blocks_are_missing() -> None:
    disk = Maker()
    disk.chain((17, 0), (17, 1))
    disk.chain((17, 2), (30, 5))
    disk.chain((30, 4))
    disk.entry((17, 0), 2)
    disk.entry((17, 2), 2)
    disk.entry((30, 4), 1)
    cut_in_the_middle_of_30_5 = 256 * disk.number((30, 5)) + 255
    first, second, third = check(disk.bytes()[:cut_in_the_middle_of_30_5]).entries
    assert first.whole
    assert third.whole
    assert broken(second, "image-short")
    assert second.walked == [(17, 2)]


# --- files that are whole


def test_a_whole_file_gives_its_bytes_up_to_the_end_byte() -> None:
    disk = Maker()
    data = disk.chain((17, 0), (17, 10), (17, 20), end=(0, 0x04))
    disk.entry((17, 0), 3)
    entry = disk.only()
    assert entry.whole
    assert entry.walked == [(17, 0), (17, 10), (17, 20)]
    assert entry.data == data[: 254 + 254 + 3]
    assert entry.slot == 0
    assert entry.name == b"MOLENFEUER\xa0\xa0\xa0\xa0\xa0\xa0"


@pytest.mark.parametrize("end_byte", [0, 1])
def test_an_odd_end_byte_leaves_the_last_block_without_data(end_byte: int) -> None:
    disk = Maker()
    data = disk.chain((17, 0), (17, 10), end=(0, end_byte))
    disk.entry((17, 0), 2)
    entry = disk.only()
    assert entry.whole
    assert entry.data == data[:254]


@pytest.mark.parametrize("stated", [0, 1, 3, 65_535])
def test_another_length_than_stated_is_no_damage(stated: int) -> None:
    disk = Maker()
    disk.chain((17, 0), (17, 10))
    disk.entry((17, 0), stated)
    assert disk.only().whole


@pytest.mark.parametrize("kind", [0x02, 0x42, 0xA2, 0xC2, 0x81, 0x83])
def test_unclosed_locked_and_replaced_files_are_read_like_others(kind: int) -> None:
    disk = Maker()
    disk.chain((17, 0))
    disk.entry((17, 0), 1, kind)
    assert disk.only().whole


def test_a_file_in_spare_sectors_of_the_directory_track_is_whole() -> None:
    disk = Maker()
    disk.chain((18, 17), (18, 18))
    disk.entry((18, 17), 2)
    assert disk.only().whole


@pytest.mark.parametrize("kind", [0x85, 0x86, 0x87])
def test_an_unknown_type_is_a_file_if_its_blocks_can_be_read(kind: int) -> None:
    disk = Maker()
    disk.chain((17, 0))
    disk.entry((17, 0), 1, kind)
    disk.entry((17, 3), 1, kind)
    readable, blank = disk.check().entries
    assert readable.whole
    assert readable.type_unknown
    assert not readable.decoration
    assert blank.whole is None
    assert blank.decoration


# --- each way a chain can break


def test_chain_loop() -> None:
    disk = Maker()
    disk.chain((17, 0), (17, 1), (17, 2), end=(17, 1))
    disk.entry((17, 0), 3)
    entry = disk.only()
    assert broken(entry, "chain-loop")
    assert entry.walked == [(17, 0), (17, 1), (17, 2)]


@pytest.mark.parametrize("nowhere", [(36, 0), (17, 21), (18, 19), (25, 18), (31, 17), (255, 255)])
def test_chain_off_disk(nowhere: Place) -> None:
    disk = Maker()
    disk.chain((17, 0), end=nowhere)
    disk.entry((17, 0), 1)
    assert broken(disk.only(), "chain-off-disk")


@pytest.mark.parametrize("reserved", [(18, 0), (18, 1), (18, 4), (20, 7)])
def test_chain_in_directory(reserved: Place) -> None:
    disk = Maker()
    disk.chain((17, 0), end=reserved)
    disk.entry((17, 0), 1)
    disk.more_directory((18, 4))
    disk.more_directory((20, 7))
    entry = disk.only()
    assert broken(entry, "chain-in-directory")
    assert entry.walked == [(17, 0)]


def test_a_file_with_blocks_that_starts_in_the_directory_is_damaged() -> None:
    disk = Maker()
    disk.entry((18, 1), 5)
    assert broken(disk.only(), "chain-in-directory")


@pytest.mark.parametrize("error", range(256))
def test_chain_bad_block_for_the_errors_that_make_a_read_fail(error: int) -> None:
    disk = Maker()
    disk.chain((17, 0), (17, 1))
    disk.entry((17, 0), 2)
    disk.error((17, 1), error)
    fails = error in (2, 3, 4, 5, 9, 11, 15)
    assert disk.only().whole is not fails
    assert disk.only().reasons == ({"chain-bad-block"} if fails else set())


@pytest.mark.parametrize("blank", [ZEROS, ONES, STOCK_BLANK, b"\xf6" * 256])
def test_chain_blank_while_blocks_are_owed(blank: bytes) -> None:
    disk = Maker()
    disk.chain((17, 0), (17, 1), end=(17, 2))
    disk.put((17, 2), blank)
    disk.entry((17, 0), 3)
    entry = disk.only()
    assert broken(entry, "chain-blank")
    assert entry.walked == [(17, 0), (17, 1)]


def test_a_file_that_starts_blank() -> None:
    disk = Maker()
    disk.entry((17, 0), 3)
    entry = disk.only()
    assert broken(entry, "chain-blank")
    assert entry.walked == []


def test_with_nothing_owed_the_drive_reads_the_link_of_a_blank_block() -> None:
    zeros = Maker()
    data = zeros.chain((17, 0), end=(17, 2))
    zeros.entry((17, 0), 1)
    assert zeros.only().whole
    assert zeros.only().walked == [(17, 0), (17, 2)]
    assert zeros.only().data == data
    stock = Maker()
    stock.chain((17, 0), end=(17, 2))
    stock.put((17, 2), STOCK_BLANK)
    stock.entry((17, 0), 1)
    assert broken(stock.only(), "chain-off-disk")
    ones = Maker()
    ones.chain((17, 0), end=(17, 2))
    ones.put((17, 2), ONES)
    ones.put((1, 1), ONES)
    ones.entry((17, 0), 1)
    assert broken(ones.only(), "chain-loop")


def ones_that_lead_on(stated: int) -> Entry:
    disk = Maker()
    disk.chain((17, 0), end=(17, 2))
    disk.put((17, 2), ONES)
    disk.chain((1, 1), (1, 2))
    disk.entry((17, 0), stated)
    return disk.only()


def test_a_block_of_one_value_that_leads_to_the_stated_end_is_data() -> None:
    entry = ones_that_lead_on(stated=4)
    assert entry.whole
    assert entry.walked == [(17, 0), (17, 2), (1, 1), (1, 2)]
    assert entry.data is not None
    assert entry.data[254:508] == b"\x01" * 254
    assert broken(ones_that_lead_on(stated=5), "chain-blank")
    assert broken(ones_that_lead_on(stated=3), "chain-blank")
    assert ones_that_lead_on(stated=1).whole  # nothing owed when the drive comes to the ones


def test_two_blocks_of_one_value_may_lead_to_the_end_but_zeros_never_do() -> None:
    disk = Maker()
    disk.put((17, 2), ONES)
    disk.put((1, 1), b"\x02" * 256)
    disk.put((2, 2), ZEROS)
    disk.entry((17, 2), 3)
    assert broken(disk.only(), "chain-blank")
    disk.chain((2, 2))
    assert disk.only().whole


@pytest.mark.parametrize("start", [(0, 0), (0, 5), (36, 0), (1, 21)])
def test_entry_no_start(start: Place) -> None:
    disk = Maker()
    disk.entry(start, 4)
    disk.entry(start, 4)
    first, second = disk.check().entries
    assert broken(first, "entry-no-start")
    assert broken(second, "entry-no-start")
    assert not second.alias


# --- sharing


def sharing(first_stated: int, second_stated: int) -> list[set[str]]:
    """17/0, 17/1, 17/2 and 17/5, 17/1, 17/2: two files of three blocks by their chains."""
    disk = Maker()
    disk.chain((17, 0), (17, 1), (17, 2))
    disk.chain((17, 5), end=(17, 1))
    disk.entry((17, 0), first_stated)
    disk.entry((17, 5), second_stated)
    return [entry.reasons for entry in disk.check().entries]


def test_chain_shared_is_held_against_the_file_that_has_not_its_length() -> None:
    shared = {"chain-shared"}
    assert sharing(3, 3) == [shared, shared]
    assert sharing(3, 9) == [set(), shared]
    assert sharing(9, 3) == [shared, set()]
    assert sharing(9, 9) == [shared, shared]


def test_an_entry_that_starts_in_the_middle_of_another_file_shares_its_chain() -> None:
    disk = Maker()
    disk.chain((17, 0), (17, 1), (17, 2))
    disk.entry((17, 1), 7)
    disk.entry((17, 0), 3)
    inner, outer = disk.check().entries
    assert broken(inner, "chain-shared")
    assert not inner.alias
    assert outer.whole


def test_three_files_sharing_are_judged_two_by_two() -> None:
    disk = Maker()
    disk.chain((17, 0), (17, 1), (17, 2))
    disk.chain((17, 5), end=(17, 2))
    disk.chain((17, 6), end=(17, 5))
    disk.entry((17, 0), 3)  # right, and shares with wrong files only
    disk.entry((17, 5), 9)
    disk.entry((17, 6), 9)
    first, second, third = disk.check().entries
    assert first.whole
    assert broken(second, "chain-shared")
    assert broken(third, "chain-shared")


# --- decorations, aliases, partitions


@pytest.mark.parametrize("start", [(0, 0), (40, 0), (17, 30), (18, 0), (18, 1), (18, 4)])
def test_zero_blocks_and_a_start_that_is_none_is_a_decoration(start: Place) -> None:
    disk = Maker()
    disk.entry(start, 0)
    disk.more_directory((18, 4))
    entry = disk.only()
    assert entry.decoration
    assert entry.whole is None
    assert not entry.reasons


@pytest.mark.parametrize("kind", [0x80, 0xC0, 0x40, 0x08, 0x20])
def test_del_entries_are_decorations_whatever_they_point_at(kind: int) -> None:
    disk = Maker()
    disk.chain((17, 0), end=(99, 99))
    disk.chain((17, 3))
    disk.entry((17, 0), 9, kind)
    disk.entry((17, 3), 1, kind)
    for entry in disk.check().entries:
        assert entry.decoration
        assert entry.whole is None
        assert not entry.reasons


def test_zero_blocks_and_a_start_on_the_disk_is_a_file() -> None:
    disk = Maker()
    disk.chain((18, 9))
    disk.entry((18, 9), 0)
    entry = disk.only()
    assert not entry.decoration
    assert entry.whole


def test_an_alias_is_judged_by_the_file_it_aliases() -> None:
    disk = Maker()
    data = disk.chain((17, 0), (17, 1))
    disk.chain((17, 5), end=(77, 7))
    for start in ((17, 0), (17, 5), (17, 0), (17, 5)):
        disk.entry(start, 2)
    whole, lost, whole_again, lost_again = disk.check().entries
    assert not whole.alias
    assert not lost.alias
    assert whole_again.alias
    assert whole_again.alias_of == 0
    assert (whole_again.whole, whole_again.data, whole_again.reasons) == (True, data, set())
    assert lost_again.alias
    assert lost_again.alias_of == 1
    assert broken(lost, "chain-off-disk")
    assert broken(lost_again)


def test_a_file_behind_decorations_of_its_start_is_judged_itself() -> None:
    disk = Maker()
    disk.chain((17, 0), end=(77, 7))
    disk.entry((17, 0), 0, DEL)
    disk.entry((17, 0), 1, PRG)
    line, file = disk.check().entries
    assert line.decoration
    assert not file.alias
    assert file.alias_of is None
    assert broken(file, "chain-off-disk")


def test_a_partition_is_neither_whole_nor_not() -> None:
    disk = Maker(80)
    disk.entry((1, 0), 120, 0x85)
    entry = disk.only()
    assert entry.partition
    assert entry.whole is None
    assert not entry.decoration
    assert not entry.reasons


# --- the directory


def test_slots_follow_the_directory_chain_and_unused_entries_count() -> None:
    disk = Maker()
    disk.chain((17, 0))
    disk.slots = 3
    disk.entry((17, 0), 1)
    disk.more_directory((18, 4))
    disk.slots += 5
    disk.entry((17, 0), 1)
    verdict = disk.check()
    assert [entry.slot for entry in verdict.entries] == [3, 13]
    assert verdict.directory_blocks == [(18, 1), (18, 4)]
    assert verdict.directory_whole


@pytest.mark.parametrize(
    ("link", "reason"),
    [
        ((18, 1), "directory-loop"),
        ((18, 4), "directory-loop"),
        ((99, 1), "directory-off-disk"),
        ((18, 19), "directory-off-disk"),
        ((18, 7), "directory-bad-block"),
        ((20, 0), "directory-blank"),
    ],
)
def test_a_directory_cut_short_keeps_the_files_before_the_break(link: Place, reason: str) -> None:
    disk = Maker()
    disk.chain((17, 0))
    disk.entry((17, 0), 1)
    disk.more_directory((18, 4))
    disk.entry((17, 0), 1)
    disk.put((18, 4), bytes(link))
    disk.error((18, 7), 0x04)
    disk.put((20, 0), STOCK_BLANK)
    verdict = disk.check()
    assert verdict.directory_whole is False
    assert verdict.directory_reasons == {reason}
    assert [(entry.slot, entry.whole) for entry in verdict.entries] == [(0, True), (8, True)]


def test_a_directory_that_ends_in_a_block_of_zeros_is_whole() -> None:
    disk = Maker()
    disk.put((18, 1), bytes((18, 4)))
    assert disk.check().directory_whole


def test_a_directory_block_missing_from_a_short_image() -> None:
    disk = Maker()
    disk.put((18, 1), bytes((30, 0)))
    verdict = check(disk.bytes()[: 256 * disk.number((20, 0))])
    assert verdict.directory_whole is False
    assert verdict.directory_reasons == {"image-short"}


@pytest.mark.parametrize("place", [(18, 0), (18, 1)])
def test_a_bad_header_or_first_directory_block(place: Place) -> None:
    disk = Maker()
    disk.chain((17, 0))
    disk.entry((17, 0), 1)
    disk.error(place, 0x0B)
    verdict = disk.check()
    assert verdict.directory_whole is False
    assert verdict.directory_reasons == {"directory-bad-block"}
    assert len(verdict.entries) == (1 if place == (18, 0) else 0)


def test_a_store_of_raw_blocks_has_no_directory() -> None:
    disk = Maker()
    disk.put((18, 0), b"\xa9\x00\x8d\x20\xd0")
    disk.put((18, 1), bytes(range(256)))
    verdict = disk.check()
    assert verdict.no_directory
    assert verdict.directory_whole is None
    assert verdict.entries == []


def test_a_directory_whose_header_is_overwritten_is_still_one() -> None:
    disk = Maker()
    disk.chain((17, 0))
    disk.entry((17, 0), 1)
    disk.put((18, 0), b"\xa9\x00\x8d\x20\xd0")
    verdict = disk.check()
    assert not verdict.no_directory
    assert verdict.directory_whole
    assert verdict.entries[0].whole


# --- REL files


def side_sector(number: int, link: Place, group: list[Place], listed: list[Place]) -> bytes:
    places = b"".join(bytes(place) for place in group).ljust(12, b"\0")
    return (
        bytes([*link, number, 100]) + places + b"".join(bytes(p) for p in listed).ljust(240, b"\0")
    )


def relative_disk() -> Maker:
    """121 data blocks on tracks 1 to 6 and two side sectors, 17/0 and 17/1."""
    disk = Maker()
    chain = [(track, sector) for track in range(1, 7) for sector in range(21)][:121]
    disk.chain(*chain)
    group: list[Place] = [(17, 0), (17, 1)]
    disk.put((17, 0), side_sector(0, (17, 1), group, chain[:120]))
    disk.put((17, 1), side_sector(1, (0, 0x11), group, chain[120:]))
    disk.entry((1, 0), 123, REL, side=(17, 0), record_length=100)
    return disk


def test_a_whole_relative_file_counts_its_side_sectors() -> None:
    entry = relative_disk().only()
    assert entry.whole
    assert len(entry.walked) == 121
    assert entry.side_sectors == [(17, 0), (17, 1)]
    assert entry.has_stated_length
    assert entry.data is not None
    assert len(entry.data) == 121 * 254


@pytest.mark.parametrize(
    ("place", "at", "value"),
    [
        ((18, 1), 0x15, (0, 0)),  # none
        ((18, 1), 0x15, (18, 0)),  # in the header block
        ((17, 0), 0, (0, 0xFF)),  # the second is missing
        ((17, 1), 0, (17, 0)),  # looping
        ((17, 1), 0, (99, 0)),
        ((17, 1), 0, (17, 2)),  # runs on into a block of zeros
        ((17, 1), 2, (0, 100)),  # wrong number of its own
        ((17, 0), 6, (17, 9)),  # names another as the second
        ((17, 0), 0x10, (1, 7)),  # another data block than the chain's
        ((17, 1), 0x10, (0, 0)),  # the last data block is not listed
        ((17, 1), 0x12, (9, 9)),  # one too many
    ],
)
def test_side_sector_broken(place: Place, at: int, value: Place) -> None:
    disk = relative_disk()
    disk.put(place, bytes(value), at)
    assert broken(disk.only(), "side-sector-broken")


def test_a_side_sector_that_cannot_be_read() -> None:
    disk = relative_disk()
    disk.error((17, 1), 0x05)
    assert broken(disk.only(), "side-sector-broken")


def test_a_side_sector_that_the_directory_runs_through() -> None:
    disk = relative_disk()
    disk.put((18, 1), bytes((17, 1)))
    assert broken(disk.check().entries[0], "side-sector-broken")


def test_a_chain_that_runs_into_a_side_sector_of_another_file() -> None:
    disk = relative_disk()
    disk.chain((16, 0), end=(17, 1))
    disk.entry((16, 0), 1)
    relative, intruder = disk.check().entries
    assert relative.whole
    assert broken(intruder, "chain-shared")


def super_disk() -> Maker:
    """On 80 tracks: 721 data blocks, so two groups of side sectors (6 and 1), in one long list."""
    disk = Maker(80)
    chain = [(track, sector) for track in range(1, 20) for sector in range(40)][:721]
    disk.chain(*chain)
    first: list[Place] = [(30, sector) for sector in range(1, 7)]
    links: list[Place] = [*first[1:], (31, 0)]
    for number, (place, link) in enumerate(zip(first, links, strict=True)):
        listed = chain[120 * number : 120 * number + 120]
        disk.put(place, side_sector(number, link, first, listed))
    disk.put((31, 0), side_sector(0, (0, 0x11), [(31, 0)], chain[720:]))
    disk.put((30, 0), bytes([30, 1, 0xFE, 30, 1, 31, 0]))
    disk.entry((1, 0), 721 + 8, REL, side=(30, 0), record_length=100)
    return disk


def test_a_relative_file_with_a_super_side_sector() -> None:
    entry = super_disk().only()
    assert entry.whole
    assert entry.has_stated_length
    assert len(entry.side_sectors) == 8
    separate_groups = super_disk()
    separate_groups.put((30, 6), bytes((0, 0xFF)))
    assert separate_groups.only().whole


@pytest.mark.parametrize(
    ("place", "at", "value"),
    [
        ((30, 0), 2, (0xFF, 30)),  # no super side sector
        ((30, 0), 3, (0, 0)),  # names no group
        ((30, 0), 5, (0, 0)),  # lacks the second group
        ((30, 0), 5, (30, 1)),  # the first group twice
        ((30, 3), 0, (0, 0xFF)),  # a group cut short
    ],
)
def test_a_broken_super_side_sector(place: Place, at: int, value: Place) -> None:
    disk = super_disk()
    disk.put(place, bytes(value), at)
    assert broken(disk.only(), "side-sector-broken")


def test_only_the_last_group_may_have_fewer_than_six_side_sectors() -> None:
    disk = Maker(80)
    chain = [(track, sector) for track in range(1, 7) for sector in range(40)]
    disk.chain(*chain)
    disk.put((31, 0), side_sector(0, (0, 0xFF), [(31, 0)], chain[:120]))
    disk.put((32, 0), side_sector(0, (0, 0xFF), [(32, 0)], chain[120:]))
    disk.put((30, 0), bytes([31, 0, 0xFE, 31, 0, 32, 0]))
    disk.entry((1, 0), 243, REL, side=(30, 0), record_length=100)
    assert broken(disk.only(), "side-sector-broken")
    disk.put((30, 0), bytes([31, 0, 0xFE, 31, 0, 0, 0]))
    disk.put((31, 0), side_sector(0, (32, 0), [(31, 0), (32, 0)], chain[:120]))
    disk.put((32, 0), side_sector(1, (0, 0xFF), [(31, 0), (32, 0)], chain[120:]))
    assert disk.only().whole


# --- any bytes


@pytest.mark.parametrize("seed", range(40))
def test_arbitrary_bytes_are_judged_without_fuss(seed: int) -> None:
    chance = random.Random(seed)
    tracks = chance.choice(list(BYTES))
    image = bytearray(chance.randbytes(chance.choice(BYTES[tracks])))
    header = 256 * (39 * 40 if tracks == 80 else 357)
    image[header : header + 3] = b"\x28\x03D" if tracks == 80 else b"\x12\x01A"
    verdict = check(bytes(image))
    assert verdict.layout == f"{tracks}-track"
    for entry in verdict.entries:
        assert (entry.whole is True) == (entry.data is not None)
        assert len(entry.walked) == len(set(entry.walked))
        if entry.whole is False and not entry.alias:
            assert entry.reasons


def test_the_worst_of_directories_still_ends() -> None:
    """Half the largest disk is directory, the other half one long loop that every entry enters."""
    disk = Maker(80)
    blocks: list[Place] = [(track, sector) for track in range(41, 81) for sector in range(40)]
    disk.chain(*blocks, end=blocks[0])
    targets = iter(blocks * 8)
    directory: list[Place] = [(track, sector) for track in range(1, 40) for sector in range(40)]
    for place in directory:
        disk.more_directory(place)
        for _ in range(8):
            disk.entry(next(targets), 1)
    verdict = disk.check()
    assert len(verdict.entries) == 8 * len(directory)
    assert verdict.entries[0].reasons == {"chain-loop", "chain-shared"}
