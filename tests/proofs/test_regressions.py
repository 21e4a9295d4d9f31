"""Every input that ever failed: what was found by injecting faults, by editing and by fuzzing."""

from __future__ import annotations

import pytest

from formats.audit import Audit, audit
from formats.compose import NewFile, compose
from formats.directory import USR as USR_CODE
from formats.files import Role
from formats.findings import Severity, Verdict
from formats.geometry import (
    BLOCK_BYTES,
    TRACKS_35,
    TRACKS_40,
    TRACKS_42,
    TRACKS_70,
    TRACKS_80,
    Geometry,
    Place,
)
from formats.image import DiskImage
from formats.mend import mend
from tests.formats.builders import (
    DEL,
    PARTITION,
    PRG,
    STOCK_FILLING,
    USR,
    Disk,
    program,
    relative,
)
from tests.formats.tangles import tangled
from tests.proofs.inputs import examine, image_of
from tests.proofs.scene import DESKTOP_KIND, SIDE, STRUCTURE, Scene
from tests.proofs.test_mend import mended, never_sound


def found(judged: Audit, severity: Severity = Severity.DAMAGE) -> list[tuple[str, int | None, str]]:
    return [(f.code, f.slot, str(f.place)) for f in judged.findings if f.severity is severity]


def desktop_file() -> Disk:
    """Index on 17/0, info block on 17/10, a record chain 17/20, 17/8, 17/18."""
    disk = Disk(program(5))
    chain = [disk.geometry.place(block) for block in disk.audit.files[0].chain.blocks]
    disk.put(chain[0], bytes((0, 0xFF, *chain[2])).ljust(256, b"\0"))
    disk.entry(0, kind=USR, side=chain[1], structure=1, desktop_kind=7)
    assert disk.audit.verdict is Verdict.SOUND
    return disk


def record_places(disk: Disk) -> list[Place]:
    (record,) = disk.audit.files[0].facts.records or ()
    return [disk.geometry.place(block) for block in record.chain.blocks]


@pytest.mark.parametrize(("geometry", "place"), [(TRACKS_70, (53, 0)), (TRACKS_80, (40, 2))])
def test_a_map_sector_that_cannot_be_read_is_named(geometry: object, place: Place) -> None:
    disk = Disk(program(1), geometry=geometry).error(place, 0x05)  # type: ignore[arg-type]
    assert found(disk.audit) == [("directory-bad-block", None, "{}/{}".format(*place))]


def test_a_wrong_count_of_80_tracks_is_in_the_sector_of_its_track() -> None:
    disk = Disk(program(1), geometry=TRACKS_80).put((40, 2), b"\x07", at=0x10)
    assert found(disk.audit, Severity.ODDITY) == [("map-count-differs", None, "40/2")]


@pytest.mark.parametrize("filling", [bytes(256), STOCK_FILLING])
def test_a_record_chain_that_runs_into_a_blank_block_is_not_whole(filling: bytes) -> None:
    """Read as a link, zeros would end it, and mend would have corrected the file's length."""
    disk = desktop_file()
    blank = record_places(disk)[1]
    disk.put(blank, filling)
    assert found(disk.audit) == [("chain-blank", 0, str(blank))]
    assert not disk.audit.files[0].whole
    assert mend(disk.audit).after.verdict is Verdict.DAMAGED


def test_an_indexed_file_needs_its_info_block() -> None:
    disk = desktop_file()
    info = disk.audit.files[0].entry.side_start
    disk.error(info, 0x04)
    assert found(disk.audit) == [("chain-bad-block", 0, str(info))]


def test_a_half_right_header_before_a_bad_link_still_has_its_directory() -> None:
    disk = Disk(program(1)).put((18, 0), b"\x55", at=2).link((18, 1), (77, 7))
    assert found(disk.audit) == [("directory-off-disk", None, "18/1")]
    assert disk.audit.files[0].whole


def test_lines_of_no_type_do_not_make_a_store_of_raw_blocks() -> None:
    disk = Disk(program(1)).link((18, 0), (1, 1))
    disk.entry(1, kind=0x87, start=(99, 99), name=b"-----")
    disk.entry(2, kind=0x81, start=(255, 255), name=b"-----")
    assert disk.audit.has_directory
    assert disk.audit.verdict is Verdict.QUIRKY


def test_a_line_of_no_blocks_decorates_though_a_broken_file_starts_there() -> None:
    disk = Disk(program(1)).entry(0, start=(18, 0)).rows([1], PRG, (18, 0))
    assert [file.role for file in disk.audit.files] == [Role.FILE, Role.DECORATION]


def test_a_file_in_the_first_block_of_a_partition_is_no_alias_of_it() -> None:
    disk = Disk(program(2), program(1, name=b"MOLE"), geometry=TRACKS_80)
    start = disk.audit.files[1].entry.start
    disk.entry(0, kind=PARTITION, start=start, blocks=40)
    assert [file.role for file in disk.audit.files] == [Role.PARTITION, Role.FILE]
    assert {code for code, _, _ in found(disk.audit)} == {"chain-shared"}


def test_an_alias_of_no_type_of_a_broken_file_decorates() -> None:
    disk = Disk(program(2)).link((17, 0), (99, 0))
    disk.entry(1, kind=0x87, start=(17, 0), name=b"LICHT", blocks=2)
    assert [file.role for file in disk.audit.files] == [Role.FILE, Role.DECORATION]


def test_the_side_sectors_of_a_file_without_a_start_are_its_own_all_the_same() -> None:
    disk = Disk(relative(2), program(2))
    disk.link(disk.audit.files[1].entry.start, disk.audit.files[0].entry.side_start)
    disk.entry(0, start=(0, 0)).entry(1, blocks=9)
    assert {(code, slot) for code, slot, _ in found(disk.audit)} == {
        ("entry-no-start", 0),
        ("chain-shared", 0),
        ("chain-shared", 1),
    }


def test_what_follows_a_full_group_of_side_sectors_is_none_of_them() -> None:
    disk = Disk(relative(2), program(3), geometry=TRACKS_80)
    _, side = (disk.geometry.place(block) for block in disk.audit.files[0].facts.owned_blocks[1:])
    spare = [(60, sector) for sector in range(5)]
    for place, following in zip(spare, [*spare[1:], disk.audit.files[1].entry.start], strict=True):
        disk.link(place, following)
    disk.link(side, spare[0]).entry(1, blocks=0)
    assert [(code, slot) for code, slot, _ in found(disk.audit)] == [("side-sector-broken", 0)]


def test_a_deleted_line_at_a_files_start_takes_nothing_from_it() -> None:
    disk = Disk(program(2)).entry(1, kind=DEL, start=(17, 0), name=b"-----")
    assert disk.audit.files[0].whole


INPUTS = (
    b"",
    b"\x00",
    b"\x01\x00\x03",
    # no directory is left, and then an entry is to be edited
    bytes.fromhex("0100000013000001000000010000"),
    # a header half right, and a line of unknown type whose length mend would have corrected
    bytes.fromhex(
        "32949494949494949494949494949494949494949494949494949494949494949494949494949494"
        "94949494949494949494949494949494000000000000005394949494949494943d65010a5d40230a"
        "00a1e1e95d211dc6c6c6c6a19e9f9e949494949e9e9e9e9e0a0aff2aa80a9e9e09a1d6091d1d211d"
        "35790123a11da1"
    ),
)


@pytest.mark.parametrize("data", INPUTS, ids=bytes.hex)
def test_inputs_of_the_fuzzer(data: bytes) -> None:
    examine(image_of(data))


def test_a_broken_index_is_not_cut_so_that_it_names_the_blocks_of_a_whole_file() -> None:
    files = [
        NewFile(b"LOTSENBUCH", b"\x40" * 600, USR_CODE),
        NewFile(b"LEUCHTTURM", b"\x01\x08" + bytes(range(250)) * 2),
    ]
    scene = Scene(TRACKS_35, compose(b"GRAUHAVEN", files))
    index, blank = scene.files[0].chain[0], scene.outside()[0]
    scene.put(index, bytes(BLOCK_BYTES))
    scene.put(index, scene.place(scene.files[1].chain[1]), at=2)
    scene.link(index, scene.place(blank))
    scene.set_field(0, SIDE, scene.place(scene.outside()[1]))
    scene.set_field(0, STRUCTURE, [1])
    scene.set_field(0, DESKTOP_KIND, [7])
    before = audit(DiskImage.from_bytes(scene.bytes))
    assert [file.whole for file in before.files] == [False, True]

    after = mend(before).after

    assert [file.whole for file in after.files] == [False, True]


def shared_from_its_start() -> Disk:
    """A file that starts in the middle of another one, so that mend must copy what they share."""
    disk = Disk(program(4), program(2, name=b"MOLE"))
    middle = disk.geometry.place(disk.audit.files[0].chain.blocks[1])
    return disk.entry(1, start=middle, blocks=9)


def test_no_copy_is_put_where_a_broken_file_still_starts() -> None:
    """It would be whole then, with the bytes of another file."""
    disk = shared_from_its_start()
    first_copy = mend(disk.audit).after.files[1].entry.start
    disk.entry(2, kind=PRG, start=first_copy, name=b"KRAN", blocks=5)
    assert ("chain-blank", 2, str(first_copy)) in found(disk.audit)

    after = mend(disk.audit).after

    assert ("chain-blank", 2, str(first_copy)) in found(after)
    assert after.files[1].entry.start != first_copy


def test_the_length_of_a_file_of_unknown_type_is_left_as_it_is() -> None:
    """With a header half right it may be all that tells the directory from raw blocks."""
    disk = Disk(program(3)).entry(0, kind=0x85, blocks=0).put((18, 0), b"\x55", at=2)
    assert disk.audit.has_directory

    after = mend(disk.audit).after

    assert after.has_directory
    assert (after.files[0].entry.blocks, after.files[0].whole) == (0, True)


@pytest.mark.parametrize(
    ("geometry", "seed"),
    [(TRACKS_40, 4285), (TRACKS_42, 3083), (TRACKS_42, 2_967_052_831), (TRACKS_70, 278_801_732)],
)
def test_mending_tangled_sectors_twice_forges_nothing(geometry: Geometry, seed: int) -> None:
    once = mended(tangled(geometry, seed))
    never_sound(once.before, mended(once.data).after)
