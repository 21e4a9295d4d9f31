import dataclasses
import tracemalloc

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formats.audit import audit
from formats.compose import NewFile, compose
from formats.geometry import LAYOUTS, TRACKS_35, TRACKS_70, TRACKS_80
from formats.image import DiskImage
from loadglass.timing.estimate import BATCH, clock_file, clock_image, clock_places, seconds_of
from loadglass.timing.loads import count_images
from loadglass.timing.motion import pack_blocks
from loadglass.timing.places import FilePlaces, ImagePlaces
from loadglass.timing.prices import STAGES
from loadglass.timing.rig_files import BUILT_IN
from tests.loadglass.timing.plain_clock import PlainClock

DIRECTORY = [TRACKS_35.header_block, TRACKS_35.directory_block]
SPINNING = ("stock-spinning", "fast-spinning", "any-spinning")


def clock(rig, file, last_bytes=254, directory=DIRECTORY, geometry=TRACKS_35):
    return clock_file(geometry, directory, file, last_bytes, rig)


# --- rules of thumb: common practice, no source -------------------------------------------------


@pytest.mark.parametrize("blocks", [20, 60, 150, 240])
def test_stock_drive_loads_300_to_450_bytes_a_second(rigs, laid, blocks):
    estimate = clock(rigs["stock-spinning"], laid(blocks))
    transfer = estimate.seconds - estimate.stages["spin_up"] - estimate.stages["find"]
    assert 300 < blocks * 254 / transfer < 450


def test_title_of_92_s_from_the_card_takes_about_13_s_with_the_cartridge(rigs, laid):
    """Two stopwatch readings of one title under 64 KB; common practice, no source."""
    blocks = next(
        count for count in range(1, 259) if clock(rigs["stock-card"], laid(count)).seconds >= 92
    )
    assert blocks * 254 < 64 * 1024
    assert clock(rigs["stock-card"], laid(blocks)).seconds == pytest.approx(92, abs=0.5)
    fast = clock(rigs["fast-card"], laid(blocks))
    assert 11.5 < fast.seconds < 14.5
    assert fast.low < 13 < fast.high


@pytest.mark.parametrize("blocks", [30, 100, 200])
def test_cartridge_gains_more_on_the_card_than_on_the_disk(rigs, laid, blocks):
    file = laid(blocks)
    seconds = {name: clock(rigs[name], file).seconds for name in BUILT_IN}
    card = seconds["stock-card"] / seconds["fast-card"]
    spinning = seconds["stock-spinning"] / seconds["fast-spinning"]
    assert card > spinning > 1.5


# --- loads worked out by hand -------------------------------------------------------------------


def test_one_block_from_the_card_by_hand(rigs):
    estimate = clock(rigs["stock-card"], [0], last_bytes=100)
    assert estimate.stages == pytest.approx(
        {
            "command": 0.120,
            "setup": 0,
            "spin_up": 0,
            "find": 2 * (1.5 + 2) / 1000,  # header and one sector of the directory
            "seek": 0,
            "rotate": 0,
            "read": 1.5 / 1000,
            "transfer": (100 * 1.75 + 5) / 1000,
        }
    )
    assert estimate.seconds == pytest.approx(0.3085)


def test_two_blocks_from_the_disk_by_hand(rigs):
    """17/0 and 17/10; a sector takes 9.204 ms on track 17 and 9.912 on track 18."""
    file = [TRACKS_35.index(17, 0), TRACKS_35.index(17, 10)]
    estimate = clock(rigs["stock-spinning"], file, last_bytes=54)
    header = 12 + 100 + 9.912 + 30
    # 18/1 is 200 / 19 ms on; that is long gone after 9.912 + 30 + 12 ms
    first_sector = 12 + (200 / 19 - 51.912 + 200) + 9.912 + 30
    to_first_block = 12 + 25 + 20 + 100
    # 17/10 is 95.238 ms on; 9.204 + (20 + 254 x 2 + 5) + 12 = 554.204 ms have gone, 2.77 turns
    wait = 95.238 - 554.204 + 600
    assert estimate.stages == pytest.approx(
        {
            "command": 0.120,
            "setup": 0,
            "spin_up": 0.900,
            "find": (header + first_sector + to_first_block) / 1000,
            "seek": 0,
            "rotate": (12 + wait) / 1000,
            "read": 2 * (9.204 + 20) / 1000,
            "transfer": (2 * 5 + (254 + 54) * 2.0) / 1000,
        },
        abs=1e-6,
    )


def test_third_block_on_another_track_by_hand(rigs):
    """Two tracks away: two steps and settling are `seek`, half a turn is `rotate`."""
    near = [TRACKS_35.index(17, 0), TRACKS_35.index(17, 10)]
    rig = rigs["stock-spinning"]
    before, after = clock(rig, near), clock(rig, [*near, TRACKS_35.index(15, 3)])
    gained = {stage: after.stages[stage] - before.stages[stage] for stage in STAGES}
    assert gained["seek"] == pytest.approx((2 * 25 + 20) / 1000)
    assert gained["rotate"] == pytest.approx((12 + 100) / 1000)
    assert gained["read"] == pytest.approx((9.204 + 20) / 1000)
    assert gained["transfer"] == pytest.approx((254 * 2 + 5) / 1000)
    assert gained["find"] == 0


def test_a_slower_byte_costs_nothing_until_it_costs_a_turn(rigs):
    """On one track the time by the byte is a stair: between misses only the last block feels it."""
    file = [TRACKS_35.index(1, sector) for sector in (0, 10) * 10]
    counted = count_images(TRACKS_35, [ImagePlaces.of_file(TRACKS_35, DIRECTORY, file, 254)]).files
    a_turn_ms = 200 / 254  # by which a byte is slower when a block is slower by a turn
    bytes_ms = np.linspace(1.6, 1.6 + a_turn_ms, 161)
    row = [rigs["stock-spinning"].with_values({"byte": byte_ms}) for byte_ms in bytes_ms]
    steps = np.diff(counted.seconds(row)[0])
    last_block_alone = 0.2 / 160
    assert (steps > last_block_alone * 0.99).all()
    assert np.median(steps) == pytest.approx(last_block_alone, rel=0.01)
    assert steps.sum() == pytest.approx((19 + 1) * 0.2, rel=0.01)


# --- the counted way is the plain way -----------------------------------------------------------


def loads(geometry):
    block = st.integers(0, geometry.blocks - 1)
    near = st.integers(geometry.header_block - 15, geometry.header_block + 15)
    block = st.one_of(block, near)
    return st.tuples(
        st.lists(block, min_size=2, max_size=6),
        st.lists(block, min_size=1, max_size=12),
        st.integers(0, 254),
    )


@pytest.mark.parametrize("name", [*BUILT_IN, "any-spinning"])
@pytest.mark.parametrize("geometry", LAYOUTS, ids=lambda layout: layout.name)
@settings(max_examples=15, deadline=None)
@given(data=st.data())
def test_clock_is_the_page_told_step_by_step(rigs, name, geometry, data):
    directory, file, last_bytes = data.draw(loads(geometry))
    rig = rigs[name]
    estimate = clock(rig, file, last_bytes, directory, geometry)
    if rig.spins and geometry is TRACKS_80:
        assert estimate is None
        return
    plain = PlainClock(geometry, rig)
    plain.load(directory, file, last_bytes)
    for stage in STAGES:
        assert estimate.stages[stage] * 1000 == pytest.approx(plain.stages[stage], abs=0.5), stage
    assert estimate.seconds == pytest.approx(sum(estimate.stages.values()))
    assert tuple(estimate.stages) == STAGES
    places = ImagePlaces.of_file(geometry, directory, file, last_bytes).taken(rig.order)
    variance = count_images(geometry, [places]).files.variances(rig)[0]
    assert variance * 1e6 == pytest.approx(plain.variance, rel=5e-3, abs=2.0)


@pytest.mark.parametrize("name", [*BUILT_IN, "any-spinning"])
@settings(max_examples=15, deadline=None)
@given(data=st.data())
def test_a_row_of_loads_is_the_page_told_step_by_step(rigs, name, data):
    """From the second on: motor on, head where it was, no header block."""
    rig = rigs[name]
    geometry = TRACKS_70
    block = st.integers(0, geometry.blocks - 1)
    directory = tuple(data.draw(st.lists(block, min_size=3, max_size=3)))
    drawn = data.draw(
        st.lists(
            st.tuples(st.integers(1, 3), st.lists(block, min_size=1, max_size=8)),
            min_size=1,
            max_size=5,
        )
    )
    files = tuple(
        FilePlaces(i, sectors, True, 200, pack_blocks(blocks))
        for i, (sectors, blocks) in enumerate(drawn)
    )
    clocked = clock_places(ImagePlaces(geometry, 700, directory, files), [rig])
    plain = PlainClock(geometry, rig)
    head = None
    for sectors, blocks in drawn:
        searched = directory[:sectors] if head is not None else (700, *directory[:sectors])
        head = plain.load(searched, blocks, 200, head)
    for stage in STAGES:
        assert clocked.all[name].stages[stage] * 1000 == pytest.approx(plain.stages[stage], abs=1.0)


# --- ranges -------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", [*BUILT_IN, "any-spinning"])
def test_range_is_that_of_random_figures(rigs, laid, name):
    """Against plain random draws: figures first, then each load's own variance."""
    rig = rigs[name]
    counted = count_images(
        TRACKS_35, [ImagePlaces.of_file(TRACKS_35, DIRECTORY, laid(80), 120)]
    ).files
    random = np.random.default_rng(8)
    drawn = []
    for _ in range(3000):
        values = {
            figure: each.value * max(0.01, random.normal(1, each.spread / 1.6449))
            for figure, each in rig.figures.items()
        }
        one = rig.with_values(values)
        deviation = np.sqrt(counted.variances(one)[0])
        drawn.append(random.normal(counted.seconds([one])[0, 0], deviation))
    low, high = np.quantile(drawn, (0.05, 0.95))
    estimate = clock(rig, laid(80), 120)
    assert estimate.low == pytest.approx(low, abs=0.06 * (high - low))
    assert estimate.high == pytest.approx(high, abs=0.06 * (high - low))


def test_without_spreads_the_range_is_the_loads_own_variance(rigs, laid):
    rig = rigs["stock-spinning"]
    exact = dataclasses.replace(
        rig,
        figures={name: dataclasses.replace(f, spread=0.0) for name, f in rig.figures.items()},
    )
    estimate = clock(exact, laid(60))
    places = ImagePlaces.of_file(TRACKS_35, DIRECTORY, laid(60), 254)
    deviation = float(np.sqrt(count_images(TRACKS_35, [places]).files.variances(exact)[0]))
    assert estimate.high - estimate.seconds == pytest.approx(1.645 * deviation, rel=0.02)
    assert estimate.seconds - estimate.low == pytest.approx(1.645 * deviation, rel=0.02)


def test_a_load_near_an_edge_is_uncertain_by_far_more_than_its_figures(rigs):
    """Ten blocks whose next one comes by just as the loader is ready: taken at once or a turn
    later. A percentage of the total would never tell."""
    rig = rigs["fast-spinning"]
    ready_ms = 9.204 + 12 + 254 * 0.21 + 3
    near = round(ready_ms / (200 / 21))  # the gap whose sector is nearest to that
    edge = rig.with_values({"byte": (near * 200 / 21 - 9.204 - 12 - 3) / 254})
    on_edge = clock(edge, [TRACKS_35.index(1, near * i % 21) for i in range(10)])
    away = clock(edge, [TRACKS_35.index(1, (near + 8) * i % 21) for i in range(10)])
    assert on_edge.high - on_edge.low > 2 * (away.high - away.low)


@pytest.mark.parametrize(
    ("name", "low", "seconds", "high"),
    [
        ("stock-spinning", 40.211776, 43.000622, 43.516072),
        ("stock-card", 24.231235, 26.917500, 29.605670),
        ("fast-spinning", 8.095525, 8.526302, 9.068569),
        ("fast-card", 4.050513, 4.465060, 4.879607),
    ],
)
def test_ranges_are_the_same_on_every_machine(rigs, laid, name, low, seconds, high):
    """No random generator is asked. The values are our own of the day this was written."""
    estimate = clock(rigs[name], laid(60), 100)
    assert (estimate.low, estimate.seconds, estimate.high) == pytest.approx(
        (low, seconds, high), abs=2e-6
    )


# --- what grows with what -----------------------------------------------------------------------


@pytest.mark.parametrize("name", ["stock-card", "fast-card"])
def test_on_a_card_more_blocks_and_more_bytes_take_longer(rigs, laid, name):
    file = laid(30)
    seconds = [clock(rigs[name], file[:count], 10).seconds for count in range(1, 31)]
    assert all(np.diff(seconds) > 0)
    assert clock(rigs[name], file, 200).seconds > clock(rigs[name], file, 199).seconds
    shuffled = clock(rigs[name], file[::-1])
    assert shuffled.seconds == pytest.approx(clock(rigs[name], file).seconds)


@pytest.mark.parametrize("name", SPINNING)
def test_a_farther_track_takes_longer(rigs, name):
    seconds = [
        clock(rigs[name], [TRACKS_35.index(17, 0), TRACKS_35.index(track, 0)]).seconds
        for track in range(16, 0, -1)
    ]
    assert np.diff(seconds) == pytest.approx(0.025)


def test_taking_sectors_as_they_come_beats_a_bad_interleave(rigs):
    file = [TRACKS_35.index(5, sector) for sector in range(21)]
    in_order, as_they_come = (
        clock(rigs[name], file).stages["rotate"] for name in ("fast-spinning", "any-spinning")
    )
    assert as_they_come == pytest.approx(20 * 0.2 / 21 / 2)  # half a pitch each after the first
    assert in_order > 10 * as_they_come


# --- whole images -------------------------------------------------------------------------------


def program(name: bytes, size: int) -> NewFile:
    return NewFile(name, bytes((1, 8)) + bytes(i % 251 for i in range(size - 2)))


@pytest.fixture(scope="module")
def harbour():
    """Nine programs and a sequential file, so that the last entry is in the second sector."""
    files = [program(b"PIER %d" % i, 900 + 700 * i) for i in range(8)]
    files.insert(2, NewFile(b"TIDES", b"TIDE " * 100, type_code=1))
    files.append(program(b"LIGHTHOUSE", 5000))
    return audit(DiskImage.from_bytes(compose(b"GRAUHAVEN", files)))


def four(rigs):
    return [rigs[name] for name in BUILT_IN]


def test_image_files_are_clocked_by_slot(rigs, harbour):
    clocked = clock_image(harbour, four(rigs))
    assert list(clocked.files) == [file.entry.slot for file in harbour.files] == list(range(10))
    for file in harbour.files:
        for name in BUILT_IN:
            expected = clock_file(
                harbour.image.geometry,
                harbour.directory.search_blocks(file.entry.slot),
                file.chain.blocks,
                file.chain.last_bytes,
                rigs[name],
            )
            found = clocked.files[file.entry.slot][name]
            assert found.stages == pytest.approx(expected.stages)
            assert (found.low, found.high) == pytest.approx((expected.low, expected.high))
    # the last one is found in the directory's second sector
    assert clocked.files[9]["fast-card"].stages["find"] == pytest.approx(3 * 3.5 / 1000)


def test_start_is_the_first_program_and_all_skips_what_is_none(rigs, harbour):
    clocked = clock_image(harbour, four(rigs))
    for name in BUILT_IN:
        assert clocked.start[name] == clocked.files[0][name]
        programs = [clocked.files[slot][name] for slot in (0, 1, *range(3, 10))]
        row = clocked.all[name]
        for stage in ("command", "setup", "read", "transfer", "seek", "rotate"):
            assert row.stages[stage] == pytest.approx(sum(p.stages[stage] for p in programs))
        assert row.stages["spin_up"] == clocked.start[name].stages["spin_up"]
        assert row.seconds == pytest.approx(sum(row.stages.values()))
    card = clocked.all["fast-card"]
    saved_headers = 8 * 3.5 / 1000
    apart = sum(clocked.files[slot]["fast-card"].seconds for slot in (0, 1, *range(3, 10)))
    assert card.seconds == pytest.approx(apart - saved_headers)


def test_a_file_that_cannot_be_read_whole_has_no_times(rigs, harbour):
    broken = bytearray(harbour.image.to_bytes())
    chain = harbour.files[4].chain.blocks
    broken[chain[2] * 256 : chain[2] * 256 + 2] = bytes((77, 0))
    clocked = clock_image(audit(DiskImage.from_bytes(bytes(broken))), four(rigs))
    assert clocked.files[4] is None
    assert clocked.files[3] is not None
    whole = clock_image(harbour, four(rigs))
    assert clocked.all["fast-card"].seconds < whole.all["fast-card"].seconds


def test_an_image_without_programs(rigs):
    data = compose(b"LOGBOOK", [NewFile(b"TIDES", b"TIDE " * 100, type_code=1)])
    clocked = clock_image(audit(DiskImage.from_bytes(data)), four(rigs))
    assert clocked.files[0]["stock-card"].seconds > 0
    assert clocked.start == clocked.all == dict.fromkeys(BUILT_IN)
    empty = clock_image(audit(DiskImage.from_bytes(compose(b"", []))), four(rigs))
    assert empty.files == {}
    assert empty.start == empty.all == dict.fromkeys(BUILT_IN)


def test_80_track_image_is_for_the_card_alone(rigs):
    data = compose(b"DEEP", [program(b"WRECK", 9000)], TRACKS_80)
    clocked = clock_image(audit(DiskImage.from_bytes(data)), four(rigs))
    assert clocked.files[0]["stock-spinning"] is None
    assert clocked.start["fast-spinning"] is None and clocked.all["fast-spinning"] is None
    assert clocked.start["fast-card"].seconds > 0


def test_no_blocks_is_a_fault_of_the_caller(rigs):
    with pytest.raises(ValueError, match="at the least"):
        clock(rigs["fast-card"], [])
    with pytest.raises(ValueError, match="at the least"):
        clock(rigs["fast-card"], [0], directory=[])


# --- many images at once ------------------------------------------------------------------------


def test_bulk_is_one_by_one(rigs, harbour):
    """Mixed layouts, with and without programs, in any order."""
    deep = audit(
        DiskImage.from_bytes(compose(b"DEEP", [program(b"A", 9000), program(b"B", 700)], TRACKS_80))
    )
    sides = audit(DiskImage.from_bytes(compose(b"SIDES", [program(b"C", 90_000)], TRACKS_70)))
    none = audit(DiskImage.from_bytes(compose(b"NONE", [])))
    audits = [harbour, deep, none, sides, *[harbour] * BATCH]
    found = seconds_of([ImagePlaces.of(each) for each in audits], four(rigs))
    for i in (0, 1, 2, 3, len(audits) - 1):
        each = audits[i]
        clocked = clock_image(each, four(rigs))
        times = list(clocked.files.values())
        assert found.files[i].shape == (len(times), 4)
        for column, name in enumerate(BUILT_IN):
            for row, estimates in enumerate(times):
                assert_same(found.files[i][row, column], estimates[name])
            assert_same(found.start[i, column], clocked.start[name])
            assert_same(found.all[i, column], clocked.all[name])


def assert_same(seconds, estimate):
    if estimate is None:
        assert np.isnan(seconds)
    else:
        assert seconds == pytest.approx(estimate.seconds)


def test_bulk_of_nothing(rigs):
    found = seconds_of([], four(rigs))
    assert found.files == [] and found.start.shape == found.all.shape == (0, 4)


def test_rigs_of_either_order_together_are_one_by_one(rigs):
    """Two files that go to and fro between tracks, so that the order tells."""
    files = tuple(
        FilePlaces(slot, 1, True, 99, pack_blocks([first, 400, first + 2, 402, first + 4]))
        for slot, first in enumerate((10, 80))
    )
    places = ImagePlaces(TRACKS_35, TRACKS_35.header_block, (TRACKS_35.directory_block,), files)
    every = list(rigs.values())
    clocked = clock_places(places, every)
    found = seconds_of([places, places], every)
    for column, rig in enumerate(every):
        assert found.all[1, column] == pytest.approx(clocked.all[rig.name].seconds)
        assert found.start[0, column] == pytest.approx(clocked.start[rig.name].seconds)
        for slot in (0, 1):
            one = clocked.files[slot][rig.name]
            assert found.files[1][slot, column] == pytest.approx(one.seconds)
    in_order, as_they_come = (
        clocked.all[name].stages for name in ("fast-spinning", "any-spinning")
    )
    assert as_they_come["seek"] < 0.5 * in_order["seek"]


def test_thousands_of_entries_of_one_chain_cost_little_and_each_has_its_own_time(rigs, laid):
    """A directory with thousands of entries for one long file fits on a disk of 80 tracks."""
    geometry, entries = TRACKS_80, 4000
    blocks = pack_blocks(range(geometry.blocks - 1500, geometry.blocks))
    directory = tuple(range(geometry.directory_block, geometry.directory_block + 16))
    files = tuple(
        FilePlaces(slot, 1 + slot % 16, True, 254 - slot % 2, blocks) for slot in range(entries)
    )
    places = ImagePlaces(geometry, geometry.header_block, directory, files)
    every = [rigs["stock-card"], rigs["fast-card"]]
    tracemalloc.start()
    found = seconds_of([places], every).files[0]
    peak_bytes = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak_bytes < 100_000_000
    for slot in (0, 1, 17, entries - 1):
        alone = seconds_of([dataclasses.replace(places, files=(files[slot],))], every).files[0]
        assert found[slot] == pytest.approx(alone[0])
    assert found[0, 0] < found[16 * 7 + 15, 0]
