import dataclasses
import errno
import json
import os
import signal
import subprocess
import sys
import time

import pytest

from formats.errors import LoadglassError
from loadglass.bench import log as log_module
from loadglass.bench.log import BenchLog, LogError
from loadglass.bench.record import to_record

APPENDER = """
import json, sys
from pathlib import Path
from loadglass.bench.log import BenchLog
from loadglass.bench.record import from_record
reading = from_record(json.loads(sys.argv[2]))
log = BenchLog(Path(sys.argv[1]))
for _ in range(int(sys.argv[3])):
    print(log.add([reading])[0].id, flush=True)
"""


def appender(log, reading, count):
    record = json.dumps(to_record(dataclasses.replace(reading, id=1)))
    return subprocess.Popen(
        [sys.executable, "-c", APPENDER, str(log.path), record, str(count)],
        stdout=subprocess.PIPE,
        text=True,
    )


def seconds_of(log):
    return [reading.seconds for reading in log.read().readings.values()]


def test_nothing_is_made_before_the_first_reading(log):
    assert log.read().readings == {}
    assert not log.path.parent.exists()


def test_readings_come_back_with_ids_in_order(log, read):
    first = log.add([read(0, 4.6)])
    later = log.add([read(1, 1.9), read(None, 9.9)])
    assert [reading.id for reading in first + later] == [1, 2, 3]
    contents = log.read()
    assert list(contents.readings.values()) == first + later
    assert contents.problems == []


def test_a_removed_reading_stays_in_the_file_and_its_id_is_not_given_again(log, read):
    log.add([read(0, 4.6), read(1, 1.9)])
    before = log.path.read_bytes()
    assert log.remove(2).seconds == 1.9
    assert log.path.read_bytes().startswith(before)
    assert list(log.read().readings) == [1]
    assert log.add([read(0, 4.7)])[0].id == 3
    with pytest.raises(LogError, match="no reading 2 in the bench log"):
        log.remove(2)


def test_the_file_is_only_ever_added_to(log, read):
    before = b""
    for work in (
        lambda: log.add([read(0, 4.6)]),
        lambda: log.read(),
        lambda: log.add([read(1, 1.9)]),
        lambda: log.remove(1),
    ):
        work()
        assert log.path.read_bytes().startswith(before)
        before = log.path.read_bytes()
    assert before.count(b"\n") == 3


def test_a_crash_at_any_byte_of_the_last_record_loses_nothing_silently(log, read, monkeypatch):
    monkeypatch.setattr(os, "fsync", lambda _: None)  # some thousand of them
    log.add([read(0, 4.6), read(1, 1.9)])
    whole = log.path.read_bytes()
    last_line = whole.index(b"\n") + 1
    for size in range(last_line, len(whole)):
        for left_over in log.path.parent.glob("bench.torn-*"):
            left_over.unlink()
        log.path.write_bytes(whole[:size])
        contents = log.read()
        torn = list(log.path.parent.glob("bench.torn-*"))
        if size == last_line:
            assert (seconds_of(log), contents.problems, torn) == ([4.6], [], [])
        elif size == len(whole) - 1:  # the record is whole, its line end is missing
            assert (seconds_of(log), contents.problems, torn) == ([4.6, 1.9], [], [])
        else:
            assert seconds_of(log) == [4.6]
            assert [path.read_bytes() for path in torn] == [whole[last_line:size]]
            assert torn[0].name in contents.problems[0] and "cut short" in contents.problems[0]
            assert log.read().problems == []
        added = log.add([read(2, 3.3)])[0]
        assert seconds_of(log)[-1] == 3.3
        assert log.read().problems == []
        assert added.id == (3 if size == len(whole) - 1 else 2)


def test_a_torn_line_that_cannot_be_set_aside_stays_and_stops_nothing(log, read, monkeypatch):
    log.add([read(0, 4.6), read(1, 1.9)])
    log.path.write_bytes(log.path.read_bytes()[:-20])
    torn = log.path.read_bytes()

    def full(_descriptor, _size):
        raise OSError(errno.EROFS, "Read-only file system")

    monkeypatch.setattr(os, "ftruncate", full)
    contents = log.read()
    assert list(contents.readings) == [1]
    assert "cannot be set aside (Read-only file system)" in contents.problems[0]
    assert log.path.read_bytes() == torn
    log.add([read(2, 3.3)])
    assert log.path.read_bytes().startswith(torn + b"\n")
    assert seconds_of(log) == [4.6, 3.3]


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("nonsense", "it is no JSON"),
        ("\ufffd" * 9, "it is no JSON"),
        ("[" * 100_000, "it is no JSON"),
        ("7", "it is no record"),
        ('{"id": 3}', "no record that this loadglass knows"),
        ('{"record": "removed", "id": 99}', "no reading 99"),
        ('{"record": "removed", "id": [1]}', "no reading"),
        ('{"record": "reading", "id": 8}', "it has no when"),
    ],
)
def test_a_line_spoilt_by_hand_is_named_and_all_others_are_read(log, read, line, says):
    log.add([read(0, 1 + i / 10) for i in range(9)])
    lines = log.path.read_text().splitlines()
    lines[6] = line
    log.path.write_text("\n".join(lines) + "\n")
    before = log.path.read_bytes()
    contents = log.read()
    assert list(contents.readings) == [1, 2, 3, 4, 5, 6, 8, 9]
    assert len(contents.problems) == 1
    assert contents.problems[0].startswith(f"line 7 of {log.path} is passed over (")
    assert says in contents.problems[0] and contents.problems[0].isprintable()
    assert log.path.read_bytes() == before
    assert log.add([read(0, 2)])[0].id == 10


def test_a_second_reading_of_one_id_is_named(log, read):
    log.add([read(0, 4.6)])
    line = log.path.read_text()
    log.path.write_text(line + line)
    contents = log.read()
    assert list(contents.readings) == [1]
    assert "line 2" in contents.problems[0] and "reading 1 before it" in contents.problems[0]


def test_an_absurd_id_does_not_spoil_the_ones_to_come(log, read):
    log.add([read(0, 4.6), read(0, 4.7)])
    text = log.path.read_text().replace('"id": 2', '"id": ' + "9" * 40)
    log.path.write_text(text)
    assert log.add([read(1, 1.9)])[0].id == 2
    assert seconds_of(log) == [4.6, 1.9]


def test_a_full_disk_keeps_the_log_as_it_was(log, read, monkeypatch):
    log.add([read(0, 4.6)])
    before = log.path.read_bytes()
    write = os.write
    room = [300]

    def filling(descriptor, data):
        if not room[0]:
            raise OSError(errno.ENOSPC, "No space left on device")
        written = write(descriptor, data[: room[0]])
        room[0] -= written
        return written

    monkeypatch.setattr(os, "write", filling)
    with pytest.raises(LogError, match="No space left on device"):
        log.add([read(1, 1.9)])
    assert log.path.read_bytes() == before


def test_it_is_on_the_disk_before_it_says_done(log, read, monkeypatch):
    log.add([read(0, 4.6)])
    synced = []
    monkeypatch.setattr(os, "fsync", lambda _: synced.append(log.path.read_bytes()))
    log.add([read(1, 1.9)])
    assert synced[-1] == log.path.read_bytes()
    assert synced[-1].count(b"\n") == 2


def test_a_place_that_cannot_be_written_is_one_sentence(tmp_path, read):
    (tmp_path / "home").write_text("in the way")
    with pytest.raises(LoadglassError, match="cannot make the folder"):
        BenchLog(tmp_path / "home" / "bench.jsonl").add([read(0, 4.6)])
    (tmp_path / "bench.jsonl").mkdir()
    with pytest.raises(LogError, match="cannot open the bench log"):
        BenchLog(tmp_path / "bench.jsonl").read()


def test_another_writer_is_waited_for_and_then_named(log, read, monkeypatch):
    log.add([read(0, 4.6)])
    monkeypatch.setattr(log_module, "PATIENCE_S", 0.1)
    with log._held(), pytest.raises(LogError, match="another loadglass has been writing"):
        log.add([read(1, 1.9)])
    assert log.add([read(1, 1.9)])[0].id == 2


def test_processes_do_not_interleave(log, reading):
    processes = [appender(log, reading, 25) for _ in range(4)]
    ids = [
        int(line) for process in processes for line in process.communicate(timeout=60)[0].split()
    ]
    assert sorted(ids) == list(range(1, 101))
    contents = log.read()
    assert sorted(contents.readings) == sorted(ids)
    assert contents.problems == []


def test_what_was_said_to_be_kept_is_there_after_a_kill(log, reading):
    kept = []
    for round_ in range(6):
        process = appender(log, reading, 100_000)
        assert process.stdout is not None
        kept.append(int(process.stdout.readline()))
        time.sleep(0.02 * round_)
        process.send_signal(signal.SIGKILL)
        kept += [int(line) for line in process.communicate(timeout=60)[0].split("\n")[:-1]]
        assert set(kept) <= set(log.read().readings)
    assert len(kept) == len(set(kept)) > 6
