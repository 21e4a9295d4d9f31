import pytest

from formats.compose import NewFile, compose
from formats.directory import SEQ
from formats.geometry import TRACKS_35, Place
from loadglass.bench.in_flight import NoSuchMoment, block_in_flight
from loadglass.opened import open_and_audit

START = 0x0801
BLOCKS = 5
SIZE = 4 * 254 + 100
CHAIN = [Place(17, sector) for sector in (0, 10, 20, 8, 18)]
"""By the stock drive's rule (drive documentation, from memory)."""


@pytest.fixture
def image():
    data = START.to_bytes(2, "little") + bytes(SIZE - 2)
    files = [NewFile(b"BOJE", data), NewFile(b"TEXT", b"LEINEN LOS", SEQ)]
    return bytearray(compose(b"GRAUHAVEN", files))


@pytest.fixture
def opened_as(tmp_path):
    def open_(image, errors=b""):
        path = tmp_path / "boje.d64"
        path.write_bytes(bytes(image) + errors)
        return open_and_audit(str(path))

    return open_


@pytest.mark.parametrize(
    ("arrived", "number", "place", "before", "after"),
    [
        (0, 1, 0, None, 1),
        (1, 1, 0, None, 1),
        (253, 1, 0, None, 1),
        (254, 2, 1, 0, 2),
        (700, 3, 2, 1, 3),
        (4 * 254, 5, 4, 3, None),
        (SIZE - 1, 5, 4, 3, None),
    ],
)
def test_bytes_name_the_block(image, opened_as, arrived, number, place, before, after):
    found = block_in_flight(opened_as(image), 0, bytes_arrived=arrived)
    assert found.number == number
    assert found.place == CHAIN[place]
    assert found.before == (None if before is None else CHAIN[before])
    assert found.after == (None if after is None else CHAIN[after])
    assert f"block {number} of {BLOCKS}, at {CHAIN[place]}, was on its way" in found.says[0]


def test_an_address_names_the_same_block_as_the_bytes(image, opened_as):
    opened = opened_as(image)
    for arrived in range(3, SIZE + 1):
        by_address = block_in_flight(opened, 0, address=START + arrived - 3)
        assert by_address == block_in_flight(opened, 0, bytes_arrived=arrived)


def test_the_blocks_own_addresses_are_told(image, opened_as):
    opened = opened_as(image)
    expected = [(START, START + 251)]
    expected += [(START + 252 + 254 * i, START + 252 + 254 * i + 253) for i in range(3)]
    expected += [(START + 252 + 254 * 3, START + SIZE - 3)]
    found = [block_in_flight(opened, 0, bytes_arrived=254 * i).addresses for i in range(BLOCKS)]
    assert found == expected


def test_where_it_stopped_says_where_to_look(image, opened_as):
    opened = opened_as(image)
    assert (
        "look at the cartridge and the bus" in block_in_flight(opened, 0, bytes_arrived=300).says[1]
    )
    assert "look at the drive" in block_in_flight(opened, 0, bytes_arrived=254).says[1]


def test_when_all_had_arrived_the_title_hangs(image, opened_as):
    found = block_in_flight(opened_as(image), 0, bytes_arrived=SIZE)
    assert (found.place, found.before, found.number) == (None, CHAIN[-1], BLOCKS + 1)
    assert found.says == ("all of the file had arrived: it is the title that hangs, not the load",)


def test_damage_at_the_block_is_told(image, opened_as):
    errors = bytearray(b"\1" * TRACKS_35.blocks)
    errors[TRACKS_35.index(*CHAIN[2])] = 5
    found = block_in_flight(opened_as(image, bytes(errors)), 0, bytes_arrived=2 * 254)
    assert (found.place, found.before) == (CHAIN[2], CHAIN[1])
    assert [finding.code for finding in found.findings] == ["chain-bad-block"]
    assert "data checksum wrong" in found.says[1]
    with pytest.raises(NoSuchMoment, match="has 508 bytes that can be read"):
        block_in_flight(opened_as(image, bytes(errors)), 0, bytes_arrived=509)


def test_a_chain_off_the_disk_has_no_place(image, opened_as):
    at = TRACKS_35.index(*CHAIN[1]) * 256
    image[at : at + 2] = bytes((40, 1))
    found = block_in_flight(opened_as(image), 0, bytes_arrived=2 * 254)
    assert (found.place, found.before) == (None, CHAIN[1])
    assert "after block 2 of 2 the chain leads off the disk" in found.says[0]
    assert [finding.code for finding in found.findings] == ["chain-off-disk"]


def test_a_loop_names_the_block_that_came_again(image, opened_as):
    at = TRACKS_35.index(*CHAIN[2]) * 256
    image[at : at + 2] = bytes(CHAIN[1])
    found = block_in_flight(opened_as(image), 0, bytes_arrived=3 * 254)
    assert found.place == CHAIN[1]
    assert any("comes back to its own block" in says for says in found.says)


@pytest.mark.parametrize(
    ("slot", "where", "says"),
    [
        (0, {"address": START - 1}, "address 0800 is outside 0801 to 0C5A"),
        (0, {"address": START + SIZE - 2}, "address 0C5B is outside"),
        (0, {"address": -1}, "is outside"),
        (0, {"address": 0x10000}, "is outside"),
        (0, {"bytes_arrived": -1}, "cannot have arrived"),
        (0, {"bytes_arrived": SIZE + 1}, "1,117 cannot have arrived"),
        (1, {"address": 0x0801}, "has no load address"),
    ],
)
def test_a_moment_that_never_was(image, opened_as, slot, where, says):
    with pytest.raises(NoSuchMoment, match=says):
        block_in_flight(opened_as(image), slot, **where)


def test_it_is_one_or_the_other(image, opened_as):
    opened = opened_as(image)
    for both in ({}, {"address": START, "bytes_arrived": 3}):
        with pytest.raises(ValueError, match="or the number of bytes"):
            block_in_flight(opened, 0, **both)
