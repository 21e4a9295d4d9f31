from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pytest

from formats.compose import NewFile, compose
from formats.geometry import TRACKS_80
from loadglass.bench.calibrate import CannotCalibrate, calibrate, evidence_for, usual_name
from loadglass.bench.log import BenchLog
from loadglass.bench.reading import THUMB_S, take_reading, timed_file, timed_start
from loadglass.opened import open_and_audit
from loadglass.timing.rig import RigError, RigFile
from loadglass.timing.rig_files import BUILT_IN, built_in_rigs, to_toml
from tests.examples import few_or_all

RIGS = built_in_rigs()
SLOTS = (3, 0, 2, 1)  # 120, 60, 20 and 8 blocks


def made(opened, base, truth, slots, errors_s):
    """Readings of slots as a rig with these figures would give them, a thumb's error added."""
    hidden = base.with_values(truth)
    for number, (slot, error) in enumerate(zip(slots, errors_s, strict=False), 1):
        timed = timed_file(opened, slot)
        seconds = timed.estimate(hidden).seconds + error
        yield replace(take_reading(timed, base, seconds), id=number)


@pytest.fixture
def readings_of(opened, tmp_path):
    def make(base, truth, slots=SLOTS, errors_s=(0.1, -0.15, 0.05, -0.05)):
        readings = [*made(opened, base, truth, slots, errors_s)]
        return BenchLog(tmp_path / "bench.jsonl").add(readings)

    return make


def test_two_readings_of_different_sizes_tell_byte_and_setup(readings_of):
    base = RIGS["fast-card"]
    done = calibrate(base, readings_of(base, {"byte": 0.24, "setup": 700}, slots=(3, 1)))
    assert done.fitted == ("byte", "setup")
    assert done.rig.value("byte") == pytest.approx(0.24, rel=0.03)
    assert done.rig.value("setup") == pytest.approx(700, abs=200)
    assert done.demerit_after < 0.5 * done.demerit_before
    for name, figure in base.figures.items():
        if name not in done.fitted:
            assert done.rig.value(name) == figure.value


@pytest.mark.parametrize("name", BUILT_IN)
def test_ranges_shrink_around_what_the_readings_say(readings_of, name):
    base = RIGS[name]
    done = calibrate(base, readings_of(base, {"byte": 1.04 * base.value("byte")}))
    for each in done.comparisons:
        assert each.after.low - 0.4 < each.reading.seconds < each.after.high + 0.4
        assert abs(each.off_s) < 0.45
    longest = done.comparisons[0]
    ranges = [each.high - each.low for each in (longest.before, longest.after)]
    assert ranges[1] < 0.8 * ranges[0]


def test_one_reading_tells_the_byte_time_alone(readings_of):
    base = RIGS["stock-card"]
    done = calibrate(base, readings_of(base, {"byte": 1.9}, slots=(3,)))
    assert done.fitted == ("byte",)
    assert done.rig.value("setup") == base.value("setup")
    assert done.rig.value("byte") == pytest.approx(1.9, rel=0.01)
    assert "one reading tells the byte time alone" in done.notes[0]


def test_loads_of_one_length_tell_the_byte_time_alone(readings_of):
    base = RIGS["stock-card"]
    done = calibrate(base, readings_of(base, {"byte": 1.9}, slots=(3, 3, 3)))
    assert done.fitted == ("byte",)
    assert "about one length" in done.notes[0]


def test_it_is_the_textbook_regression_where_loads_are_linear(opened, readings_of):
    """A card is linear in every figure: weighted draws of each one by itself must say the same."""
    base, rng = RIGS["fast-card"], np.random.default_rng(8)
    readings = readings_of(base, {"byte": 0.23, "setup": 1050}, slots=(3, 2))
    done = calibrate(base, readings)
    deviation = NormalDist().inv_cdf(0.95)
    drawn = {
        name: figure.value * (1 + figure.spread / deviation * rng.standard_normal(400_000))
        for name, figure in base.figures.items()
    }
    late = 150 * rng.standard_normal(400_000)  # the thumb that is always late

    def seconds(slot):
        blocks = timed_file(opened, slot).blocks
        sent = 254 * (blocks - 1) + 127
        once = drawn["command"] + drawn["setup"] + late + 2 * (drawn["scan"] + drawn["fetch"])
        each = drawn["block"] + drawn["fetch"]
        return (once + sent * drawn["byte"] + blocks * each) / 1000

    misfit = sum((seconds(r.timed.slot) - r.seconds) ** 2 / 0.2**2 for r in readings)
    weights = np.exp(-misfit / 2)
    for slot in SLOTS:
        estimate = timed_file(opened, slot).estimate(done.rig)
        mean = np.average(seconds(slot), weights=weights)
        spread = np.average((seconds(slot) - mean) ** 2, weights=weights) ** 0.5
        assert estimate.seconds == pytest.approx(mean, abs=0.03)
        assert estimate.high - estimate.low == pytest.approx(2 * deviation * spread, rel=0.35)


@pytest.mark.parametrize("name", BUILT_IN)
@pytest.mark.parametrize("wild", range(4))
def test_one_wild_reading_of_four_is_left_out_and_named(readings_of, name, wild):
    base = RIGS[name]
    readings = readings_of(base, {"byte": 1.03 * base.value("byte")})
    readings[wild] = replace(readings[wild], seconds=2.5 * readings[wild].seconds + 3)
    done = calibrate(base, readings)
    assert done.left_out == [readings[wild]]
    assert [each.left_out for each in done.comparisons] == [i == wild for i in range(4)]
    assert done.notes[0].startswith(f"reading {wild + 1} is left out: it took")
    calm = [abs(each.off_s) for each in done.comparisons if not each.left_out]
    assert max(calm) < 0.5


def wild(reading, rng):
    """A reading that is off by 3 s or more, either way; by three times the load at the most."""
    right = reading.seconds
    if right > 6 and rng.random() < 0.5:
        return replace(reading, seconds=rng.uniform(2, right - 3))
    return replace(reading, seconds=rng.uniform(right + 3, 3 * right + 3))


@few_or_all(4, 200)
@pytest.mark.parametrize("wrong", [0, 1, 2])
@pytest.mark.parametrize("name", ["fast-card", "stock-card"])
@pytest.mark.parametrize("unlike", [False, True])
def test_of_eight_readings_those_are_named_that_are_wild(opened, name, unlike, wrong, count):
    """Simulated: a rig drawn from the base's spreads or far from it, a thumb off by 0.2 s."""
    rng, base = np.random.default_rng(20 + wrong), RIGS[name]
    exactly = falsely = 0
    for _ in range(count):
        if unlike:
            truth = {
                "byte": base.value("byte") * rng.uniform(1.3, 2.2),
                "setup": base.value("setup") + rng.uniform(300, 1800),
            }
        else:
            deviations = {key: f.value * f.spread / 1.645 for key, f in base.figures.items()}
            truth = {
                key: max(rng.normal(base.value(key), deviation), 0)
                for key, deviation in deviations.items()
            }
        readings = [*made(opened, base, truth, 2 * SLOTS, rng.normal(0, THUMB_S, 8))]
        chosen = set(rng.choice(8, wrong, replace=False).tolist())
        readings = [wild(r, rng) if i in chosen else r for i, r in enumerate(readings)]
        done = calibrate(base, readings)
        named = {i for i, each in enumerate(done.comparisons) if each.left_out}
        exactly += named == chosen
        falsely += bool(named - chosen)
    assert falsely <= 0.01 * count
    assert exactly >= 0.95 * count


def test_both_of_two_wild_readings_are_named_in_sentences(readings_of):
    base = RIGS["fast-card"]
    readings = readings_of(base, {"byte": 0.22}, 2 * SLOTS, (0.1, -0.1, 0.2, 0, -0.2, 0.1, 0, 0.1))
    readings[1] = replace(readings[1], seconds=19.0)
    readings[4] = replace(readings[4], seconds=3.0)
    done = calibrate(base, readings)
    assert done.left_out == [readings[1], readings[4]]
    assert [note.partition(":")[0] for note in done.notes] == [
        "reading 2 is left out",
        "reading 5 is left out",
    ]


def test_of_five_readings_no_two_are_left_out(readings_of):
    base = RIGS["fast-card"]
    readings = readings_of(base, {}, (*SLOTS, 3), (0, 9, 0.1, 7, 0))
    done = calibrate(base, readings)
    assert done.left_out == []
    assert any("do not go together" in note for note in done.notes)


def test_of_three_readings_none_is_left_out_but_it_is_said(readings_of):
    base = RIGS["fast-card"]
    done = calibrate(base, readings_of(base, {}, slots=(3, 0, 2), errors_s=(0, 9, 0)))
    assert done.left_out == []
    assert any("do not go together" in note for note in done.notes)
    assert done.comparisons[1].after.high - done.comparisons[1].after.low > 4


def test_a_rig_unlike_its_base_is_fitted_from_the_readings_alone(readings_of):
    base = RIGS["fast-card"]
    done = calibrate(base, readings_of(base, {"byte": 0.55, "setup": 2500}))
    assert done.rig.value("byte") == pytest.approx(0.55, rel=0.03)
    assert done.rig.value("setup") == pytest.approx(2500, rel=0.15)
    assert done.left_out == []
    assert any("outside what fast-card allows" in note for note in done.notes)


def test_a_setup_is_never_less_than_nothing(readings_of):
    base = RIGS["stock-card"]
    done = calibrate(base, readings_of(base, {"command": 0}, errors_s=(-0.3,) * 4))
    assert done.rig.value("setup") == 0
    assert done.comparisons[0].off_s == pytest.approx(0, abs=0.4)


def test_on_a_turning_disk_the_byte_time_hides(readings_of):
    base = RIGS["fast-spinning"]
    done = calibrate(base, readings_of(base, {}))
    assert any("hides in the wait" in note for note in done.notes)


# --- refused ------------------------------------------------------------------------------------


def test_a_stock_byte_under_the_limit_of_the_bus_is_refused(opened):
    """The serial bus's timing table (programmer's reference, from memory): 0.8 ms at the best."""
    stock, fast = RIGS["stock-card"], RIGS["fast-card"]
    readings = [
        take_reading(timed, stock, timed.estimate(fast).seconds)
        for timed in (timed_file(opened, slot) for slot in SLOTS)
    ]
    with pytest.raises(
        CannotCalibrate, match=r"cannot do it in less than 0\.8 ms .* the cartridge"
    ):
        calibrate(stock, readings)


def test_longer_loads_that_took_less_time_are_refused(readings_of):
    base = RIGS["fast-card"]
    readings = readings_of(base, {}, slots=(3, 1), errors_s=(-6, 6))
    with pytest.raises(CannotCalibrate, match="less than no time"):
        calibrate(base, readings)


def test_without_readings_nothing_is_fitted():
    with pytest.raises(CannotCalibrate, match="there are no readings of fast-card"):
        calibrate(RIGS["fast-card"], [])


def test_an_image_that_the_rig_does_not_mount_is_named(tmp_path):
    path = tmp_path / "gross.d81"
    path.write_bytes(compose(b"GROSS", [NewFile(b"EINS", b"\1\10" * 300)], TRACKS_80))
    timed = timed_start(open_and_audit(str(path)))
    with pytest.raises(CannotCalibrate, match="80-track image, which stock-spinning does not"):
        calibrate(RIGS["stock-spinning"], [take_reading(timed, RIGS["stock-card"], 2)])


@pytest.mark.parametrize("name", ["fast-card", "Mein Modul", "../rig", "x" * 41])
def test_names_that_a_rig_cannot_have_are_refused(readings_of, name):
    with pytest.raises(RigError):
        calibrate(RIGS["fast-card"], readings_of(RIGS["fast-card"], {}), name)


# --- the rig as it is written -------------------------------------------------------------------


@pytest.mark.parametrize("name", BUILT_IN)
def test_the_rig_can_be_written_and_read_again(readings_of, name):
    base = RIGS[name]
    done = calibrate(base, readings_of(base, {}), "klubmodul")
    again = RigFile.parse(to_toml(done.rig).encode(), "klubmodul.toml").rig(None)
    assert again.figures == done.rig.figures
    assert (again.name, again.drive, again.loader) == ("klubmodul", base.drive, base.loader)
    assert "4 readings of 8 to 120 blocks, calibrated 20" in again.figures["byte"].source
    assert base.name in again.figures["byte"].source


def test_calibrating_again_says_what_is_newest_and_does_not_grow(readings_of):
    base = RIGS["fast-card"]
    assert usual_name(base) == "my-fast-card"
    rig = calibrate(base, readings_of(base, {"byte": 0.22})).rig
    assert usual_name(rig) == "my-fast-card"
    for _ in range(5):
        rig = calibrate(rig, readings_of(rig, {})).rig
    assert rig.name == "my-fast-card" and rig.based_on == "fast-card"
    assert rig.description.count("calibrated") == 1
    assert all(len(figure.source) < 200 for figure in rig.figures.values())
    assert rig.value("byte") == pytest.approx(0.22, rel=0.05)


def test_calibrated_anew_from_all_readings_it_is_better_known(opened, readings_of):
    base = RIGS["fast-card"]
    first = readings_of(base, {"byte": 0.23}, slots=(3, 1))
    rig = calibrate(base, first).rig
    again = [*made(opened, rig, {"byte": 0.23, "setup": 900}, SLOTS, (0, 0.1, 0.1, -0.1))]
    others = [*made(opened, RIGS["stock-card"], {}, SLOTS, (0, 0, 0, 0))]
    rigs = {**RIGS, rig.name: rig}
    found, readings = evidence_for(rig, rigs, [*first, *again, *others])
    assert found == base and readings == [*first, *again]
    anew = calibrate(found, readings)
    assert anew.rig.name == rig.name
    assert anew.rig.figures["byte"].spread < rig.figures["byte"].spread
    assert evidence_for(base, rigs, [*first, *again]) == (base, first)


def test_a_rig_that_was_written_by_hand_is_its_own_base(readings_of):
    base = RIGS["fast-card"]
    mine = replace(base, name="klubmodul", based_on="fast-card", description="like fast-card")
    rigs = {**RIGS, mine.name: mine}
    assert evidence_for(mine, rigs, readings_of(base, {})) == (mine, [])


def test_readings_by_the_hundred_agree_on_the_mean(readings_of):
    base = RIGS["stock-spinning"]
    errors = np.random.default_rng(3).normal(0, 0.2, 400)
    readings = readings_of(base, {"byte": 2.1}, slots=SLOTS * 100, errors_s=errors)
    done = calibrate(base, readings)
    assert abs(np.mean([each.off_s for each in done.comparisons])) < 0.2
