from dataclasses import replace

import pytest

from formats.audit import audit
from formats.geometry import TRACKS_35
from formats.image import DiskImage
from loadglass.bench.diagnose import CAUTION, damage_of, diagnose
from loadglass.timing.rig import RigError
from loadglass.timing.rig_files import built_in_rigs

RIGS = built_in_rigs()
LONG = 3
"""The slot of the file of 120 blocks."""


@pytest.fixture
def told(read, opened):
    """The diagnosis of a reading of the long file that is so many times what a rig takes."""

    def make(rig_name, of_rig, factor=1.0, audit=None):
        reading = read(LONG, 1.0, rig_name)
        seconds = reading.timed.estimate(RIGS[of_rig]).seconds * factor
        return diagnose(replace(reading, seconds=seconds), RIGS.values(), audit)

    return make


@pytest.mark.parametrize("rig", RIGS)
def test_what_is_expected_is_said_so(told, rig):
    found = told(rig, rig)
    assert (found.meaning, found.matches) == ("inside", ())
    assert "as expected" in found.says[0]


@pytest.mark.parametrize("rig", ["fast-card", "fast-spinning"])
def test_a_little_outside_asks_for_calibration(told, rig):
    found = told(rig, rig, 1.22)
    assert found.meaning == "near"
    assert "calibrate it" in found.says[0]


def test_the_stock_loader_in_place_of_the_cartridge(told):
    found = told("fast-card", "stock-card")
    assert found.meaning == "other rig" and "stock-card" in found.matches
    assert "matches the stock loader (stock-card takes" in found.says[0]
    assert found.says[0].endswith(
        "the cartridge may not be engaged, or the SD-card drive does not know its loader"
    )
    spinning = told("fast-spinning", "stock-spinning")
    assert spinning.says[0].endswith("the cartridge may not be engaged")


def test_the_cartridge_in_place_of_the_stock_loader(told):
    found = told("stock-card", "fast-card")
    assert found.meaning == "other rig"
    assert "matches a fast loader" in found.says[0] and "may be engaged" in found.says[0]


def test_the_other_drive(told):
    found = told("stock-card", "stock-spinning")
    assert found.matches == ("stock-spinning",)
    assert "make sure which drive" in found.says[0]


@pytest.mark.parametrize("rig", ["fast-card", "stock-card"])
def test_between_fast_and_stock(told, rig):
    found = told(rig, "fast-card", 3.5)
    assert found.meaning == "between"
    assert "the title may switch to its own loader" in found.says[0]


@pytest.mark.parametrize("rig", ["fast-card", "stock-card", "fast-spinning", "stock-spinning"])
def test_longer_than_stock(told, rig):
    found = told(rig, "stock-spinning", 2)
    assert found.meaning == "longer"
    assert "longer than stock" in found.says[0] and "check the image" in found.says[0]


def test_shorter_than_anything(told):
    found = told("fast-card", "fast-card", 0.3)
    assert found.meaning == "shorter"
    assert "from RETURN to READY" in found.says[0]


def test_a_rig_of_the_users_own_counts_too(read):
    mine = replace(RIGS["stock-card"], name="my-drive").with_values({"byte": 4})
    reading = read(LONG, 1.0)
    reading = replace(reading, seconds=reading.timed.estimate(mine).seconds)
    found = diagnose(reading, [*RIGS.values(), mine])
    assert found.matches == ("my-drive",)


def test_damage_on_the_image_comes_first(told, image_path):
    image = bytearray(image_path.read_bytes())
    first = audit(DiskImage.from_bytes(bytes(image))).by_slot[LONG].chain.blocks[0]
    image[first * 256 : first * 256 + 2] = bytes((99, 0))
    damaged = audit(DiskImage.from_bytes(bytes(image)))
    found = told("fast-card", "stock-card", audit=damaged)
    assert found.says[0].startswith("look at the image first: block ")
    assert "matches the stock loader" in found.says[1]
    assert damage_of(damaged, [0]) == []
    assert len(damage_of(damaged, [0, LONG])) == 1


def test_an_own_loader_on_the_image_explains_what_is_between(told, image_path):
    image = bytearray(image_path.read_bytes())
    block = TRACKS_35.index(35, 5)
    image[block * 256 : block * 256 + 256] = bytes(range(256))
    bits = TRACKS_35.header_block * 256 + 4 * 35
    image[bits] -= 1
    image[bits + 1] &= ~(1 << 5)
    judged = audit(DiskImage.from_bytes(bytes(image)))
    found = told("fast-card", "fast-card", 3.5, audit=judged)
    assert "the title probably loads" in found.says[-1]
    assert len(told("fast-card", "fast-card", audit=judged).says) == 1


def test_a_reading_whose_rig_is_gone(read):
    with pytest.raises(RigError, match="fast-card of this reading is not among the rigs"):
        diagnose(read(LONG, 9.0), [RIGS["stock-card"]])


def test_power_off_first():
    assert "power of machine and drive off" in CAUTION
