import dataclasses
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.geometry import TRACKS_35
from loadglass.bench.reading import BadReading
from loadglass.bench.record import FIELDS, from_record, pack_places, to_record, unpack_places
from loadglass.timing.motion import pack_blocks
from loadglass.timing.places import FilePlaces, ImagePlaces


def place(blocks=(0, 1), header=357, directory=(358,), sectors=1, last_bytes=9, loadable=True):
    file = FilePlaces(0, sectors, loadable, last_bytes, pack_blocks(blocks))
    return ImagePlaces(TRACKS_35, header, directory, (file,))


@pytest.mark.parametrize("slot", [0, 3, None])
def test_a_reading_comes_back_from_json_as_it_was(read, slot):
    reading = dataclasses.replace(read(slot, 5.25), id=12, remark="Kälte im Klub")
    assert from_record(json.loads(json.dumps(to_record(reading)))) == reading


def test_any_file_name_comes_back(reading):
    timed = dataclasses.replace(reading.timed, path="/srv/\udcff\x1b[2J.d64")
    reading = dataclasses.replace(reading, timed=timed, id=1)
    line = json.dumps(to_record(reading))
    assert line.isascii()
    assert from_record(json.loads(line)) == reading


def test_what_a_newer_loadglass_wrote_is_kept(reading):
    record = to_record(dataclasses.replace(reading, id=3)) | {"humidity": [1, 2]}
    assert to_record(from_record(record)) == record


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("id", 0),
        ("id", True),
        ("id", 10**300),
        ("when", "gestern"),
        ("when", 5),
        ("path", None),
        ("sha256", "0" * 63),
        ("sha256", "g" * 64),
        ("what", "half"),
        ("what", []),
        ("what", "all"),
        ("slot", None),
        ("slot", -1),
        ("slot", 1.5),
        ("file_hex", "zz"),
        ("rig", {}),
        ("seconds", 0),
        ("seconds", -3),
        ("seconds", "9"),
        ("seconds", float("nan")),
        ("seconds", 10**400),
        ("seconds", 9000),
        ("predicted", float("inf")),
        ("low", None),
        ("places", "AAAA"),
        ("places", "ö"),
    ],
)
def test_every_field_is_checked(reading, field, value):
    record = to_record(dataclasses.replace(reading, id=3)) | {field: value}
    with pytest.raises(BadReading) as caught:
        from_record(record)
    assert str(caught.value).isprintable() and len(str(caught.value)) < 200


def test_every_needed_field_is_missed_by_name(reading):
    whole = to_record(dataclasses.replace(reading, id=3))
    for name, kind in FIELDS.items():
        record = {field: value for field, value in whole.items() if field != name}
        if kind.needed:
            with pytest.raises(BadReading, match=f"it has no {name}"):
                from_record(record)
        elif name != "slot":
            assert from_record(record).id == 3


@pytest.mark.parametrize(
    "broken",
    [
        place(blocks=()),
        place(blocks=(0, 683)),
        place(header=683),
        place(directory=(700,)),
        place(sectors=2),
        place(sectors=0),
        place(last_bytes=255),
    ],
)
def test_places_off_the_disk_are_refused(broken):
    with pytest.raises(BadReading, match="its places"):
        unpack_places(pack_places(broken), "file")


def test_places_must_go_with_what_was_timed():
    one, text = place(), place(loadable=False)
    two = dataclasses.replace(one, files=one.files * 2)
    assert unpack_places(pack_places(two), "all") == two
    assert unpack_places(pack_places(text), "file") == text
    for places, what in ((two, "file"), (two, "start"), (text, "all")):
        with pytest.raises(BadReading):
            unpack_places(pack_places(places), what)


@given(st.text(max_size=80))
def test_no_text_as_places_breaks_it(text):
    with pytest.raises(BadReading):
        unpack_places(text, "file")
