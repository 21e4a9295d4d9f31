from datetime import datetime, timedelta
from math import inf, nan

import pytest

from formats.compose import NewFile, compose
from formats.errors import LoadglassError
from formats.geometry import TRACKS_80
from loadglass.bench.reading import (
    BadReading,
    checked_seconds,
    parse_seconds,
    take_reading,
    timed_all,
    timed_file,
    timed_start,
)
from loadglass.opened import open_and_audit
from loadglass.timing.estimate import clock_image
from loadglass.timing.rig_files import built_in_rigs

RIGS = built_in_rigs()


def test_a_reading_says_what_the_clock_says(opened, rig):
    clocking = clock_image(opened.audit, [rig])
    for timed, estimate in (
        (timed_file(opened, 2), clocking.files[2][rig.name]),
        (timed_start(opened), clocking.start[rig.name]),
        (timed_all(opened), clocking.all[rig.name]),
    ):
        reading = take_reading(timed, rig, 5)
        assert (reading.predicted, reading.low, reading.high) == pytest.approx(
            (estimate.seconds, estimate.low, estimate.high)
        )


def test_what_was_timed_is_kept_in_words_too(opened):
    timed = timed_file(opened, 2)
    assert (timed.title, timed.file, timed.slot) == ("GRAUHAVEN 1", "TIDENUHR", 2)
    assert timed.file_hex == b"TIDENUHR".hex()
    assert timed.sha256 == opened.sha256
    assert timed.blocks == 20
    assert timed_start(opened).slot == 0
    assert timed_all(opened).slot is None
    assert timed_all(opened).blocks == 60 + 8 + 20 + 120


def test_a_text_file_can_be_timed_but_does_not_count_among_all(opened, rig):
    assert take_reading(timed_file(opened, 4), rig, 1.2).predicted < 1.5


def test_when_is_now_with_its_offset(reading, opened, rig):
    assert reading.when == "2025-03-09T20:15:00+01:00"
    taken = datetime.fromisoformat(take_reading(timed_start(opened), rig, 5).when)
    assert taken.utcoffset() is not None
    assert abs(datetime.now().astimezone() - taken) < timedelta(minutes=1)


@pytest.mark.parametrize(
    ("typed", "seconds"),
    [
        ("92.4", 92.4),
        ("92,4", 92.4),
        (" 92 s ", 92),
        ("1:32.4", 92.4),
        ("0:59,9", 59.9),
        (".5", 0.5),
        ("1e2", 100),
    ],
)
def test_seconds_as_people_type_them(typed, seconds):
    assert parse_seconds(typed) == pytest.approx(seconds)


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("0", "0 s is no reading"),
        ("0:00", "0 s is no reading"),
        ("-4", "is no reading"),
        ("nan", "is no reading"),
        ("inf", "is no reading"),
        ("7201", "more than two hours"),
        ("999:00", "more than two hours"),
        ("1:75", "below 60"),
        ("", "write seconds like"),
        ("\x1b[2J", "write seconds like"),
        ("a while", "write seconds like"),
    ],
)
def test_what_no_stopwatch_shows_is_refused_in_a_sentence(typed, says):
    with pytest.raises(BadReading, match=says) as caught:
        parse_seconds(typed)
    assert str(caught.value).isprintable()


@pytest.mark.parametrize("seconds", [0, -0.1, nan, inf, 7200.1])
def test_seconds_from_elsewhere_are_checked_too(opened, rig, seconds):
    with pytest.raises(BadReading):
        take_reading(timed_start(opened), rig, seconds)
    assert checked_seconds(7200) == 7200


def test_a_rig_that_does_not_mount_the_image_is_refused(tmp_path):
    path = tmp_path / "gross.d81"
    path.write_bytes(compose(b"GROSS", [NewFile(b"EINS", b"\1\10" * 300)], TRACKS_80))
    timed = timed_start(open_and_audit(str(path)))
    assert take_reading(timed, RIGS["stock-card"], 2).predicted > 0
    with pytest.raises(BadReading, match="does not mount 80-track images"):
        take_reading(timed, RIGS["stock-spinning"], 2)


def test_a_damaged_file_has_no_time(image_path):
    image = bytearray(image_path.read_bytes())
    first = open_and_audit(str(image_path)).audit.by_slot[1].chain.blocks[0]
    image[first * 256 : first * 256 + 2] = bytes((77, 0))
    image_path.write_bytes(image)
    with pytest.raises(BadReading, match='"LOTSE" is damaged and cannot be timed: block'):
        timed_file(open_and_audit(str(image_path)), 1)


def test_an_image_without_programs_has_nothing_to_time(tmp_path):
    path = tmp_path / "leer.d64"
    path.write_bytes(compose(b"LEER", []))
    for timed in (timed_start, timed_all):
        with pytest.raises(LoadglassError, match=r"no program on .*leer\.d64 can be loaded"):
            timed(open_and_audit(str(path)))
