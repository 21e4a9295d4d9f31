"""`loadglass clock --interleave` and `--compare`."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from formats.compose import NewFile, compose
from loadglass.timing.estimate import clock_image
from loadglass.timing.whatif import compare
from tests.tui import disks, images
from tests.tui.bench_view import miles
from tests.tui.calling import call
from tests.tui.memory_shelf import RIGS
from tui.whatifs import slower_text


@pytest.fixture
def disk(tmp_path: Path) -> str:
    return str(images.put(tmp_path, "miles.d64", miles()))


def test_interleaves_show_todays_layout_the_soonest_and_why(disk: str) -> None:
    called = call("clock", disk, "long", "--interleave", "4..12", "--rig", "fast-spinning")
    assert called.status == 0
    lines = called.out.splitlines()
    rows = {line.split()[0]: line for line in lines if "█" in line}
    assert list(rows) == ["today", *map(str, range(4, 13))]
    assert "usually 10 apart" in rows["today"]
    assert [gap for gap, row in rows.items() if "soonest" in row] in (["9"], ["10"])
    assert rows["5"].count("█") > 1.5 * rows["10"].count("█")
    assert "is just missed and costs a turn" in called.out


def test_interleaves_as_json(disk: str) -> None:
    (record,) = call("clock", disk, "long", "--interleave", "5..10", "--json").records
    (file,) = record["files"]
    whatif = file["interleave"]
    assert whatif["today"] == 10
    assert list(whatif["laid"]) == ["5", "6", "7", "8", "9", "10"]
    laid = {gap: times["fast-spinning"]["seconds"] for gap, times in whatif["laid"].items()}
    assert laid[str(whatif["best"]["fast-spinning"])] == min(laid.values())
    ten = whatif["laid"]["10"]["fast-spinning"]["seconds"]
    assert ten == pytest.approx(file["times"]["fast-spinning"]["seconds"], rel=0.01)
    assert laid["5"] > 1.5 * ten
    assert "changes nothing" in whatif["says"]["fast-card"]


def test_compare_adds_up(disk: str) -> None:
    called = call("clock", disk, "--compare", "stock-card", "fast-card", "--json")
    (record,) = called.records
    (file,) = record["files"]  # without a name it is the first program
    compared = file["compare"]
    assert (compared["before"], compared["after"]) == ("stock-card", "fast-card")
    seconds = {rig: file["times"][rig]["seconds"] for rig in ("stock-card", "fast-card")}
    assert compared["saved"] == pytest.approx(seconds["stock-card"] - seconds["fast-card"])
    assert compared["factor"] == pytest.approx(
        seconds["stock-card"] / seconds["fast-card"], abs=1e-3
    )
    assert sum(stage["saved"] for stage in compared["stages"].values()) == pytest.approx(
        compared["saved"], abs=1e-4
    )
    assert compared["stages"]["transfer"]["remains"] == pytest.approx(0.125, abs=0.02)
    assert compared["stages"]["setup"]["remains"] is None


def test_compare_in_words(disk: str) -> None:
    called = call("clock", disk, "--compare", "stock-spinning", "fast-spinning")
    assert called.status == 0
    assert '"SHORT"' in called.out and "all programs in a row" in called.out
    assert "× as fast as stock-spinning; most of what remains is" in called.out
    one = call("clock", disk, "long", "--compare", "stock-spinning", "fast-spinning")
    assert "all programs in a row" not in one.out


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--interleave", "12..4"], "give two numbers like 4..12"),
        (["--interleave", "many"], "give two numbers like 4..12"),
        (["--interleave", "0..5"], "give 1 to 20"),
        (["--interleave", "5..30"], "give 1 to 20"),
        (["--interleave", "4..6", "--compare", "stock-card", "fast-card"], "ask for one of them"),
        (["--compare", "stock-card", "warp"], 'there is no rig "warp"'),
        (["--compare", "stock-card", "fast-card", "--rig", "fast-card"], "leave --rig out"),
    ],
)
def test_wrong_calls_end_in_a_sentence(disk: str, arguments: list[str], says: str) -> None:
    called = call("clock", disk, *arguments)
    assert (called.status, called.out) == (2, "")
    assert says in called.err


def test_a_damaged_file_has_nothing_to_compare(tmp_path: Path) -> None:
    path = str(images.put(tmp_path, "looped.d64", images.looped()))
    for option in (["--interleave", "4..6"], ["--compare", "stock-card", "fast-card"]):
        called = call("clock", path, "picture", *option)
        assert called.status == 1 and "no time" in called.out


def test_a_disk_without_programs_asks_for_a_name(tmp_path: Path) -> None:
    path = str(images.put(tmp_path, "empty.d64", compose(b"EMPTY QUAY", [])))
    called = call("clock", path, "--interleave", "4..6")
    assert called.status == 0 and "name a file" in called.err


def test_a_slower_loader_is_said_with_its_reason_where_that_is_its_own_start(
    tmp_path: Path,
) -> None:
    image = disks.opened(compose(b"TIDE", [NewFile(b"SHORT", b"\1\x08" + bytes(300))]))
    slow = RIGS["fast-card"].with_values({"setup": 0.0, "byte": 2.5})
    rigs = [RIGS["stock-card"], RIGS["fast-card"], replace(slow, name="slow")]
    stock, fast, slower = clock_image(image.audit, rigs).start.values()
    assert stock is not None and fast is not None and slower is not None
    says = slower_text("stock-card", "fast-card", compare(stock, fast))
    lost = f"{fast.seconds - stock.seconds:.1f} s"
    assert says == f"fast-card takes {lost} longer than stock-card, for its own start takes 0.9 s"
    says = slower_text("stock-card", "slow", compare(stock, slower))
    assert says == f"slow takes {slower.seconds - stock.seconds:.1f} s longer than stock-card"
