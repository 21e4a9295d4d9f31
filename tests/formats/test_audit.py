"""audit(): whatever the bytes, an answer that holds together, and in bounded time."""

import sys
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.audit import Audit, audit
from formats.chains import read_bytes
from formats.compose import NewFile
from formats.files import Role
from formats.findings import TABLE, Severity, Verdict, verdict_of
from formats.geometry import LAYOUTS, TRACKS_35, TRACKS_80, Geometry
from formats.image import DiskImage
from tests.examples import examples
from tests.formats.builders import (
    NAMES,
    PARTITION,
    PRG,
    REL,
    STOCK_FILLING,
    USR,
    At,
    Disk,
    noise,
    program,
    relative,
)
from tests.formats.tangles import tangled

ORDER = [Severity.DAMAGE, Severity.ODDITY, Severity.NOTE]


def holds_together(judged: Audit) -> None:
    """What must be true of every audit."""
    geometry = judged.image.geometry
    entries = judged.directory.entries
    assert [file.entry for file in judged.files] == list(entries)
    scratched = {entry.slot for entry in judged.directory.scratched}
    for item in judged.findings:
        assert item.code in TABLE
        assert item.says.replace("\xa0", " ").isprintable() and not set("{}") & set(item.says)
        about = scratched if item.code == "deleted-remains" else judged.by_slot
        assert item.slot is None or item.slot in about
        assert item.place is None or geometry.exists(*item.place)
    ranks = [ORDER.index(item.severity) for item in judged.findings]
    assert ranks == sorted(ranks)
    assert judged.verdict == verdict_of(list(judged.findings))
    for file in judged.files:
        assert list(file.findings) == [f for f in judged.findings if f.slot == file.entry.slot]
        damaged = any(item.severity is Severity.DAMAGE for item in file.findings)
        assert file.role is Role.ALIAS or damaged == (file.verdict is Verdict.DAMAGED)
        if file.role in (Role.ALIAS, Role.DECORATION):
            assert [item.code for item in file.findings] == [file.role.value]
        if file.role is Role.FILE:
            assert file.whole != damaged
        if file.whole:
            assert file.chain.ended
            assert len(read_bytes(judged.image, file.chain)) == file.size_bytes
        assert not (file.loadable and not file.whole)
    assert len(judged.owner) == geometry.blocks
    owners = {file.entry.slot for file in judged.files if file.facts.owned_blocks}
    assert set(judged.owner) <= {-1} | owners
    for file in judged.files:
        if file.role is Role.FILE and file.verdict is not Verdict.DAMAGED:
            others = {judged.owner[block] for block in file.facts.owned_blocks}
            blamed = [f for f in judged.files if any(i.code == "chain-shared" for i in f.findings)]
            assert others == {file.entry.slot} or blamed


@given(st.sampled_from(LAYOUTS), st.integers(0, 2**32))
@examples(60)
def test_tangled_images(layout: Geometry, seed: int) -> None:
    holds_together(audit(DiskImage.from_bytes(tangled(layout, seed))))


@given(st.sampled_from(LAYOUTS), st.integers(0, 2**32), st.booleans(), st.booleans())
@examples(40)
def test_arbitrary_bytes(layout: Geometry, seed: int, with_errors: bool, has_header: bool) -> None:
    data = bytearray(noise(layout.size_bytes + with_errors * layout.blocks, seed))
    if has_header:
        at = layout.header_block * 256
        data[at : at + 3] = bytes(layout.directory) + (b"D" if layout is TRACKS_80 else b"A")
    holds_together(audit(DiskImage.from_bytes(bytes(data))))


@given(st.binary(min_size=1, max_size=40), st.integers(0, 174_848 - 40))
@examples(60)
def test_a_sound_disk_with_some_bytes_overwritten(change: bytes, at: int) -> None:
    disk = Disk(*(program(20, name=name, seed=i) for i, name in enumerate(NAMES)), relative(400))
    disk.sectors[at : at + len(change)] = change
    holds_together(disk.audit)


@given(st.binary(min_size=256, max_size=256), st.sampled_from([(18, 0), (18, 1)]))
@examples(60)
def test_any_header_and_any_directory_sector(block: bytes, place: At) -> None:
    disk = Disk(program(3), program(30, name=NAMES[1], seed=1))
    holds_together(disk.put(place, block).audit)


# -- the worst that a directory can hold still ends soon


def half_directory(geometry: Geometry, entry: Callable[[int], bytes]) -> Disk:
    """Half of all blocks are directory sectors with eight entries each; entry(n): their bytes."""
    disk = Disk(geometry=geometry)
    system = set(geometry.system_blocks) | {geometry.directory_block}
    blocks = [block for block in range(geometry.blocks // 2) if block not in system]
    chain = [geometry.directory_block, *blocks]
    number = 0
    for position, block in enumerate(chain):
        for slot in range(8):
            at = block * 256 + slot * 32
            disk.sectors[at + 2 : at + 32] = entry(number)
            number += 1
        last = position == len(chain) - 1
        disk.link(geometry.place(block), (0, 255) if last else geometry.place(chain[position + 1]))
    return disk


def other_half(geometry: Geometry) -> list[At]:
    system = set(geometry.system_blocks) | {geometry.directory_block}
    return [
        geometry.place(block)
        for block in range(geometry.blocks // 2, geometry.blocks)
        if block not in system
    ]


def hostile_entry(kind: int, start: At, blocks: int, side: At = (0, 0), more: bytes = b"") -> bytes:
    raw = bytes([kind, *start]) + b"FALLE".ljust(16, b"\xa0") + bytes(side) + more.ljust(7, b"\0")
    return raw + blocks.to_bytes(2, "little")


@pytest.mark.parametrize("geometry", [TRACKS_35, TRACKS_80], ids=lambda g: g.name)
@pytest.mark.parametrize("stated", [0, 400])
@pytest.mark.parametrize("kind", [PRG, REL, 0x87, 0])
def test_every_entry_enters_one_long_chain(geometry: Geometry, stated: int, kind: int) -> None:
    """Files, aliases, unknown types and scratched entries, thousands of them."""
    places = other_half(geometry)
    disk = half_directory(
        geometry,
        lambda n: hostile_entry(
            kind, places[n % len(places)], stated, places[-1 - n % len(places)]
        ),
    )
    disk.chain(places)
    holds_together_quickly(disk)


@pytest.mark.parametrize("geometry", [TRACKS_35, TRACKS_80], ids=lambda g: g.name)
def test_every_entry_is_an_index_of_records_that_are_one_long_chain(geometry: Geometry) -> None:
    places = other_half(geometry)
    indexes, chain = places[: len(places) // 2], places[len(places) // 2 :]
    disk = half_directory(
        geometry,
        lambda n: hostile_entry(USR, indexes[n % len(indexes)], 9, (1, 0), bytes([1, 7])),
    )
    disk.chain(chain)
    for n, place in enumerate(indexes):
        records = b"".join(bytes(chain[(n + 7 * i) % len(chain)]) for i in range(127))
        disk.put(place, b"\0\xff" + records)
    holds_together_quickly(disk)


def test_every_entry_is_a_relative_file_of_groups_of_side_sectors() -> None:
    places = other_half(TRACKS_80)
    supers, sides, data = places[:600], places[600:1350], places[1350:]
    disk = half_directory(
        TRACKS_80,
        lambda n: hostile_entry(REL, data[n % len(data)], 9, supers[n % len(supers)], b"\x7f"),
    )
    disk.chain(data).chain(sides)
    for position, place in enumerate(sides):
        group = sides[position - position % 6 :][:6]
        listed = b"".join(map(bytes, group)).ljust(12, b"\0")
        disk.put(place, bytes([position % 6, 0x7F]) + listed, at=2)
    for place in supers:
        groups = b"".join(bytes(side) for side in sides[::6])
        disk.put(place, b"\0\xff\xfe" + groups)
    holds_together_quickly(disk)


def test_every_entry_is_a_long_partition() -> None:
    """Their blocks kept one by one, each run for itself, have taken a gigabyte."""
    disk = half_directory(TRACKS_80, lambda n: hostile_entry(PARTITION, (1, 0), 400))
    holds_together_quickly(disk)
    assert sum(sys.getsizeof(file.facts.owned_blocks) for file in disk.audit.files) < 1 << 20


def holds_together_quickly(disk: Disk) -> None:
    """The findings are too many to compare one by one; the audit itself must end."""
    judged = disk.audit
    assert len(judged.files) + len(judged.directory.scratched) >= 8 * (
        disk.geometry.blocks // 2 - 10
    )
    assert judged.verdict in Verdict
    assert all(item.says for item in judged.findings)


# -- what an audit says of a file


def test_of_a_program() -> None:
    judged = Disk(program(3, load=0x1C01), NewFile(b"LISTE", b"abc", 1)).audit
    first, second = judged.files
    assert (first.load_address, first.size_bytes, first.walked_blocks) == (0x1C01, 762, 3)
    assert first.loadable and first.whole
    assert (second.load_address, second.size_bytes, second.loadable) == (None, 3, False)
    assert judged.first_program is first
    assert judged.owner.count(0) == 3 and judged.owner.count(1) == 1


def test_the_first_program_is_the_first_that_reads_whole() -> None:
    disk = Disk(NewFile(b"LISTE", b"abc", 1), program(3), program(2, name=NAMES[1]))
    assert disk.audit.first_program is not None
    assert disk.audit.first_program.entry.slot == 1
    broken = disk.link((17, 1), (99, 0)).audit
    assert broken.first_program is not None
    assert broken.first_program.entry.slot == 2
    assert Disk().audit.first_program is None


def test_a_program_of_one_byte_has_no_load_address() -> None:
    (file,) = Disk(NewFile(b"KURZ", b"\x01")).audit.files
    assert (file.whole, file.load_address, file.size_bytes) == (True, None, 1)


def test_a_file_whose_first_block_is_lost_has_no_bytes() -> None:
    (file,) = Disk(program(3)).error((17, 0), 5).audit.files
    assert (file.whole, file.load_address, file.size_bytes) == (False, None, 0)


def test_an_alias_reads_as_its_file_does() -> None:
    disk = Disk(program(3)).entry(5, kind=PRG, start=(17, 0), name=NAMES[1], blocks=1)
    file, alias = disk.audit.files
    assert (alias.role, alias.facts.alias_of) == (Role.ALIAS, 0)
    assert (alias.chain.blocks, alias.whole, alias.loadable) == (file.chain.blocks, True, True)


def test_decorations_and_partitions_are_never_whole() -> None:
    disk = Disk(geometry=TRACKS_80).entry(0, kind=0x80, start=(0, 0), name=b"-")
    disk.entry(1, kind=0x85, start=(1, 0), name=b"TEIL", blocks=120)
    assert [file.whole for file in disk.audit.files] == [False, False]


def test_error_bytes_that_do_not_fail_a_read_leave_a_file_whole() -> None:
    (file,) = Disk(program(3)).error((17, 10), 0x08).audit.files
    assert (file.whole, file.verdict) == (True, "sound")


def test_zeros_end_a_directory_and_another_filling_says_that_there_is_none() -> None:
    assert Disk().put((18, 1), bytes(256)).audit.has_directory
    assert not Disk().put((18, 1), STOCK_FILLING).audit.has_directory


def test_a_scratched_file_whose_blocks_another_file_has_does_not_remain() -> None:
    disk = Disk(program(1), program(3, name=NAMES[1], seed=1))
    disk.entry(1, kind=0).mark_free((17, 1), (17, 11), (17, 2))
    assert [item.code for item in disk.audit.findings] == ["deleted-remains"]
    disk.entry(2, kind=PRG, start=(17, 11), name=NAMES[2], blocks=2)
    assert "deleted-remains" not in {item.code for item in disk.audit.findings}


def test_an_info_block_that_cannot_be_read_leaves_its_file_whole() -> None:
    """A load by name never reads it; only its error byte is remarked on."""
    disk = Disk(program(2)).chain([(1, 5)])
    disk.entry(0, kind=USR, blocks=3, side=(1, 5), structure=0, desktop_kind=4)
    judged = disk.error((1, 5), 0x05).audit
    assert judged.files[0].facts.info_block == disk.geometry.index(1, 5)
    assert judged.files[0].whole
    assert [(item.code, item.place) for item in judged.findings] == [("error-bytes", (1, 5))]


def test_two_hidden_titles_among_lines_are_both_found() -> None:
    """Zero blocks everywhere; the starts lead to two programs that read whole."""
    disk = Disk(program(3), program(2, name=NAMES[1], seed=1))
    disk.rows(range(8), PRG, (17, 0)).rows((4, 5, 6, 7), PRG, (17, 1))
    judged = disk.audit
    assert [file.role for file in judged.files] == [
        *(Role.FILE, Role.ALIAS, Role.ALIAS, Role.ALIAS),
        *(Role.FILE, Role.ALIAS, Role.ALIAS, Role.ALIAS),
    ]
    assert judged.first_program is judged.files[0]
    assert judged.verdict == "quirky"
