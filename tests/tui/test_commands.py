"""The one-shot commands: what they print, their JSON keys and their exit statuses."""

from __future__ import annotations

import gzip
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from formats.geometry import TRACKS_35
from tests.tui import images
from tests.tui.calling import call

STAGES = {"command", "setup", "spin_up", "find", "seek", "rotate", "read", "transfer"}
BUILT_IN = ["stock-spinning", "stock-card", "fast-spinning", "fast-card"]


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    images.put(tmp_path, "sound.d64", images.sound())
    images.put(tmp_path, "looped.d64", images.looped())
    return tmp_path


def test_look_json_has_the_keys_of_the_contract(shelf: Path) -> None:
    called = call("look", str(shelf / "sound.d64"), "--json")
    assert (called.status, called.err) == (0, "")
    (record,) = called.records
    keys = ["path", "kind", "title", "id", "tracks", "blocks_free", "verdict", "files", "findings"]
    assert [key for key in record if key in keys] == keys
    assert (record["title"], record["verdict"]) == ("HARBOUR NIGHT", "sound")
    assert (record["tracks"], record["blocks_free"]) == (35, 664 - 1 - 32 - 8)
    horn = record["files"][0]
    assert {
        "slot": 0,
        "name": "FOG HORN",
        "name_hex": b"FOG HORN".hex(),
        "type": "PRG",
        "closed": True,
        "locked": False,
        "blocks": 1,
        "blocks_walked": 1,
        "bytes": len(images.FOG_HORN),
        "track": 17,
        "sector": 0,
        "load_address": 0x0801,
        "verdict": "sound",
    }.items() <= horn.items()
    assert list(horn["times"]) == BUILT_IN
    for times in horn["times"].values():
        assert 0 < times["low"] <= times["seconds"] <= times["high"]


def test_a_file_that_cannot_be_read_whole_has_no_times(shelf: Path) -> None:
    called = call("look", str(shelf / "looped.d64"), "--json")
    assert called.status == 1
    (record,) = called.records
    assert [file["times"] is None for file in record["files"]] == [False, True, False]
    loop = next(item for item in record["findings"] if item["code"] == "chain-loop")
    assert (loop["slot"], loop["file"], loop["severity"]) == (1, "PICTURE", "damage")
    assert (loop["track"], loop["sector"]) == (17, 1)


def test_clock_json_stages_add_up(shelf: Path) -> None:
    called = call("clock", str(shelf / "sound.d64"), "picture", "--json", "--rig", "fast-card")
    assert called.status == 0
    (record,) = called.records
    (file,) = record["files"]
    assert (file["name"], file["blocks"], file["bytes"]) == ("PICTURE", 32, len(images.PICTURE))
    times = file["times"]["fast-card"]
    assert set(times["stages"]) == STAGES
    assert sum(times["stages"].values()) == pytest.approx(times["seconds"], abs=1e-4)
    assert set(record["start"]) == set(record["all"]) == {"fast-card"}
    assert record["all"]["fast-card"] > record["start"]["fast-card"] > 0


def test_clock_takes_names_as_the_machine_does(shelf: Path) -> None:
    path = str(shelf / "sound.d64")
    for typed, name in (("pic*", "PICTURE"), ("M?SIC", "MUSIC"), ("*", "FOG HORN")):
        (record,) = call("clock", path, typed, "--json").records
        assert [file["name"] for file in record["files"]] == [name]


def test_clock_of_damaged_and_of_whole_files_on_one_image(shelf: Path) -> None:
    path = str(shelf / "looped.d64")
    assert call("clock", path).status == 1
    assert call("clock", path, "picture").status == 1
    assert call("clock", path, "music").status == 0


def test_audit_json_and_exit_status(shelf: Path) -> None:
    called = call("audit", str(shelf), "--json")
    assert called.status == 1
    looped, sound = called.records
    assert (looped["verdict"], looped["files"]) == ("damaged", 3)
    assert {"path", "verdict", "files", "findings"} <= set(looped)
    assert (sound["verdict"], sound["findings"]) == ("sound", [])
    assert call("audit", str(shelf / "sound.d64")).status == 0


def test_a_word_that_is_neither_a_command_nor_a_file_is_named() -> None:
    called = call("lok", "x.d64")
    assert called.status == 2
    assert called.err == (
        'loadglass: "lok" is no command, perhaps look, and there is no such file here: '
        "`loadglass --help` lists the commands\n"
    )


def test_audit_counts_by_verdict_and_explains(shelf: Path) -> None:
    images.put(shelf, "scrap.d64", b"x" * 1000)
    images.put(shelf, "notes.txt", b"no image")
    called = call("audit", str(shelf), "--explain")
    assert "3 images: 1 sound, 0 quirky, 1 damaged, 1 unreadable; 1 other file passed" in called.out
    assert "the drive: The drive reads the same blocks again and again" in called.out
    only = call("audit", str(shelf), "--only", "damaged")
    assert "looped.d64" in only.out and "sound.d64" not in only.out


def test_rigs_lists_every_figure_with_its_source() -> None:
    called = call("rigs", "--json")
    assert called.status == 0
    assert [rig["name"] for rig in called.records] == BUILT_IN
    for rig in called.records:
        assert {"name", "drive", "loader", "figures"} <= set(rig)
        for figure in rig["figures"].values():
            assert set(figure) == {"value", "unit", "spread", "source"}
            assert figure["source"]
    assert "rule of thumb" in call("rigs", "fast-card").out


@pytest.mark.parametrize(
    ("arguments", "status", "words"),
    [
        (["look"], 2, "required: IMAGE"),
        (["look", "{folder}"], 1, "is a folder"),
        (["look", "{folder}/nothing.d64"], 1, "there is no file"),
        (["look", "{folder}/sound.d64", "--rig", "warp"], 2, 'there is no rig "warp"'),
        (["clock", "{folder}/sound.d64", "nobody"], 2, "there is no file"),
        (["clock", "{folder}/sound.d64", "naïve"], 2, "does not exist in"),
        (["look", "{folder}/sound.d64", "--colour"], 2, "unrecognized arguments"),
        (["audit", "{folder}/sound.d64", "--only", "fine"], 2, "invalid choice"),
        (["rigs", "warp"], 2, 'there is no rig "warp"'),
        (["look", "{folder}/empty.d64"], 1, "the file is empty"),
        (["look", "{folder}/short.d64"], 1, "too few for a disk image"),
        (["look", "{folder}/huge.d64"], 1, "more than any disk image"),
        (["look", "{folder}/bad.d64.gz"], 1, "broken gzip"),
        (["look", "{folder}/cut.d64.gz"], 1, "stops short"),
        (["look", "{folder}/bad.zip/x.d64"], 1, "broken"),
        (["look", "{folder}/good.zip/x.d64"], 1, "has no member"),
        (["look", "{folder}/bomb.zip/bomb.d64"], 1, "more than any disk image"),
        (["look", "{folder}/pipe.d64"], 1, "no regular file"),
    ],
)
def test_bad_input_is_one_sentence(
    shelf: Path, arguments: list[str], status: int, words: str
) -> None:
    images.put(shelf, "empty.d64", b"")
    images.put(shelf, "short.d64", b"abc")
    images.put(shelf, "huge.d64", bytes(3 << 20))
    images.put(shelf, "bad.d64.gz", b"\x1f\x8b\x08nonsense")
    images.put(shelf, "cut.d64.gz", gzip.compress(images.sound())[:500])
    images.put(shelf, "bad.zip", b"PK but no archive")
    with zipfile.ZipFile(shelf / "good.zip", "w") as archive:
        archive.writestr("inner.d64", images.sound())
    with zipfile.ZipFile(shelf / "bomb.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("bomb.d64", bytes(50 << 20))
    os.mkfifo(shelf / "pipe.d64")
    called = call(*(word.format(folder=shelf) for word in arguments))
    assert called.status == status
    assert words in called.err
    assert called.out == ""


def test_unreadable_permissions(shelf: Path) -> None:
    if os.geteuid() == 0:
        pytest.skip("root may read everything")
    (shelf / "sound.d64").chmod(0)
    called = call("look", str(shelf / "sound.d64"))
    assert (called.status, called.out) == (1, "")
    assert "Permission denied" in called.err


def test_an_unreadable_image_in_json(shelf: Path) -> None:
    path = images.put(shelf, "scrap.d64", b"abc")
    for command in ("look", "audit"):
        called = call(command, str(path), "--json")
        assert called.status == 1
        (record,) = called.records
        assert record["verdict"] == "unreadable"
        assert "too few" in record["says"]


def test_packed_images_are_addressed_like_paths(shelf: Path) -> None:
    data = images.sound()
    (shelf / "one.d64.gz").write_bytes(gzip.compress(data))
    with zipfile.ZipFile(shelf / "two.zip", "w") as archive:
        archive.writestr("deep/inner.d64", data)
        archive.writestr("other.d64", images.looped())
    for path in ("one.d64.gz", "two.zip/deep/inner.d64"):
        called = call("look", str(shelf / path), "--json")
        assert called.status == 0
        assert called.records[0]["title"] == "HARBOUR NIGHT"
    ambiguous = call("look", str(shelf / "two.zip"))
    assert ambiguous.status == 1
    assert "holds 2 images" in ambiguous.err
    assert len(call("audit", str(shelf), "--json").records) == 5


def test_hostile_names_never_reach_the_terminal(tmp_path: Path) -> None:
    path = images.put(tmp_path, "\x1b[31m[red]evil\u202e.d64", images.hostile())
    for command in (["look"], ["clock"], ["audit", "--explain"]):
        called = call(*command, str(path))
        assert called.status == 0
        allowed = called.out.replace("\n", "")
        assert allowed.isprintable(), ascii(allowed)
        assert "[red]evil" in called.out
    (record,) = call("look", str(path), "--json").records
    assert bytes.fromhex(record["files"][0]["name_hex"]) == b"\x1b[31mRED\x1b[0m"


def test_a_name_that_is_not_utf8(tmp_path: Path) -> None:
    raw = os.path.join(os.fsencode(tmp_path), b"caf\xe9.d64")
    with open(raw, "wb") as file:
        file.write(images.sound())
    called = call("audit", str(tmp_path))
    assert called.status == 0
    assert "caf\\xe9.d64" in called.out
    assert call("look", os.fsdecode(raw), "--json").status == 0


def test_one_bad_image_does_not_stop_the_others(shelf: Path) -> None:
    images.put(shelf, "a-broken.zip", b"PK")
    images.put(shelf, "b-empty.d64", b"")
    called = call("audit", str(shelf))
    assert "sound.d64" in called.out and "looped.d64" in called.out
    assert "a-broken.zip" in called.err


def test_images_are_never_changed(shelf: Path) -> None:
    before = {path.name: path.read_bytes() for path in shelf.iterdir()}
    for path in shelf.iterdir():
        path.chmod(0o444)
    for command in ("look", "audit", "clock"):
        call(command, str(shelf / "looped.d64"))
    assert {path.name: path.read_bytes() for path in shelf.iterdir()} == before


def test_a_fault_of_ours_is_a_sentence_and_a_report(
    shelf: Path, own_home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("our own mistake")

    monkeypatch.setattr("tui.commands.look.clock_image", broken)
    called = call("look", str(shelf / "sound.d64"))
    assert called.status == 3
    (report,) = (own_home / "reports").iterdir()
    assert str(report) in called.err
    assert "our own mistake" in report.read_text()


def test_ctrl_c_is_130(shelf: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("tui.commands.look.open_and_audit", stop)
    assert call("look", str(shelf / "sound.d64")).status == 130


def test_mend_writes_a_copy_and_leaves_the_image(shelf: Path) -> None:
    image, copy = shelf / "looped.d64", shelf / "mended.d64"
    before = image.read_bytes()
    tried = call("mend", str(image), "--dry-run")
    assert tried.status == 0
    assert "would be done:" in tried.out and not copy.exists()
    called = call("mend", str(image), str(copy), "--json")
    assert called.status == 0
    (record,) = called.records
    assert list(record) == ["path", "copy", "done", "left", "before", "after"]
    assert (record["before"], record["after"]) == ("damaged", "quirky")
    assert any("PICTURE" in sentence for sentence in record["done"])
    assert call("audit", str(copy)).status == 0
    assert image.read_bytes() == before


def test_mend_never_writes_over_the_image(shelf: Path) -> None:
    image = shelf / "looped.d64"
    before = image.read_bytes()
    (shelf / "link.d64").symlink_to(image)
    os.link(image, shelf / "hard.d64")
    for name in ("looped.d64", "link.d64", "hard.d64"):
        called = call("mend", str(image), str(shelf / name), "--overwrite")
        assert called.status == 1
        assert "is the disk image itself" in called.err
    taken = call("mend", str(image), str(shelf / "sound.d64"))
    assert (taken.status, "is there already" in taken.err) == (1, True)
    assert call("mend", str(image)).status == 2
    assert image.read_bytes() == before


def test_mend_says_what_it_cannot_do(tmp_path: Path) -> None:
    data = bytearray(images.sound())
    entry = TRACKS_35.index(18, 1) * 256
    data[entry + 3 : entry + 5] = bytes((77, 0))  # the first entry starts off the disk
    path = images.put(tmp_path, "lost.d64", bytes(data))
    called = call("mend", str(path), str(tmp_path / "copy.d64"))
    assert called.status == 1
    assert "starts at 77/0, which does not exist" in called.out
    missing = call("mend", str(path), str(tmp_path / "other.d64"), "--restore", "gone")
    assert (missing.status, "no scratched file" in missing.err) == (1, True)
    assert not (tmp_path / "other.d64").exists()


def test_a_new_rig_is_a_file_that_loads(own_home: Path) -> None:
    called = call("rigs", "new", "my-cartridge", "--from", "fast-card")
    assert called.status == 0
    assert (own_home / "rigs" / "my-cartridge.toml").exists()
    assert [rig["name"] for rig in call("rigs", "--json").records] == [*BUILT_IN, "my-cartridge"]
    for wrong in (["rigs", "new"], ["rigs", "new", "Ä"], ["rigs", "new", "fast-card"]):
        assert call(*wrong).status == 2
    again = call("rigs", "new", "my-cartridge")
    assert again.status == 2


def test_an_own_rig_is_removed_and_its_file_is_kept(own_home: Path) -> None:
    call("rigs", "new", "my-cartridge", "--from", "fast-card")
    called = call("rigs", "remove", "my-cartridge")
    assert called.status == 0
    kept = own_home / "rigs" / "set-aside" / "my-cartridge.toml"
    assert f"its file is kept as {kept}" in called.out and kept.exists()
    assert [rig["name"] for rig in call("rigs", "--json").records] == list(BUILT_IN)
    for wrong, status in ((["fast-card"], 2), ([], 2), (["my-cartridge"], 1)):
        assert call("rigs", "remove", *wrong).status == status


def test_help_names_every_command() -> None:
    called = call("--help")
    assert called.status == 0
    for command in ("demo", "look", "audit", "clock", "mend", "rigs"):
        assert f"  {command} " in called.out
        assert call(command, "--help").status == 0


def test_a_closed_pipe_is_quiet(shelf: Path) -> None:
    command = f"{sys.executable} -m tui rigs | head -n 1"
    done = subprocess.run(["sh", "-c", command], capture_output=True, text=True, timeout=60)
    assert done.stdout.startswith("stock-spinning")
    assert done.stderr == ""


def test_no_command_but_the_screens_imports_textual(shelf: Path) -> None:
    code = (
        "import sys; from tui.__main__ import main; "
        "status = main(sys.argv[1:]); "
        "heavy = {'textual', 'rich', 'sqlite3'} & set(sys.modules); "
        "sys.exit(f'imported {heavy}' if heavy else status)"
    )
    for command in (
        ["look", str(shelf / "sound.d64")],
        ["audit", str(shelf / "sound.d64")],
        ["rigs"],
    ):
        done = subprocess.run(
            [sys.executable, "-c", code, *command], capture_output=True, text=True, timeout=60
        )
        assert (done.returncode, done.stderr) == (0, "")
