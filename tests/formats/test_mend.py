"""Mending: what is done to each kind of damage, what is left, and what is never touched."""

from __future__ import annotations

import pytest

from formats.audit import audit
from formats.chains import read_bytes
from formats.compose import NewFile
from formats.files import Role
from formats.findings import Verdict
from formats.geometry import BLOCK_BYTES, TRACKS_35, TRACKS_80, Place
from formats.image import DiskImage
from formats.mend import CannotRestore, Mended, check_copy, mend
from tests.formats.builders import (
    NAMES,
    ONES,
    PARTITION,
    PRG,
    STOCK_FILLING,
    At,
    Disk,
    noise,
    program,
    relative,
)

FIRST, SECOND, THIRD = NAMES[:3]
# Where the drive puts three files of three blocks each (see builders).
FIRST_BLOCKS: tuple[At, ...] = ((17, 0), (17, 10), (17, 20))
SECOND_BLOCKS: tuple[At, ...] = ((17, 1), (17, 11), (17, 2))


def three_files() -> Disk:
    files = [program(3, name=name, seed=nth) for nth, name in enumerate((FIRST, SECOND, THIRD))]
    disk = Disk(*files)
    start = disk.audit.files[1].chain.blocks
    assert tuple(map(disk.geometry.place, disk.audit.files[0].chain.blocks)) == FIRST_BLOCKS
    assert tuple(map(disk.geometry.place, start)) == SECOND_BLOCKS
    return disk


def mended(disk: Disk, **wishes: object) -> Mended:
    """Mend, and hold the copy to what every copy promises."""
    result = mend(disk.audit, **wishes)  # type: ignore[arg-type]
    before, after = disk.image, DiskImage.from_bytes(result.data)
    assert len(result.data) == len(disk.data)
    assert (after.error_bytes, after.extra) == (before.error_bytes, before.extra)
    for file in result.before.files:
        if file.whole:
            copied = result.after.by_slot[file.entry.slot]
            assert read_bytes(after, copied.chain) == read_bytes(before, file.chain)
    return result


def places(result: Mended, slot: int) -> tuple[Place, ...]:
    geometry = result.after.image.geometry
    return tuple(geometry.place(block) for block in result.after.by_slot[slot].chain.blocks)


def content(result: Mended, slot: int) -> bytes:
    return read_bytes(result.after.image, result.after.by_slot[slot].chain)


def in_doubt(result: Mended, slot: int) -> bool:
    entry = result.after.by_slot[slot].entry
    return not entry.closed and entry.being_replaced


def test_a_sound_disk_is_copied_to_the_byte() -> None:
    disk = three_files()
    result = mended(disk, free_strands=True)
    assert (result.data, result.done, result.left) == (disk.data, [], [])


# --- broken chains


@pytest.mark.parametrize(
    ("spoil", "kept"),
    [
        (lambda disk: disk.link((17, 20), (17, 0)), 3),
        (lambda disk: disk.link((17, 10), (36, 0)), 2),
        (lambda disk: disk.link((17, 0), (18, 1)), 1),
        (lambda disk: disk.put((17, 20), STOCK_FILLING), 2),
        (lambda disk: disk.error((17, 20), 0x05), 2),
    ],
    ids=["loop", "off disk", "into the directory", "blank", "bad block"],
)
def test_a_broken_chain_ends_at_its_last_good_block(spoil: object, kept: int) -> None:
    disk = spoil(three_files())  # type: ignore[operator]
    data = disk.data
    result = mended(disk)
    assert places(result, 0) == FIRST_BLOCKS[:kept]
    assert result.after.by_slot[0].chain.last_byte == 0xFF
    assert result.after.by_slot[0].entry.blocks == 3
    assert in_doubt(result, 0)
    assert result.before.verdict is Verdict.DAMAGED
    assert result.after.verdict is Verdict.QUIRKY
    last = Place(*FIRST_BLOCKS[kept - 1])
    assert result.done == [
        f'"{FIRST.decode()}": ends at its last good block {last}, {kept} of 3 blocks; '
        "it stays unclosed"
    ]
    assert f'"{FIRST.decode()}": the file was never properly closed' in result.left[0]
    assert disk.data == data


def test_a_mended_copy_is_not_mended_further() -> None:
    result = mended(three_files().link((17, 20), (17, 0)))  # its length is right all the same
    again = mend(result.after)
    assert (again.data, again.done) == (result.data, [])
    assert again.after.verdict is Verdict.QUIRKY


def test_the_aliases_of_a_broken_file_are_marked_with_it() -> None:
    disk = three_files().link((17, 20), (17, 0)).entry(3, kind=PRG, start=(17, 0), name=b"LICHT")
    result = mended(disk)
    assert result.after.by_slot[3].role is Role.ALIAS
    assert in_doubt(result, 3)


def test_an_entry_that_starts_nowhere_is_left() -> None:
    disk = three_files().entry(0, start=(99, 0))
    result = mended(disk)
    assert result.data == disk.data
    assert "starts at 99/0, which does not exist" in result.left[0]


def test_a_relative_file_is_left_as_it_is() -> None:
    disk = Disk(relative(4)).link((17, 0), (17, 0))
    result = mended(disk)
    assert result.data == disk.data
    assert result.after.verdict is Verdict.DAMAGED


# --- lengths and unclosed files


def test_length_is_corrected_and_file_closed() -> None:
    disk = three_files().entry(0, kind=0x02, blocks=0)
    result = mended(disk)
    assert result.done == [
        f'"{FIRST.decode()}": length corrected from 0 to 3 blocks',
        f'"{FIRST.decode()}": closed',
    ]
    assert result.after.verdict is Verdict.SOUND


@pytest.mark.parametrize(("kind", "blocks"), [(0x02, 9), (0x22, 3)], ids=["owes", "in doubt"])
def test_an_unclosed_file_that_may_be_cut_stays_unclosed(kind: int, blocks: int) -> None:
    disk = three_files().entry(0, kind=kind, blocks=blocks)
    result = mended(disk)
    assert (result.data, result.done) == (disk.data, [])
    assert result.left


def test_a_length_that_ends_before_a_blank_block_stays() -> None:
    """Counted in, the block would be owed, and a never written one at that."""
    disk = three_files().put((17, 20), bytes(BLOCK_BYTES)).entry(0, blocks=2)
    result = mended(disk)
    assert result.before.by_slot[0].whole
    assert result.after.by_slot[0].entry.blocks == 2


@pytest.mark.parametrize("blocks", [0, 9])
def test_nobody_knows_what_the_length_of_an_unknown_type_counts(blocks: int) -> None:
    disk = three_files().entry(0, kind=0x87, blocks=blocks)
    assert disk.audit.by_slot[0].whole
    assert mended(disk).data == disk.data


# --- shared blocks


@pytest.mark.parametrize(("bent", "other"), [(0, 1), (1, 0)])
def test_of_two_files_that_run_together_the_second_gets_copies(bent: int, other: int) -> None:
    """Both have their stated length, so nobody knows whose blocks they were."""
    chains = (FIRST_BLOCKS, SECOND_BLOCKS)
    disk = three_files().link(chains[bent][0], chains[other][1])
    shared = [read_bytes(disk.image, file.chain) for file in disk.audit.files[:2]]
    result = mended(disk)
    assert places(result, 0) == tuple(map(disk.geometry.place, disk.audit.files[0].chain.blocks))
    assert places(result, 1)[0] == SECOND_BLOCKS[0]
    assert not set(places(result, 0)) & set(places(result, 1))
    assert [content(result, 0), content(result, 1)] == shared
    assert in_doubt(result, 0)
    assert in_doubt(result, 1)
    assert "2 blocks that it shared are copied" in " ".join(result.done)
    assert result.after.verdict is Verdict.QUIRKY
    assert mend(result.after).data == result.data


def test_no_copy_is_put_where_an_entry_points() -> None:
    """It would pass for the file of that entry, whose own blocks were never written."""
    disk = three_files().link((17, 0), (17, 11))
    usual = places(mended(disk), 1)[1]
    disk.entry(3, kind=PRG, start=usual, name=b"LICHT", blocks=2)
    result = mended(disk)
    assert len(places(result, 1)) == 3 and usual not in places(result, 1)
    assert places(result, 3) == ()


def test_the_file_that_has_its_length_keeps_its_blocks_untouched() -> None:
    disk = three_files().link((17, 10), (17, 11))  # now of 4 blocks
    result = mended(disk)
    assert places(result, 1) == SECOND_BLOCKS
    assert result.after.by_slot[1].verdict is Verdict.SOUND
    assert len(places(result, 0)) == 4
    assert in_doubt(result, 0)


def test_a_file_that_starts_inside_another_moves_with_all_that_point_at_it() -> None:
    disk = three_files().entry(1, start=(17, 10), blocks=2)
    disk.entry(3, kind=PRG, start=(17, 10), name=b"LICHT", blocks=2)
    disk.rows([4, 5], PRG, (17, 10))
    result = mended(disk)
    moved = result.after.by_slot[1].entry.start
    assert moved != (17, 10)
    assert {result.after.by_slot[slot].entry.start for slot in (3, 4, 5)} == {moved}
    assert [result.after.by_slot[slot].role for slot in (3, 4, 5)] == [Role.ALIAS] * 3
    assert places(result, 0) == FIRST_BLOCKS
    assert content(result, 1) == content(result, 0)[254:]
    assert result.after.verdict is Verdict.QUIRKY


def test_three_files_that_share_a_block_get_one_each() -> None:
    disk = three_files()
    third = [disk.geometry.place(block) for block in disk.audit.files[2].chain.blocks]
    disk.link((17, 10), third[2]).link((17, 11), third[2])
    result = mended(disk)
    lasts = {places(result, slot)[-1] for slot in range(3)}
    assert len(lasts) == 3
    assert result.after.verdict is Verdict.QUIRKY
    assert all(in_doubt(result, slot) for slot in range(3))


def test_without_room_for_copies_the_second_file_is_cut() -> None:
    disk = three_files().link((17, 0), (17, 11)).every_block_used()
    result = mended(disk)
    assert places(result, 0) == (FIRST_BLOCKS[0], *SECOND_BLOCKS[1:])
    assert places(result, 1) == SECOND_BLOCKS[:1]
    assert "1 of 3 blocks; it stays unclosed" in " ".join(result.done)


def test_without_room_a_file_that_starts_inside_another_is_left() -> None:
    disk = three_files().entry(1, start=(17, 10), blocks=2).every_block_used()
    result = mended(disk)
    assert places(result, 1) == FIRST_BLOCKS[1:]
    assert "run together" in " ".join(result.left)
    assert result.after.by_slot[1].verdict is Verdict.DAMAGED


def test_copies_spare_written_blocks_where_the_map_is_wrong() -> None:
    disk = three_files().link((17, 10), (17, 11)).mark_free((17, 0))
    lowest: At = (17, 5)
    disk.put(lowest, noise(BLOCK_BYTES))
    free = disk.audit.block_map.free
    assert free[disk.geometry.index(*lowest)]
    result = mended(disk)
    assert result.after.image.at(*lowest) == noise(BLOCK_BYTES)
    assert result.after.by_slot[0].whole


def test_copies_spare_blocks_that_cannot_be_read() -> None:
    disk = three_files().link((17, 10), (17, 11)).error((17, 5), 0x02)
    result = mended(disk)
    assert (17, 5) not in places(result, 0)
    assert result.after.by_slot[0].whole


def test_a_relative_file_left_alone_with_its_blocks_is_in_doubt() -> None:
    """A program ran into its chain and has copies now: whose the blocks were is not known."""
    disk = Disk(relative(4, 254), program(3))
    inside = disk.geometry.place(disk.audit.files[0].chain.blocks[2])
    start = disk.audit.files[1].entry.start
    disk.link(start, inside)
    assert {file.verdict for file in disk.audit.files} == {Verdict.DAMAGED}
    result = mended(disk)
    assert in_doubt(result, 0)
    assert in_doubt(result, 1)
    assert mend(result.after).data == result.data


def test_a_file_in_a_partition_stays_damaged_and_so_does_the_partition() -> None:
    disk = Disk(program(3), geometry=TRACKS_80)
    start = disk.audit.files[0].entry.start
    disk.entry(1, kind=PARTITION, start=(start.track, start.sector + 1), name=b"LAGER", blocks=40)
    result = mended(disk)
    assert result.data[: disk.offset((40, 0))] == disk.data[: disk.offset((40, 0))]
    assert [file.verdict for file in result.after.files] == [Verdict.DAMAGED] * 2


# --- the directory


@pytest.mark.parametrize(
    "spoil",
    [
        lambda disk: disk.link((18, 4), (18, 1)),
        lambda disk: disk.link((18, 4), (18, 0)),
        lambda disk: disk.link((18, 4), (19, 19)),
        lambda disk: disk.link((18, 4), (18, 7)).put((18, 7), ONES),
        lambda disk: disk.link((18, 4), (18, 7)).error((18, 7), 0x03),
    ],
    ids=["loop", "to the header", "off disk", "blank", "bad block"],
)
def test_the_directory_ends_at_its_last_good_sector(spoil: object) -> None:
    files = [program(1, name=b"AKTE %d" % nth, seed=nth) for nth in range(9)]
    disk = spoil(Disk(*files))  # type: ignore[operator]
    result = mended(disk)
    assert result.done == ["the directory ends at its last good sector 18/4"]
    assert result.left == []
    assert result.after.verdict is Verdict.SOUND
    assert len(result.after.files) == 9


def test_entries_lost_behind_the_directorys_end_are_told() -> None:
    disk = Disk(*[program(2, name=b"AKTE %d" % nth, seed=nth) for nth in range(10)])
    result = mended(disk.link((18, 1), (18, 1)))
    assert len(result.after.files) == 8
    assert result.left == [
        "the rest of the directory is lost, and 5 used blocks belong to no file now"
    ]


def test_a_directory_whose_first_sector_fails_is_left() -> None:
    disk = three_files().error((18, 1), 0x03)
    result = mended(disk)
    assert result.data == disk.data
    assert "cannot be read" in result.left[0]


def test_a_store_of_raw_blocks_is_copied_as_it_is() -> None:
    disk = three_files().put((18, 0), noise(BLOCK_BYTES)).put((18, 1), noise(BLOCK_BYTES, 1))
    assert not disk.audit.has_directory
    assert mended(disk).data == disk.data
    with pytest.raises(CannotRestore, match="no directory"):
        mend(disk.audit, restore=["LICHT"])


# --- the map


def test_used_blocks_are_marked_and_counts_made_anew() -> None:
    disk = three_files().mark_free((17, 10), (18, 1))
    disk.put((18, 0), [21], at=4)  # type: ignore[arg-type]
    result = mended(disk)
    assert result.done == ["2 blocks in use are marked used in the map"]
    assert result.after.verdict is Verdict.SOUND
    disk.put((18, 0), bytes([3]), at=4)
    assert "the map's free counts are counted anew" in mended(disk).done


def test_strands_are_freed_when_asked_for_and_a_loaders_blocks_never() -> None:
    disk = three_files().chain([(1, 0), (1, 1)]).mark_used((2, 0), (2, 1), (2, 2))
    assert mended(disk).data == disk.data
    result = mended(disk, free_strands=True)
    freed = result.after.block_map.free & ~result.before.block_map.free
    assert [disk.geometry.place(int(block)) for block in freed.nonzero()[0]] == [
        (2, 0),
        (2, 1),
        (2, 2),
    ]
    assert result.done == ["3 blocks that no file owns are freed"]


# --- scratched files


def scratched(disk: Disk, slot: int) -> Disk:
    blocks = disk.audit.files[slot].chain.blocks
    return disk.entry(slot, kind=0).mark_free(*map(disk.geometry.place, blocks))


def test_a_scratched_file_is_restored() -> None:
    before = three_files()
    disk = scratched(three_files(), 1)
    assert mended(disk).data == disk.data
    result = mended(disk, restore=[SECOND.decode()])
    assert result.data == before.data
    assert result.done[0].startswith(f'"{SECOND.decode()}": restored as PRG, 3 blocks from 17/1')
    assert mended(disk, restore=[SECOND.decode()] * 2).data == before.data


def test_copies_of_shared_blocks_keep_off_a_file_to_be_restored() -> None:
    disk = three_files()
    third = [disk.geometry.place(block) for block in disk.audit.files[2].chain.blocks]
    disk.link((17, 10), third[1])  # runs into the third: copies are wanted
    result = mended(scratched(disk, 1), restore=[SECOND.decode()])
    assert places(result, 1) == SECOND_BLOCKS
    assert result.after.by_slot[1].verdict is Verdict.SOUND
    assert result.after.by_slot[0].whole


def test_what_cannot_be_restored_is_said_with_what_can() -> None:
    disk = scratched(three_files(), 1)
    with pytest.raises(CannotRestore, match=f'"LICHT" is still whole.*"{SECOND.decode()}"'):
        mend(disk.audit, restore=["LICHT"])
    disk.put((17, 11), bytes(BLOCK_BYTES))
    with pytest.raises(CannotRestore, match="there are none"):
        mend(disk.audit, restore=[SECOND.decode()])


def test_two_scratched_files_on_the_same_blocks_are_not_both_restored() -> None:
    disk = scratched(three_files(), 1)
    entry = disk.entry_offset(1)
    other = disk.entry_offset(4)
    disk.sectors[other + 2 : other + 32] = disk.sectors[entry + 2 : entry + 32]
    disk.entry(4, name=b"LICHT")
    with pytest.raises(CannotRestore, match="another one has taken its blocks"):
        mend(disk.audit, restore=[SECOND.decode(), "LICHT"])


# --- sizes


@pytest.mark.parametrize("cut", [1, 255, 256, 78_591])
def test_a_short_image_stays_as_long_as_it_is(cut: int) -> None:
    data = three_files().data[: TRACKS_35.size_bytes - cut]
    result = mend(audit(DiskImage.from_bytes(data)))
    assert result.data == data
    assert "missing" in result.left[0]


def test_error_bytes_and_what_follows_stay() -> None:
    disk = three_files().link((17, 20), (17, 0)).error((1, 0), 0x0B)
    disk.extra = b"GRAUHAVEN"
    result = mended(disk)
    assert result.data[TRACKS_35.size_bytes :] == disk.data[TRACKS_35.size_bytes :]


def test_a_copy_that_breaks_its_promise_is_found_out() -> None:
    broken = three_files().link((17, 20), (17, 0))
    with pytest.raises(AssertionError):
        check_copy(broken.audit, three_files().audit)
    with pytest.raises(AssertionError):
        check_copy(three_files().audit, broken.audit)
    other = Disk(NewFile(FIRST, noise(700, 9)))
    with pytest.raises(AssertionError):
        check_copy(three_files().audit, other.audit)
