"""`loadglass bench`: from a stopwatch to a calibrated rig, and what to do when something is odd."""

from __future__ import annotations

import csv
import io
import random
import subprocess
import sys
from pathlib import Path

import pytest

from formats.compose import NewFile, compose
from loadglass.opened import open_and_audit
from loadglass.timing.estimate import clock_image
from loadglass.timing.rig import Rig
from loadglass.timing.rig_files import built_in_rigs, load_rigs
from tests.tui import images
from tests.tui.calling import call
from tui.readings import Prediction

KEYS = ["id", "when", "path", "file", "rig", "seconds", "predicted", "low", "high"]
FAST = built_in_rigs()["fast-card"]
MINE = FAST.with_values({"setup": 1300.0, "byte": 0.26})
"""A cartridge as somebody might have built it."""
SIZES = {b"SHORT": 5, b"MIDDLING": 60, b"LONG": 150, b"LONGEST": 220}


@pytest.fixture
def disk(tmp_path: Path) -> Path:
    files = [
        NewFile(name, b"\x01\x08" + bytes(range(1, 255)) * blocks) for name, blocks in SIZES.items()
    ]
    return images.put(tmp_path, "harbour.d64", compose(b"HARBOUR MILES", files))


def true_seconds(disk: Path, rig: Rig) -> dict[str, float]:
    """What the files take on a rig, by name."""
    audit = open_and_audit(disk).audit
    clocking = clock_image(audit, [rig])
    found = {}
    for file in audit.files:
        times = clocking.files[file.entry.slot]
        assert times is not None
        estimate = times[rig.name]
        assert estimate is not None
        found[file.entry.text] = estimate.seconds
    return found


def take_readings(disk: Path) -> None:
    thumb = random.Random(7)
    for name, seconds in true_seconds(disk, MINE).items():
        reading = f"{seconds + thumb.gauss(0, 0.1):.1f}"
        added = call("bench", "add", str(disk), name, "--rig", "fast-card", "--seconds", reading)
        assert added.status == 0, added.err


def predicted(disk: Path, name: str, rig: str) -> dict[str, float]:
    (record,) = call("clock", str(disk), name, "--rig", rig, "--json").records
    times: dict[str, float] = record["files"][0]["times"][rig]
    return times


def test_from_readings_to_a_rig_that_predicts_what_was_not_timed(disk: Path) -> None:
    take_readings(disk)
    called = call("bench", "calibrate", "fast-card")
    assert called.status == 0, called.err
    assert "my-fast-card: fast-card fitted to 4 readings" in called.out
    assert "use it as --rig my-fast-card" in called.out
    other = images.put(disk.parent, "sound.d64", images.sound())
    (true, before, now) = (
        true_seconds(other, MINE)["PICTURE"],
        predicted(other, "picture", "fast-card"),
        predicted(other, "picture", "my-fast-card"),
    )
    assert abs(now["seconds"] - true) < 0.15 < abs(before["seconds"] - true)
    assert now["low"] - 0.05 <= true <= now["high"] + 0.05
    assert now["high"] - now["low"] < (before["high"] - before["low"]) * 0.6


def test_calibrate_says_what_it_did(disk: Path, own_home: Path) -> None:
    take_readings(disk)
    call("bench", "add", str(disk), "middling", "--rig", "fast-card", "--seconds", "1:31")
    called = call("bench", "calibrate", "fast-card", "--name", "blue-cartridge")
    assert called.status == 0, called.err
    for part in ("setup", "byte", "demerit figure", "reading 5 is left out", "left out", "90 %"):
        assert part in called.out
    assert "x" in called.out and "│" in called.out
    assert (own_home / "rigs" / "blue-cartridge.toml").exists()
    byte = load_rigs(own_home / "rigs").rigs["blue-cartridge"].figures["byte"]
    assert byte.value == pytest.approx(0.26, rel=0.03)
    assert byte.spread < FAST.figures["byte"].spread


def test_calibrate_json(disk: Path, own_home: Path) -> None:
    take_readings(disk)
    (record,) = call("bench", "calibrate", "fast-card", "--dry-run", "--json").records
    assert (record["name"], record["base"], record["path"]) == ("my-fast-card", "fast-card", None)
    assert record["fitted"] == ["byte", "setup"]
    assert record["figures"]["byte"]["before"] == {"value": 0.21, "spread": 0.1}
    assert record["demerit"]["now"] < record["demerit"]["before"]
    assert [each["id"] for each in record["readings"]] == [1, 2, 3, 4]
    for each in record["readings"]:
        assert each["off"] == pytest.approx(each["seconds"] - each["now"]["seconds"], abs=1e-5)
    assert not (own_home / "rigs").exists()


def test_a_rig_of_ones_own_is_not_overwritten_unasked(disk: Path, own_home: Path) -> None:
    take_readings(disk)
    call("rigs", "new", "my-fast-card", "--from", "fast-card")
    path = own_home / "rigs" / "my-fast-card.toml"
    before = path.read_bytes()
    refused = call("bench", "calibrate", "fast-card")
    assert refused.status == 1 and "is there already" in refused.err
    assert "--overwrite" in refused.err and path.read_bytes() == before
    assert call("bench", "calibrate", "fast-card", "--overwrite").status == 0
    assert b"calibrated" in path.read_bytes()


def test_a_name_that_another_file_has_is_not_taken_twice(disk: Path, own_home: Path) -> None:
    take_readings(disk)
    call("rigs", "new", "my-fast-card", "--from", "fast-card")
    (own_home / "rigs" / "my-fast-card.toml").rename(own_home / "rigs" / "old.toml")
    refused = call("bench", "calibrate", "fast-card", "--overwrite")
    assert refused.status == 1 and "in another file" in refused.err
    assert [path.name for path in (own_home / "rigs").iterdir()] == ["old.toml"]


@pytest.mark.parametrize(
    ("arguments", "status", "says"),
    [
        (["calibrate", "fast-card"], 1, "there are no readings of fast-card"),
        (["calibrate", "slow-card"], 2, 'there is no rig "slow-card"'),
        (["calibrate", "fast-card", "--name", "fast-card"], 2, "a rig we bring"),
        (["calibrate", "fast-card", "--name", "My Rig"], 2, "is no name for a rig"),
    ],
)
def test_calibrate_refuses_in_a_sentence(arguments: list[str], status: int, says: str) -> None:
    called = call("bench", *arguments)
    assert (called.status, called.out) == (status, "")
    assert says in called.err and called.err.count("\n") == 1


def test_list_json_has_the_keys_of_the_contract(disk: Path) -> None:
    path = str(disk)
    call("bench", "add", path, "mid*", "--rig", "fast-card", "--seconds", "1:32.4")
    call("bench", "add", path, "--rig", "stock-card", "--seconds", "3,5", "--remark", "new card")
    call("bench", "add", path, "--all", "--rig", "fast-card", "--seconds", "40 s")
    called = call("bench", "list", "--json")
    assert called.status == 0
    first, second, third = called.records
    assert [key for key in first if key in KEYS] == KEYS
    assert (first["id"], first["path"], first["file"]) == (1, path, "MIDDLING")
    assert (first["rig"], first["seconds"], first["what"]) == ("fast-card", 92.4, "file")
    assert first["low"] < first["predicted"] < first["high"] < first["seconds"]
    assert (second["file"], second["what"], second["remark"]) == ("SHORT", "start", "new card")
    assert (third["file"], third["what"], third["seconds"]) == (None, "all", 40.0)
    (only,) = call("bench", "list", "--rig", "stock-card", "--json").records
    assert only == second


def test_list_marks_what_is_outside_the_range(disk: Path) -> None:
    seconds = predicted(disk, "long", "fast-card")["seconds"]
    for reading in (seconds, seconds * 2):
        call("bench", "add", str(disk), "long", "--rig", "fast-card", "--seconds", f"{reading:.1f}")
    called = call("bench", "list")
    inside, outside = called.out.splitlines()[1:3]
    assert " in" in inside and "OUT" in outside
    assert '"LONG"' in inside and "+0.0 s" in inside
    assert "2 readings, 1 outside the range" in called.out


def test_an_empty_log_says_how_to_begin() -> None:
    called = call("bench", "list")
    assert (called.status, called.out) == (0, "")
    assert "there are no readings yet" in called.err
    assert call("bench", "list", "--json").out == ""


def test_remove_and_what_is_not_there(disk: Path) -> None:
    call("bench", "add", str(disk), "--rig", "fast-card", "--seconds", "2.5")
    removed = call("bench", "remove", "1", "--json")
    assert removed.status == 0 and removed.records[0]["id"] == 1
    assert call("bench", "list", "--json").records == []
    again = call("bench", "remove", "1")
    assert again.status == 1 and "there is no reading 1" in again.err


def test_csv_goes_out_and_comes_in_again(
    disk: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    take_readings(disk)
    sheet = tmp_path / "readings.csv"
    sheet.write_text(call("bench", "list", "--csv").out)
    rows = list(csv.DictReader(io.StringIO(sheet.read_text())))
    assert [row["file"] for row in rows] == [name.decode() for name in SIZES]
    disk.unlink()  # the places of the blocks went along
    known = call("bench", "import", str(sheet))
    assert "0 readings added; 4 rows in the log already" in known.out
    monkeypatch.setenv("LOADGLASS_HOME", str(tmp_path / "other"))
    dry = call("bench", "import", str(sheet), "--dry-run")
    assert dry.status == 0 and "4 readings would be added" in dry.out
    assert call("bench", "list", "--json").records == []
    assert len(call("bench", "import", str(sheet), "--json").records) == 4
    assert call("bench", "calibrate", "fast-card").status == 0


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("path,rig\nx.d64,fast-card\n", "the CSV file lacks seconds"),
        ("path,rig,seconds\n{disk},fast-card,0\n", "row 2: 0 s is no reading"),
        ("path,rig,seconds\n{disk},fast-card,12\n{disk},slow,9\n", 'row 3: there is no rig "slow"'),
        ("path,rig,seconds\nnowhere.d64,fast-card,12\n", "row 2: "),
    ],
)
def test_a_wrong_sheet_adds_nothing(disk: Path, tmp_path: Path, text: str, says: str) -> None:
    sheet = tmp_path / "readings.csv"
    sheet.write_text(text.format(disk=disk))
    called = call("bench", "import", str(sheet))
    assert called.status == 1 and says in called.err
    assert call("bench", "list", "--json").records == []


def test_a_sheet_that_is_not_there(tmp_path: Path) -> None:
    called = call("bench", "import", str(tmp_path / "none.csv"))
    assert called.status == 1 and "cannot read" in called.err


@pytest.mark.parametrize(
    ("arguments", "status", "says"),
    [
        (["--rig", "fast-card", "--seconds", "0"], 2, "0 s is no reading"),
        (["--rig", "fast-card", "--seconds", "3:00:00"], 2, "is no reading"),
        (["--rig", "fast-card", "--seconds", "90000"], 2, "more than two hours"),
        (["--rig", "fast-card", "--seconds", "soon"], 2, "write seconds like 92.4, or 1:32.4"),
        (["--rig", "slow-card", "--seconds", "3"], 2, 'there is no rig "slow-card"'),
        (["tides", "--rig", "fast-card", "--seconds", "3"], 2, 'there is no file "tides"'),
        (["long", "--all", "--rig", "fast-card", "--seconds", "3"], 2, "not both"),
    ],
)
def test_add_refuses_in_a_sentence(
    disk: Path, arguments: list[str], status: int, says: str
) -> None:
    called = call("bench", "add", str(disk), *arguments)
    assert (called.status, called.out) == (status, "")
    assert says in called.err
    assert call("bench", "list", "--json").records == []


def test_a_damaged_file_cannot_be_timed(tmp_path: Path) -> None:
    path = images.put(tmp_path, "looped.d64", images.looped())
    called = call("bench", "add", str(path), "picture", "--rig", "fast-card", "--seconds", "3")
    assert called.status == 1 and '"PICTURE" is damaged' in called.err


def test_a_reading_far_off_gets_its_diagnosis(disk: Path) -> None:
    stock = predicted(disk, "long", "stock-card")["seconds"]
    called = call(
        "bench", "add", str(disk), "long", "--rig", "fast-card", "--seconds", f"{stock:.1f}"
    )
    assert "the cartridge may not be engaged" in called.out
    assert "switch the power of machine and drive off" in called.out
    fine = predicted(disk, "long", "fast-card")["seconds"]
    (record,) = call(
        *("bench", "add", str(disk), "long", "--rig", "fast-card"),
        *("--seconds", f"{fine:.1f}", "--json"),
    ).records
    assert record["diagnosis"] == []


def test_a_line_spoilt_by_hand_is_said_and_nothing_else_lost(disk: Path, own_home: Path) -> None:
    take_readings(disk)
    log = own_home / "bench.jsonl"
    lines = log.read_text().splitlines(keepends=True)
    lines[1] = "oops\n"
    log.write_text("".join(lines))
    called = call("bench", "list", "--json")
    assert [record["id"] for record in called.records] == [1, 3, 4]
    assert "line 2" in called.err


def test_hung_names_the_block_in_flight(disk: Path) -> None:
    (record,) = call("bench", "hung", str(disk), "long", "--bytes", "1000", "--json").records
    chain = open_and_audit(disk).audit.by_slot[2].chain.blocks
    places = [open_and_audit(disk).image.geometry.place(block) for block in chain[2:5]]
    assert record["block"] == 4  # three blocks of 254 bytes are 762
    for key, place in zip(("before", "place", "after"), places, strict=True):
        assert record[key] == {"track": place.track, "sector": place.sector}
    assert record["addresses"] == [0x0801 + 762 - 2, 0x0801 + 1016 - 3]
    text = call("bench", "hung", str(disk), "long", "--address", "$0BE7").out
    assert f"at {places[1]}, was on its way" in text
    assert "switch the power of machine and drive off" in text
    same = call("bench", "hung", str(disk), "long", "--address", "03047").out
    assert same == text


def test_hung_on_a_broken_chain_says_so(tmp_path: Path) -> None:
    path = images.put(tmp_path, "looped.d64", images.looped())
    called = call("bench", "hung", str(path), "picture", "--bytes", "300")
    assert called.status == 1
    assert "comes back" in called.out or "loop" in called.out


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--address", "C000"], "is outside"),
        (["--address", "hello"], "is no address"),
        (["--bytes", "1000000"], "cannot have arrived"),
        ([], "one of the arguments --address --bytes is required"),
    ],
)
def test_hung_refuses_in_a_sentence(disk: Path, arguments: list[str], says: str) -> None:
    called = call("bench", "hung", str(disk), "long", *arguments)
    assert called.status == 2 and says in called.err


def test_sum_gives_the_line_to_type(disk: Path) -> None:
    called = call("bench", "sum", str(disk), "short")
    data = open_and_audit(disk).file_bytes(0)[2:]
    last = 0x0801 + len(data) - 1
    assert f"S=0:FORI=2049TO{last}:S=S+PEEK(I):NEXT:PRINTS" in called.out
    assert f"it should print {sum(data)}" in called.out
    (record,) = call("bench", "sum", str(disk), "short", "--json").records
    assert record["total"] == sum(data)
    assert record["sums"][0]["seconds"] == pytest.approx(len(data) * 0.004)


def test_start_without_a_terminal_says_what_to_do(disk: Path) -> None:
    called = call("bench", "start", str(disk), "--rig", "fast-card")
    assert called.status == 2
    assert "needs a terminal" in called.err and "bench add" in called.err


def test_without_an_action_the_call_is_wrong() -> None:
    called = call("bench")
    assert called.status == 2 and "ACTION" in called.err


def test_hostile_names_stay_text(tmp_path: Path) -> None:
    path = images.put(tmp_path, "evil\x1b[31m.d64", images.hostile())
    added = call("bench", "add", str(path), "--all", "--rig", "fast-card", "--seconds", "9")
    for called in (added, call("bench", "list"), call("bench", "remove", "1")):
        assert called.status == 0
        assert all(line.isprintable() for line in called.out.splitlines())


def test_no_command_but_the_stopwatch_loads_the_screen(disk: Path) -> None:
    calls = [
        ["add", str(disk), "--rig", "fast-card", "--seconds", "2"],
        ["list"],
        ["calibrate", "fast-card", "--dry-run"],
        ["sum", str(disk), "short"],
        ["hung", str(disk), "short", "--bytes", "9"],
    ]
    code = f"""
import sys
from tui.__main__ import main
for arguments in {calls!r}:
    main(["bench", *arguments])
sys.exit(any(name == "textual" or name.startswith("textual.") for name in sys.modules))
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, timeout=60)
    assert done.returncode == 0, done.stderr.decode()


@pytest.mark.parametrize(
    ("seconds", "word", "says"),
    [
        (12.0, "in", "inside the range"),
        (13.9, "in", "inside the range"),
        (14.2, "near", "0.3 s above the range; a thumb is off by up to 0.4 s"),
        (11.8, "near", "0.1 s below the range; a thumb is off by up to 0.4 s"),
        (14.4, "OUT", "0.5 s above the range"),
        (11.0, "OUT", "0.9 s below the range"),
    ],
)
def test_what_is_judged_agrees_with_the_range_that_is_shown(
    seconds: float, word: str, says: str
) -> None:
    predicted = Prediction(12.8, 11.9, 13.9)
    assert predicted.word(seconds) == word
    assert predicted.compared_text(seconds).endswith(f", {says}")
    assert predicted.holds(seconds) == (word != "OUT")
