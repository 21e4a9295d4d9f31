"""The simulation against sums done by hand, so that it can be trusted to check the clock.

Figures are those of the design page's section 6; the rules of thumb are from the facts' section 8.
"""

import ast
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from statistics import NormalDist

import numpy as np
import pytest

from .drive import (
    STAGES,
    Load,
    Variant,
    run,
    simulate,
    simulate_many,
    simulate_row,
    simulate_row_many,
    simulate_spread,
)
from .figures import NOMINAL, RIGS, SPREADS, Figures, draw_figures
from .geometry import DISK_35, DISK_70, DISK_80, Place
from .layouts import Disk, cases, directory_chain, rows, stock_tracks

STOCK, FAST = NOMINAL["stock-spinning"], NOMINAL["fast-spinning"]
DIRECTORY = (Place(18, 1),)


class Still:
    """No chance at all: every sector 0 is under the head at time 0, nothing jitters."""

    def uniform(self) -> float:
        return 0.0

    def normal(self) -> float:
        return 0.0


def rng(seed: int = 7) -> np.random.Generator:
    return np.random.default_rng(seed)


def on_17(*sectors: int, last_bytes: int = 254) -> Load:
    return Load(DISK_35, DIRECTORY, tuple(Place(17, s) for s in sectors), last_bytes)


def stock_file(blocks: int) -> Load:
    places = Disk(DISK_35).place_file(stock_tracks(DISK_35), blocks, interleave=10)
    return Load(DISK_35, DIRECTORY, places)


def test_one_block_by_hand() -> None:
    """A turn is 200 ms; a sector takes 2832 bits × 3.5 = 9.912 ms on track 18, 9.204 on 17.

    Command 120, spin-up 900 and lead 12 end at 1032. Header 18/0 comes at 1200, is read by
    1209.912, decoded and scanned (30) by 1239.912, lead until 1251.912. 18/1 stands 200/19 = 10.526
    after 18/0: gone by at 1210.526, back at 1410.526, worked on by 1450.438. One track and
    settling: 1495.438, lead 1507.438, 17/0 at 1600, read by 1609.204, then 20 to decode and
    100 × 2 + 5 to send.
    """
    times = run([on_17(0, last_bytes=100)], STOCK, Still())[0]
    assert times == pytest.approx(
        {
            "command": 0.120,
            "setup": 0.0,
            "spin_up": 0.900,
            "find": 0.4304383,
            "seek": 0.045,
            "rotate": 0.1045617,
            "read": 0.029204,
            "transfer": 0.205,
            "total": 1.834204,
        },
        abs=1e-6,
    )


def test_fast_loader_starts_before_it_finds() -> None:
    """Setup 900 more and no lead: header at 2000, 18/1 at 2210.526, done 2242.438; 17/0 at 2400."""
    times = run([on_17(0)], FAST, Still())[0]
    assert times["setup"] == pytest.approx(0.9)
    assert times["total"] == pytest.approx(2.4 + 0.009204 + 0.012 + 254 * 0.00021 + 0.003)


def test_row_by_hand() -> None:
    """The second file: motor on, head on track 17, no header block.

    The first ends at 1834.204 (see above); command 120, step and settle 45, lead 12: 2011.204.
    18/1 at 2010.526 has just gone: 2210.526, worked on by 2250.438; 45 and 12: 2307.438; 17/10 at
    2400 + 95.238, read and decoded 29.204 later.
    """
    first, second = run([on_17(0, last_bytes=100), on_17(10, last_bytes=1)], STOCK, Still())
    assert first["total"] == pytest.approx(1.834204)
    assert second["spin_up"] == 0
    assert second["command"] == pytest.approx(0.12)
    assert second["find"] == pytest.approx(2.250438 - 1.954204, abs=1e-6)
    assert second["total"] == pytest.approx(2.495238 + 0.029204 + 0.007 - 1.834204, abs=1e-6)


@pytest.mark.parametrize(
    ("rig", "seconds"),
    [
        # command, 3 directory blocks of 1.5 + 2, 2 blocks of 1.5 + 254 × 1.75 + 5, last of 10 bytes
        ("stock-card", 0.120 + 3 * 0.0035 + 2 * 0.4510 + 0.0015 + 0.0175 + 0.005),
        ("fast-card", 1.020 + 3 * 0.0035 + 2 * 0.05784 + 0.0015 + 0.0021 + 0.003),
    ],
)
def test_card_sums_are_exact_on_any_layout(rig: str, seconds: float) -> None:
    for geometry in (DISK_35, DISK_70, DISK_80):
        blocks = (Place(1, 0), Place(33, 5), Place(2, 16))
        load = Load(geometry, directory_chain(geometry, 2), blocks, 10)
        totals = simulate_many(load, NOMINAL[rig], 3, rng())
        assert totals.tolist() == pytest.approx([seconds] * 3, abs=1e-9)


def test_card_row_reads_the_header_once() -> None:
    first, second = simulate_row([on_17(0), on_17(1)], NOMINAL["stock-card"], rng())
    assert first["total"] - second["total"] == pytest.approx(0.0035)


@pytest.mark.parametrize("skew", ["track", "arrival"])
def test_wait_after_a_seek_is_uniform_over_a_turn(skew: str) -> None:
    load, variant = on_17(3), Variant(skew="arrival" if skew == "arrival" else "track")
    dice = rng()
    waits_ms = np.array(
        [simulate(load, STOCK, dice, variant)["rotate"] * 1000 - 12 for _ in range(3000)]
    )
    deviation_ms = 200 / 12**0.5
    assert waits_ms.min() >= -1e-9 and waits_ms.max() < 200
    assert waits_ms.mean() == pytest.approx(100, abs=4 * deviation_ms / 3000**0.5)
    assert waits_ms.std() == pytest.approx(deviation_ms, rel=0.04)
    assert (waits_ms < 50).mean() == pytest.approx(0.25, abs=0.032)


def _slack_before_nine_sectors_on_ms(figures: Figures) -> float:
    """Time left, on track 17, when the drive looks for the sector nine further on."""
    busy_ms = figures.decode_ms + 254 * figures.byte_ms + figures.block_ms
    return 9 * 200 / 21 - 9.204 - busy_ms - figures.lead_ms


def test_missed_sector_costs_one_turn() -> None:
    slack_ms = _slack_before_nine_sectors_on_ms(FAST)
    caught = replace(FAST, block_ms=FAST.block_ms + slack_ms - 0.01)
    missed = replace(FAST, block_ms=FAST.block_ms + slack_ms + 0.01)
    seconds = [run([on_17(0, 9)], figures, Still())[0] for figures in (caught, missed)]
    assert seconds[1]["rotate"] - seconds[0]["rotate"] == pytest.approx(0.2 - 0.00002)
    # the last block, too, takes 0.02 ms longer
    assert seconds[1]["total"] - seconds[0]["total"] == pytest.approx(0.2 + 0.00002)


def test_sector_reached_to_the_instant_is_caught() -> None:
    """From each sector of a track in turn, so that rounding falls to either side of the start."""
    slack_ms = _slack_before_nine_sectors_on_ms(FAST)
    just = replace(FAST, block_ms=FAST.block_ms + slack_ms)
    for first in range(21):
        loads = on_17(first), on_17(first, (first + 9) % 21)
        one, both = (run([load], just, Still())[0]["rotate"] for load in loads)
        assert both == pytest.approx(one, abs=1e-6)


def test_jitter_near_the_edge_misses_as_often_as_a_normal_does() -> None:
    """Paired runs: 1 ms before the edge (sd 1.5 ms), and 9 ms, where nothing is missed."""
    runs, slack_ms = 4000, _slack_before_nine_sectors_on_ms(FAST)
    near = replace(FAST, block_ms=FAST.block_ms + slack_ms - 1)
    clear = replace(FAST, block_ms=FAST.block_ms + slack_ms - 9)
    difference_ms = 1000 * (
        simulate_many(on_17(0, 9), near, runs, rng())
        - simulate_many(on_17(0, 9), clear, runs, rng())
    )
    missed = difference_ms > 100
    assert difference_ms[~missed] == pytest.approx(8, abs=1e-6)
    assert difference_ms[missed] == pytest.approx(208, abs=1e-6)
    share = NormalDist(sigma=1.5).cdf(-1)
    assert missed.mean() == pytest.approx(share, abs=4 * (share * (1 - share) / runs) ** 0.5)


def test_long_busy_times_jitter_by_one_per_cent() -> None:
    """Sent at 2 ms a byte a block is 533 ms of work: the last block's transfer shows it alone."""
    load, dice = on_17(0), rng()
    busy_ms = 1000 * np.array(
        [t["transfer"] + t["read"] for t in (simulate(load, STOCK, dice) for _ in range(3000))]
    )
    assert busy_ms.mean() == pytest.approx(533 + 9.204, abs=0.4)
    assert busy_ms.std() == pytest.approx(5.33, rel=0.06)


@pytest.mark.parametrize("rig", RIGS)
def test_clock_is_the_sum_of_the_stages(rig: str) -> None:
    for case in cases()[::7]:
        if case.load.geometry is DISK_80 and NOMINAL[rig].spins:
            continue
        times = simulate(case.load, NOMINAL[rig], rng())
        assert sum(times[stage] for stage in STAGES) == pytest.approx(times["total"], abs=1e-9)
        assert min(times.values()) >= 0


@pytest.mark.parametrize(
    ("place", "seek_ms"),
    [
        (Place(1, 0), 17 * 25 + 20),
        (Place(19, 0), 45),
        (Place(36, 0), 17 * 25 + 20),
        (Place(53, 3), 20),
        (Place(70, 0), 17 * 25 + 20),
        (Place(18, 5), 0),
    ],
)
def test_head_steps_over_cylinders(place: Place, seek_ms: float) -> None:
    times = run([Load(DISK_70, DIRECTORY, (place,))], STOCK, Still())[0]
    assert times["seek"] * 1000 == pytest.approx(seek_ms)


def test_stock_chain_of_twenty_one_sectors_by_hand() -> None:
    """At stock speed a block takes 20 + 508 + 5 + 12 + 9.204 = 554.204 ms to the next look.

    The stock order's gaps are 9, 10 and 13 sectors (facts, section 5): 85.7, 95.2 and 123.8 ms.
    Each is under 154.2, so each is met in the third turn after: gap + 600 ms from start to start.
    """
    order = (0, 10, 20, 8, 18, 6, 16, 4, 14, 2, 12, 1, 11, 3, 13, 5, 15, 7, 17, 9, 19)
    whole, first = (run([on_17(*order[:n])], STOCK, Still())[0]["total"] for n in (21, 1))
    gaps_ms = sum((b - a) % 21 for a, b in pairwise(order)) * 200 / 21
    assert whole - first == pytest.approx((gaps_ms + 20 * 600) / 1000)


def test_any_order_takes_the_sectors_as_they_pass() -> None:
    """With no work at all between reads a whole track is read in a turn."""
    idle = replace(FAST, decode_ms=0, byte_ms=0, block_ms=0, order="any")
    load = on_17(*range(0, 21, 2), *range(1, 21, 2))
    times = run([load], idle, Still(), Variant(any_wait="passing"))[0]
    pitch_ms = 200 / 21
    first_wait_ms = times["rotate"] * 1000 - 20 * (pitch_ms - 9.204)
    assert 0 <= first_wait_ms < pitch_ms
    in_chain = run([load], replace(idle, order="chain"), Still())[0]
    assert in_chain["rotate"] > 2 * times["rotate"]


def test_any_order_by_the_page_waits_half_a_pitch() -> None:
    load, any_order, dice = on_17(*range(21)), replace(FAST, order="any"), rng()
    waits_ms = [simulate(load, any_order, dice)["rotate"] * 1000 / 21 for _ in range(500)]
    assert np.mean(waits_ms) == pytest.approx(100 / 21, abs=4 * 200 / 21 / (12 * 21 * 500) ** 0.5)


@pytest.mark.parametrize("any_wait", ["pitch", "passing"])
def test_any_order_visits_a_track_once(any_wait: str) -> None:
    variant = Variant(any_wait="passing" if any_wait == "passing" else "pitch")
    blocks = (Place(17, 0), Place(16, 0), Place(17, 1))
    load = Load(DISK_35, DIRECTORY, blocks, last_bytes=1)
    in_chain = run([load], FAST, Still(), variant)[0]
    as_they_come = run([load], replace(FAST, order="any"), Still(), variant)[0]
    assert in_chain["seek"] == pytest.approx(0.135)
    assert as_they_come["seek"] == pytest.approx(0.090)
    assert as_they_come["transfer"] == pytest.approx(in_chain["transfer"])


def test_coming_back_to_a_track_finds_it_as_it_was() -> None:
    """With one skew a track, waits out and back add up to the same but for jitter and turns."""
    out_and_back = tuple(Place(t, 0) for t in (17, 16) * 20)
    load = Load(DISK_35, DIRECTORY, out_and_back)
    spreads = {
        skew: simulate_many(load, FAST, 400, rng(), variant).std()
        for skew, variant in (("track", Variant()), ("arrival", Variant(skew="arrival")))
    }
    unknown_angles = (0.2**2 / 12 * 40) ** 0.5
    assert spreads["arrival"] == pytest.approx(unknown_angles, rel=0.15)
    assert spreads["track"] != pytest.approx(unknown_angles, rel=0.15)


def test_figures_are_drawn_from_their_ninety_per_cent_ranges() -> None:
    dice = rng()
    drawn = [draw_figures(STOCK, dice) for _ in range(4000)]
    for figure, spread in SPREADS.items():
        nominal = getattr(STOCK, figure)
        low, high = np.percentile([getattr(figures, figure) for figures in drawn], [5, 95])
        assert (low, high) == pytest.approx(
            (nominal * (1 - spread), nominal * (1 + spread)), abs=0.08 * nominal * spread
        )
    assert min(min(f.lead_ms, f.command_ms, f.rpm) for f in drawn) >= 0


def test_spread_of_a_card_load_is_that_of_its_figures() -> None:
    """Shares add up as root sum of squares; 200 × 254 × 1.75 ms within 10 % outweighs the rest."""
    totals = simulate_spread(stock_file(200), NOMINAL["stock-card"], 3000, rng())
    parts = ((88.9, 0.10), (1.0, 0.30), (0.3, 0.30), (0.12, 0.30))
    half_width = sum((seconds * spread) ** 2 for seconds, spread in parts) ** 0.5
    low, high = np.percentile(totals, [5, 95])
    assert (high - low) / 2 == pytest.approx(half_width, rel=0.06)


def test_row_of_one_is_a_single_load() -> None:
    load = stock_file(30)
    assert simulate_row([load], STOCK, rng())[0] == simulate(load, STOCK, rng())
    assert simulate_row_many([load], STOCK, 4, rng())[:, 0].tolist() == (
        simulate_many(load, STOCK, 4, rng()).tolist()
    )


def test_rows_spare_every_file_but_the_first_the_start() -> None:
    for row in rows()[:4]:
        times = simulate_row(row, FAST, rng())
        assert [t["spin_up"] > 0 for t in times] == [True] + [False] * (len(row) - 1)
        assert all(t["setup"] == pytest.approx(0.9) for t in times)


def test_stock_rule_of_thumb_300_to_450_bytes_a_second() -> None:
    """Common practice, no source: the facts' section 8, from memory."""
    load = stock_file(150)
    bytes_a_second = 150 * 254 / simulate_many(load, STOCK, 20, rng()).mean()
    assert 300 < bytes_a_second < 450


def test_card_rule_of_thumb_92_seconds_stock_and_13_fast() -> None:
    """Common practice, one stopwatch reading each: a title under 64 KB, the facts' section 8."""
    dice = rng()
    blocks = next(
        n
        for n in range(1, 260)
        if simulate(stock_file(n), NOMINAL["stock-card"], dice)["total"] >= 92
    )
    assert blocks * 254 < 65_536
    fast = simulate(stock_file(blocks), NOMINAL["fast-card"], dice)["total"]
    assert fast == pytest.approx(13, abs=0.5)


def test_spinning_drive_gains_less_from_the_cartridge() -> None:
    """Common practice, no source: the facts' section 8."""
    load = stock_file(200)
    seconds = {rig: simulate_many(load, NOMINAL[rig], 10, rng()).mean() for rig in RIGS}
    gains = {
        drive: seconds[f"stock-{drive}"] / seconds[f"fast-{drive}"]
        for drive in ("spinning", "card")
    }
    assert 1 < gains["spinning"] < gains["card"]


def test_nothing_of_the_project_is_imported() -> None:
    for name in ("geometry", "figures", "drive", "layouts"):
        tree = ast.parse(Path(__file__).with_name(f"{name}.py").read_text())
        roots = {
            (alias.name if isinstance(node, ast.Import) else node.module or "").split(".")[0]
            for node in ast.walk(tree)
            if isinstance(node, ast.Import | ast.ImportFrom)
            for alias in node.names
        }
        assert not roots & {"loadglass", "formats", "tui", "sample_images"}
