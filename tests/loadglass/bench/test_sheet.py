import csv
import io
from contextlib import suppress
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.errors import LoadglassError
from loadglass.bench.log import BenchLog
from loadglass.bench.sheet import COLUMNS, BadSheet, from_csv, to_csv
from loadglass.timing.rig_files import load_rigs

RIGS = load_rigs()


def bring(text, known=()):
    return from_csv(text.encode(), RIGS, known)


@pytest.fixture
def kept(log, read):
    return log.add([read(0, 4.6), read(3, 92.4, "stock-card"), read(None, 9.9)])


def test_what_goes_out_comes_in_again_without_the_image(kept, image_path):
    text = to_csv(kept)
    image_path.unlink()
    contents = bring(text)
    assert contents.problems == ()
    assert [replace(r, id=i) for i, r in enumerate(contents.readings, 1)] == kept


def test_a_row_that_the_log_has_is_not_taken_twice(kept, tmp_path):
    contents = bring(to_csv(kept), kept[:2])
    assert contents.known == 2
    assert [reading.seconds for reading in contents.readings] == [9.9]
    other = BenchLog(tmp_path / "other" / "bench.jsonl")
    other.add(contents.readings)
    assert bring(to_csv(kept[2:]), other.read().readings.values()).readings == ()


def test_the_columns_can_be_read_by_a_spreadsheet(kept):
    table = list(csv.reader(io.StringIO(to_csv(kept))))
    assert tuple(table[0]) == COLUMNS
    row = dict(zip(table[0], table[2], strict=True))
    assert (row["file"], row["rig"], row["seconds"]) == ("HAFENRUNDFAHRT", "stock-card", "92.4")


def test_a_list_by_hand_needs_three_columns(image_path):
    contents = bring(
        f"path,rig,seconds\n{image_path},fast-card,4.7\n\n{image_path},fast-card,4.8\n"
    )
    assert contents.problems == ()
    assert [reading.timed.what for reading in contents.readings] == ["start", "start"]
    again = bring(f"path,rig,seconds\n{image_path},fast-card,4.7\n", contents.readings)
    assert (again.readings, again.known) == ((), 1)


@pytest.mark.parametrize(
    ("cells", "what", "slot"),
    [
        ("TIDENUHR,,", "file", 2),
        ("tidenuhr,,", "file", 2),
        (",,3", "file", 3),
        (",start,", "start", 0),
        (",all,", "all", None),
        (",,", "start", 0),
    ],
)
def test_what_was_timed_is_named_in_a_list_by_hand(image_path, cells, what, slot):
    text = f"path,file,what,slot,rig,seconds,remark\n{image_path},{cells},fast-card,4.7,kalt\n"
    contents = bring(text)
    assert contents.problems == ()
    reading = contents.readings[0]
    assert (reading.timed.what, reading.timed.slot, reading.remark) == (what, slot, "kalt")


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_spreadsheets_of_other_countries(image_path, delimiter):
    rows = [
        ("Seconds", "Rig", "Path"),
        ("4,7" if delimiter != "," else "4.7", "fast-card", image_path),
    ]
    text = "\ufeff" + "".join(delimiter.join(map(str, row)) + "\r\n" for row in rows)
    assert bring(text).readings[0].seconds == 4.7


def test_every_bad_row_gets_a_sentence_with_its_number(image_path):
    rows = [
        f"{image_path},,start,fast-card,4.7,",
        f"{image_path},,start,fast-card,0,",
        f"{image_path},,start,fast-card,9000,",
        f"{image_path},,start,fast-cart,4.7,",
        "no-such.d64,,start,fast-card,4.7,",
        f"{image_path},SEEKUH,,fast-card,4.7,",
        f"{image_path},,half,fast-card,4.7,",
        f"{image_path},,start,,4.7,",
        f"{image_path},,start,fast-card,4.7,yesterday",
        f"{image_path},,start,fast-card,4.7,,left over",
        f"{image_path},☃,,fast-card,4.7,",
    ]
    contents = bring("path,file,what,rig,seconds,when\n" + "\n".join(rows))
    assert len(contents.readings) == 1
    expected = [
        "row 3: 0 s is no reading",
        "row 4: 9,000 s are more than two hours",
        'row 5: there is no rig "fast-cart"; the rigs are stock-spinning',
        "row 6: there is no file no-such.d64",
        'row 7: there is no file "SEEKUH" on',
        'row 8: its what is "half"',
        "row 9: its rig is empty",
        'row 10: "yesterday" is no time of day',
        "row 11: it has more cells than the first row",
        "row 12: the character",
    ]
    assert len(contents.problems) == len(expected)
    for says, start in zip(contents.problems, expected, strict=True):
        assert says.startswith(start)
        assert says.isprintable()


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "lacks path"),
        (b"\n\n", "lacks path"),
        (b"path,rig\n", "lacks seconds"),
        (b"path,rig,seconds,humidity\n", 'has "humidity"'),
        (b"path,rig,seconds,rig\n", "has rig twice"),
        (b"path,rig,seconds\n\xff\xfe\n", "not UTF-8"),
        (b'path,rig,seconds\n"' + b"x" * 200_000, "cannot be read"),
    ],
)
def test_wrong_columns_are_one_sentence(data, says):
    with pytest.raises(BadSheet, match=says):
        from_csv(data, RIGS)


@pytest.mark.parametrize(
    ("column", "cell"),
    [("places", "AAAA"), ("slot", "x"), ("predicted", "much"), ("sha256", "12"), ("low", "nan")],
)
def test_an_exported_row_spoilt_by_hand_is_a_problem(kept, column, cell):
    table = list(csv.DictReader(io.StringIO(to_csv(kept[:1]))))
    table[0][column] = cell
    text = io.StringIO()
    writer = csv.DictWriter(text, COLUMNS)
    writer.writeheader()
    writer.writerows(table)
    contents = bring(text.getvalue())
    assert contents.readings == ()
    assert contents.problems[0].startswith("row 2: ")


def test_no_cell_becomes_a_formula(reading):
    timed = replace(reading.timed, title="=2+3", file="@NEBEL", path="/tmp/\x1b[2J\udcff.d64")
    spiced = replace(reading, id=1, timed=timed, remark="'=kalt")
    text = to_csv([spiced])
    assert text.isprintable() or set(filter(lambda c: not c.isprintable(), text)) == {"\r", "\n"}
    cells = next(csv.DictReader(io.StringIO(text)))
    assert not any(cell.startswith(("=", "+", "-", "@")) for cell in cells.values())
    again = bring(text).readings[0]
    assert (again.timed.title, again.timed.file, again.remark) == ("=2+3", "@NEBEL", "'=kalt")


@given(st.binary(max_size=300))
def test_any_bytes_give_readings_or_sentences(data):
    for start in (b"", b"path,rig,seconds\n"):
        with suppress(LoadglassError):
            assert from_csv(start + data, RIGS).readings == ()
