"""`loadglass shelf` on sets and twins: shown, corrected, undone; JSON and exit statuses."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.tui.calling import Called, call
from tests.tui.harbour import HOSTILE_FILE_NAME
from tests.tui.test_beside_view import IMAGES

KRAN = ["kran disk 1.d64", "kran disk 2.d64"]


@pytest.fixture(autouse=True)
def club(tmp_path: Path) -> Path:
    folder = tmp_path / "club"
    folder.mkdir()
    for name, data in IMAGES.items():
        (folder / name).write_bytes(data)
    (folder / "whole too.d64").write_bytes(IMAGES["whole.d64"])
    assert call("survey", str(folder), "--workers", "1").status == 0
    return folder


def sets(called: Called) -> dict[str, list[str]]:
    assert called.status == 0
    return {
        record["name"]: [Path(disk["path"]).name for disk in record["disks"]]
        for record in called.records
    }


def test_sets_and_how_they_came_about() -> None:
    called = call("shelf", "--sets", "--json")
    assert sets(called) == {"kran": KRAN}
    (record,) = called.records
    assert list(record) == ["name", "by", "disks"] and record["by"] == "names"
    assert list(record["disks"][1]) == ["path", "title", "verdict", "sha256", "mark"]
    assert record["disks"][1]["mark"] == "disk 2"
    assert sets(call("shelf", "boje", "--sets", "--json")) == {}
    shown = call("shelf", "set:kran", "--sets").out
    assert "by names and titles" in shown and shown.endswith("\n1 set\n")


def test_a_set_is_corrected_and_the_correction_undone() -> None:
    added = call("shelf", "boje", "--set", "KRAN", "--sets", "--json")
    assert "1 image changed" in added.err
    assert sets(added) == {"kran": ["boje.d64", *KRAN]}
    assert added.records[0]["by"] == "you"
    call("shelf", "boje", "--no-set")
    (boje,) = call("shelf", "boje", "--twins", "--json").records
    assert (boje["set"], boje["set_by_you"]) == (None, "")
    assert sets(call("shelf", "in-set:yes", "--sets", "--json")) == {"kran": KRAN}
    undone = call("shelf", "--by-name", "--sets", "--json")
    assert undone.records[0]["by"] == "names" and sets(undone) == {"kran": KRAN}


def test_twins_of_a_damaged_image() -> None:
    called = call("shelf", "title:hurt", "--twins", "--json")
    (record,) = called.records
    assert list(record) == [
        *("path", "title", "verdict", "sha256", "set", "set_by_you"),
        *("same", "files", "sound", "lost"),
    ]
    (lotse,) = record["sound"]
    assert (lotse["name"], lotse["name_hex"]) == ("LOTSE", b"LOTSE".hex())
    assert lotse["readable_bytes"] == 20 * 254
    assert [Path(twin["path"]).name for twin in lotse["twins"]] == ["whole too.d64", "whole.d64"]
    assert {twin["verdict"] for twin in lotse["twins"]} == {"sound"}
    assert lotse["twins"][0]["slot"] == 1 and lotse["twins"][0]["start"]["fast-card"] > 0
    assert "Sound twins of damaged files" in call("shelf", "title:hurt", "--twins").out


def test_the_same_content_elsewhere() -> None:
    records = call("shelf", "title:whole", "--twins", "--json").records
    assert {Path(record["same"][0]["path"]).name for record in records} == {
        *("whole.d64", "whole too.d64")
    }
    assert "Nothing else on this shelf" in call("shelf", "boje", "--twins").out


@pytest.mark.parametrize(
    "arguments",
    [
        ["--set", " "],
        ["--set", "\x1b[2J"],
        ["--set", "x" * 61],
        ["--set", "a", "--no-set"],
        ["--sets", "--twins"],
        ["--sets", "--csv"],
    ],
)
def test_wrong_calls(arguments: list[str]) -> None:
    called = call("shelf", "boje", *arguments)
    assert (called.status, called.out) == (2, "")
    assert "\x1b" not in called.err


def test_hostile_names_are_harmless() -> None:
    assert HOSTILE_FILE_NAME in IMAGES
    for arguments in (["--twins"], ["--set", "[red]x[/]", "--sets"], ["--sets"]):
        out = call("shelf", *arguments).out
        assert all(line.isprintable() for line in out.splitlines())


def test_an_empty_shelf_and_the_keys_of_the_contract(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (record, *_) = call("shelf", "--json").records
    contract = ["path", "title", "verdict", "files", "blocks", "sha256", "start", "all"]
    assert list(record)[: len(contract)] == contract
    monkeypatch.setenv("LOADGLASS_HOME", str(tmp_path / "other"))
    for option in ("--sets", "--twins"):
        called = call("shelf", option)
        assert called.status == 0 and "the shelf is empty" in called.err
