from statistics import NormalDist

import numpy as np
import pytest

from loadglass.timing import motion, prices
from loadglass.timing.motion import STEP, STEP_GAP, STEP_ZONE
from loadglass.timing.prices import (
    READ_MS,
    drawn_prices,
    expected_wait,
    nominal_prices,
    normal_quantiles,
)
from tests.loadglass.timing.plain_clock import wait_with_jitter

TURN = 200.0


def one(nominal, jitter, turn=TURN):
    mean, variance = expected_wait(np.array([nominal]), np.array([jitter]), np.array([turn]))
    return float(mean[0]), float(variance[0])


def test_reading_takes_354_bytes_at_the_zones_bit_cell():
    """Drive manuals of the 1980s, from memory: 16 MHz divided by 13 to 16, then by 4; 7,692 to
    6,250 bytes fit a turn of 200 ms."""
    cells_us = [4 * divisor / 16 for divisor in (13, 14, 15, 16)]
    assert pytest.approx([354 * 8 * cell / 1000 for cell in cells_us]) == READ_MS
    fit_a_turn = [int(200 / (8 * cell / 1000)) for cell in cells_us]
    assert fit_a_turn == [7692, 7142, 6666, 6250]
    assert all(TURN / np.array(motion.ZONE_SECTORS) > READ_MS)  # the sectors fit on their track


def test_far_from_the_edge_the_wait_is_the_nominal_one_and_certain():
    assert one(100.0, 5.0) == pytest.approx((100.0, 0.0), abs=1e-4)


@pytest.mark.parametrize("nominal", [0.0, TURN])
def test_on_the_edge_it_is_missed_half_the_time(nominal):
    """Half the loads take the sector at once and half a turn later, whichever side it is."""
    assert one(nominal, 2.0) == pytest.approx((TURN / 2, TURN**2 / 4), rel=1e-5)


def test_a_step_beside_the_edge():
    # One standard deviation of room: missed by 15.87 % (normal table), so 31.7 ms are added.
    mean, variance = one(3.0, 3.0)
    assert mean == pytest.approx(3.0 + 200 * 0.158655, abs=1e-3)
    assert variance == pytest.approx(200**2 * 0.158655 * 0.841345, rel=1e-5)


@pytest.mark.parametrize("jitter", [1.5, 5.33, 12.0, 60.0, 150.0, 400.0])
def test_closed_form_is_the_definition(jitter):
    """Also for a jitter so wide that several turns are lost."""
    for nominal in np.linspace(0, TURN, 41, endpoint=False):
        expected = wait_with_jitter(float(nominal), jitter, TURN)
        assert one(nominal, jitter) == pytest.approx(expected, rel=2e-3, abs=0.03)


@pytest.mark.parametrize("name", ["stock-spinning", "fast-spinning"])
@pytest.mark.parametrize("group", ["directory", "file"])
def test_every_step_waits_as_defined(rigs, name, group):
    """All zones and gaps: a sector begins at s / n of a turn, evenly spaced."""
    rig = rigs[name]
    value = rig.value
    busy = value("decode") + (
        value("scan") if group == "directory" else 254 * value("byte") + value("block")
    )
    jitter = max(0.01 * busy, 1.5)
    table = nominal_prices(rig)
    rotate, find = prices.STAGES.index("rotate"), prices.STAGES.index("find")
    for i, (zone, gap) in enumerate(zip(STEP_ZONE.tolist(), STEP_GAP.tolist(), strict=True)):
        read = READ_MS[zone]
        nominal = (gap / motion.ZONE_SECTORS[zone] * TURN - read - busy - value("lead")) % TURN
        wait, variance = wait_with_jitter(float(nominal), jitter, TURN)
        if group == "file":
            priced, priced_variance = table.file[i, rotate], table.file_variance[i, 0]
        else:
            priced = table.search[i, find] - (read + busy) / 1000
            priced_variance = table.search_variance[i, 0]
        assert priced * 1000 == pytest.approx(wait + value("lead"), abs=0.03)
        assert priced_variance * 1e6 == pytest.approx(variance, rel=2e-3, abs=1.0)


def test_loader_that_takes_sectors_as_they_come_waits_half_a_pitch(rigs):
    table = nominal_prices(rigs["any-spinning"])
    rotate = prices.STAGES.index("rotate")
    for zone, sectors in enumerate(motion.ZONE_SECTORS):
        half_pitch_s = 0.2 / sectors / 2
        steps = table.file[STEP][zone == STEP_ZONE, rotate]
        assert steps == pytest.approx(half_pitch_s)
        assert table.file[motion.MOVE.start + zone, rotate] == pytest.approx(half_pitch_s)


def test_card_has_no_motion(rigs):
    for name in ("stock-card", "fast-card"):
        table = nominal_prices(rigs[name])
        for stage in ("spin_up", "seek", "rotate"):
            assert not table.search[:, prices.STAGES.index(stage)].any()
            assert not table.file[:, prices.STAGES.index(stage)].any()


def test_normal_quantiles_are_those_of_the_standard_library():
    count = 512
    expected = [NormalDist().inv_cdf((i + 0.5) / count) for i in range(count)]
    assert normal_quantiles(count) == pytest.approx(expected, abs=1e-4)


def test_deviations_are_stratified_mirrored_and_hardly_correlated():
    drawn = prices.deviations()
    strata = np.sort(normal_quantiles(prices.DRAWS))
    assert all(np.array_equal(np.sort(row), strata) for row in drawn)
    assert drawn[:, ::-1] == pytest.approx(-drawn, abs=1e-9)
    correlations = np.corrcoef(drawn) - np.eye(len(drawn))
    assert np.abs(correlations).max() < 0.15


def test_draws_have_the_spread_of_the_figures(rigs):
    """Half width of the 90 % range of the byte's time: 10 %."""
    drawn = drawn_prices(rigs["stock-card"]).file[motion.BYTES] * 1000
    low, high = np.quantile(drawn, (0.05, 0.95))
    assert (low, high) == pytest.approx((1.75 * 0.9, 1.75 * 1.1), rel=2e-3)


def test_draws_are_the_same_each_time(rigs):
    rig = rigs["fast-spinning"]
    first = drawn_prices(rig)
    again = drawn_prices.__wrapped__(rig)
    assert first is not again
    assert np.array_equal(first.file, again.file)
    assert np.array_equal(first.search_variance, again.search_variance)


def test_figures_stay_positive_however_wide_the_spread(rigs):
    from dataclasses import replace

    rig = rigs["fast-spinning"]
    wide = {
        name: replace(f, spread=0.2 if name == "rpm" else 1.0) for name, f in rig.figures.items()
    }
    drawn = drawn_prices(replace(rig, figures=wide))
    assert (drawn.file[motion.BYTES] > 0).all()
    assert np.isfinite(drawn.file).all() and (drawn.file_variance >= 0).all()


def test_a_rig_changed_in_one_figure_is_priced_anew(rigs):
    rig = rigs["fast-card"]
    changed = rig.with_values({"byte": 0.42})
    assert nominal_prices(changed).file[motion.BYTES].sum() == pytest.approx(
        2 * nominal_prices(rig).file[motion.BYTES].sum()
    )
