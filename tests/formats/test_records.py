"""The declarations: what is parsed builds again, compiled or not, and fields lie where they should.

Offsets: programmer's references of the 1980s, from memory.
"""

from typing import Any

import pytest
from construct import ConstError, Container, Struct
from hypothesis import given
from hypothesis import strategies as st

from formats import records
from formats.directory import unpacker
from tests.examples import examples

DECLARATIONS = {name: value for name, value in vars(records).items() if isinstance(value, Struct)}
SIZES = dict.fromkeys(DECLARATIONS, 256) | {"Entry": 32}
FIXED = {"SuperSideSector": (2, b"\xfe")}
COMPILED = {name: declaration.compile() for name, declaration in DECLARATIONS.items()}


def plain(value: Any) -> Any:
    """A parsed record without construct's own containers."""
    if isinstance(value, Container):
        return {key: plain(item) for key, item in value.items() if not key.startswith("_")}
    return [plain(item) for item in value] if isinstance(value, list) else value


@pytest.mark.parametrize("name", DECLARATIONS)
def test_a_record_has_the_size_of_what_it_describes(name: str) -> None:
    assert DECLARATIONS[name].sizeof() == SIZES[name]


@given(st.sampled_from(sorted(DECLARATIONS)), st.binary(min_size=256, max_size=256))
@examples(150)
def test_what_is_parsed_builds_again(name: str, block: bytes) -> None:
    raw = bytearray(block[: SIZES[name]])
    if name in FIXED:
        at, value = FIXED[name]
        raw[at : at + len(value)] = value
    interpreted = DECLARATIONS[name].parse(bytes(raw))
    compiled = COMPILED[name].parse(bytes(raw))
    assert plain(interpreted) == plain(compiled)
    assert DECLARATIONS[name].build(interpreted) == bytes(raw)
    assert COMPILED[name].build(compiled) == bytes(raw)


@given(st.binary(min_size=32, max_size=32))
@examples(150)
def test_an_entry_is_the_same_however_it_is_read(raw: bytes) -> None:
    assert unpacker("Entry").unpack(raw) == tuple(plain(records.Entry.parse(raw)).values())


def test_a_super_side_sector_has_its_mark() -> None:
    with pytest.raises(ConstError):
        records.SuperSideSector.parse(bytes(256))


def numbered(name: str) -> Any:
    """A record parsed from bytes that each hold their own offset."""
    raw = bytearray(range(256))
    if name in FIXED:
        at, value = FIXED[name]
        raw[at : at + len(value)] = value
    return DECLARATIONS[name].parse(bytes(raw))


def offsets(*at: int) -> bytes:
    return bytes(at)


def test_offsets_in_an_entry() -> None:
    entry = numbered("Entry")
    assert (entry.link, entry.type, entry.start) == (offsets(0, 1), 2, offsets(3, 4))
    assert entry.name == offsets(*range(0x05, 0x15))
    assert (entry.side, entry.record_length) == (offsets(0x15, 0x16), 0x17)
    assert entry.replacement == offsets(0x1C, 0x1D)
    assert entry.blocks == 0x1E + 256 * 0x1F  # low byte first


def test_offsets_in_the_header() -> None:
    header = numbered("Header")
    assert (header.directory, header.format_mark, header.double_sided) == (offsets(0, 1), 2, 3)
    assert header.map == offsets(*range(0x04, 0x90))
    assert header.title == offsets(*range(0x90, 0xA0))
    assert (header.disk_id, header.format_name) == (offsets(0xA2, 0xA3), offsets(0xA5, 0xA6))
    assert header.second_side_counts == offsets(*range(0xDD, 0x100))
    assert numbered("SecondSideMap").bits == offsets(*range(105))


def test_offsets_on_80_tracks() -> None:
    header = numbered("Header80")
    assert (header.directory, header.format_mark) == (offsets(0, 1), 2)
    assert header.title == offsets(*range(0x04, 0x14))
    assert (header.disk_id, header.format_name) == (offsets(0x16, 0x17), offsets(0x19, 0x1A))
    assert numbered("Map80").map == offsets(*range(0x10, 0x100))
    groups = numbered("SuperSideSector").groups
    assert groups == offsets(*range(0x03, 0xFF))
    assert len(groups) == 126 * 2


def test_offsets_in_side_sector_and_record_index() -> None:
    side = numbered("SideSector")
    assert (side.link, side.number, side.record_length) == (offsets(0, 1), 2, 3)
    assert side.side_sectors == offsets(*range(0x04, 0x10))
    assert side.data_blocks == offsets(*range(0x10, 0x100))
    assert len(side.data_blocks) == 120 * 2
    assert numbered("RecordIndex").records == offsets(*range(2, 256))
