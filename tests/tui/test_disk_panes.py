"""What the panes of the Disk view say: directory, times, timeline, findings, contents."""

from __future__ import annotations

import re
import time
from pathlib import Path

import pytest

from formats.compose import NewFile, compose
from formats.directory import SEQ
from formats.geometry import TRACKS_80
from formats.programs import tokenise
from loadglass.timing.estimate import Estimate
from loadglass.timing.prices import STAGES
from loadglass.timing.rig_files import BUILT_IN, built_in_rigs
from tests.tui import disks
from tests.tui.disk_view import NARROW, WIDE, disk_view
from tests.tui.driving import lines_of, until
from tui.widgets.contents import bytes_in_row, file_contents
from tui.widgets.lettering import Lettering
from tui.widgets.pane_tabs import PANES, arrange, left_cells
from tui.widgets.stage_bars import LETTERS, StageBars, comparison_text, shares
from tui.wording import NOTHING, seconds_text


@pytest.fixture(autouse=True)
def own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def words(widget: object) -> str:
    return "\n".join(lines_of(widget))  # type: ignore[arg-type]


def line_with(widget: object, text: str) -> str:
    return next(line for line in words(widget).splitlines() if text in line)


# --- the directory ------------------------------------------------------------------------------


async def test_the_directory_as_the_machine_lists_it() -> None:
    async with disk_view(disks.tidy()) as (_, screen):
        assert words(screen.files).splitlines()[1].split() == [
            *("blocks", "name", "type", "at", "verdict", "stock", "fast")
        ]
        assert line_with(screen.files, '"HAFENLOTSE"  ').split()[1:5] == [
            *("1", '"HAFENLOTSE"', "PRG<", "0801")
        ]
        assert line_with(screen.files, '"LOTSE.MC"').split()[:5] == [
            *("79", '"LOTSE.MC"', "PRG", "1000", "o")
        ]
        assert "SEQ" in line_with(screen.files, '"TIDEN"')
        assert "blocks free · 35-track" in words(screen.files)


async def test_times_in_the_table_are_those_of_the_estimator() -> None:
    async with disk_view(disks.tidy(), (112, 24)) as (_, screen):
        assert screen.times.clocking is not None
        for row, file in enumerate(screen.opened.audit.files, 3):
            times = screen.times.clocking.files[file.entry.slot]
            assert times is not None
            line = words(screen.files).splitlines()[row]
            assert file.entry.text in line
            for rig in BUILT_IN:
                assert seconds_text(times[rig].seconds) in line  # type: ignore[union-attr]
        whole = line_with(screen.files, "GH 2A")
        for rig in BUILT_IN:
            assert seconds_text(screen.times.clocking.all[rig].seconds) in whole  # type: ignore[union-attr]


async def test_the_drive_can_be_changed() -> None:
    async with disk_view(disks.tidy()) as (pilot, screen):
        assert "SD card" in words(screen.files)
        await pilot.press("d")
        assert "spinning drive" in words(screen.files)
        assert "SD card" not in words(screen.files)
        await pilot.press("d")
        assert "SD card" in words(screen.files)


async def test_marks_of_unclosed_and_damaged_files() -> None:
    data = bytearray(disks.looped())
    data[disks.TRACKS_35.directory_block * 256 + 2 * 32 + 2] &= 0x7F
    async with disk_view(bytes(data)) as (_, screen):
        assert "*PRG" in line_with(screen.files, '"KARTE"')
        damaged = line_with(screen.files, '"LOTSE.MC"')
        assert "X damaged" in damaged and damaged.split()[-2:] == [NOTHING, NOTHING]


async def test_a_drive_that_cannot_be_clocked_says_so() -> None:
    async with disk_view(disks.tidy(TRACKS_80)) as (pilot, screen):
        assert "not known" not in words(screen.files)
        await pilot.press("d")
        assert "not known for the 80-track layout" in " ".join(words(screen.files).split())
        await pilot.press("t")
        assert words(screen.times.stages).count("it does not mount this layout") == 2


async def test_disks_without_files_or_directory() -> None:
    async with disk_view(disks.empty()) as (pilot, screen):
        assert "no file in its directory" in words(screen.files)
        assert "664 blocks free" in words(screen.files)
        await pilot.press("t")
        assert "there is no file to load" in words(screen.times.stages)
    async with disk_view(disks.no_directory()) as (_, screen):
        assert "raw blocks, no directory" in words(screen.files)
        assert "hafen.d64" in words(screen.files)


# --- times --------------------------------------------------------------------------------------


async def test_bars_have_the_lengths_of_their_stages() -> None:
    async with disk_view(disks.tidy(), (100, 30)) as (pilot, screen):
        await pilot.press("down", "t")
        assert screen.times.clocking is not None
        times = screen.times.clocking.files[1]
        assert times is not None
        longest = max(estimate.high for estimate in times.values() if estimate)
        scale = (100 - 18) / longest
        for rig in BUILT_IN:
            estimate = times[rig]
            assert estimate is not None
            bar = line_with(screen.times.stages, f" {rig} ")[17:].rstrip()
            for stage, letter in LETTERS.items():
                cells = re.sub(r"[╌┤ ].*", "", bar).count(letter)
                assert abs(cells - estimate.stages[stage] * scale) <= 1
            assert len(bar) == pytest.approx(estimate.high * scale, abs=1.5)


async def test_figures_ranges_and_savings_stand_below_the_bars() -> None:
    async with disk_view(disks.tidy(), (119, 44)) as (pilot, screen):
        await pilot.press("down", "t")
        assert screen.times.clocking is not None
        times = screen.times.clocking.files[1]
        assert times is not None
        text = words(screen.times.stages)
        for rig in BUILT_IN:
            estimate = times[rig]
            assert estimate is not None
            assert seconds_text(estimate.seconds) in text
            assert f"{estimate.low:.1f}–{estimate.high:.1f} s" in text
            for seconds in estimate.stages.values():
                assert not seconds or f"{seconds:.2f} s" in text
        stock, fast = times["stock-card"], times["fast-card"]
        assert stock is not None and fast is not None
        assert f"saves {stock.seconds - fast.seconds:.1f} s" in text


def estimate(**stages: float) -> Estimate:
    every = dict.fromkeys(STAGES, 0.0) | stages
    seconds = sum(every.values())
    return Estimate(seconds, seconds, seconds, every)


def test_parts_of_a_bar_come_to_the_whole() -> None:
    whole = estimate(command=0.4, spin_up=0.4, find=0.4, rotate=0.4, transfer=0.4)
    for scale in (1.0, 3.3, 7.9, 40.0):
        assert sum(shares(whole, scale).values()) == round(whole.seconds * scale)


def test_comparisons_in_words() -> None:
    stock = estimate(transfer=10.0)
    assert comparison_text(estimate(transfer=4.0), stock) == "saves 6.0 s, 2.5 × as fast"
    assert comparison_text(estimate(transfer=10.02), stock) == "as fast as the stock loader"
    slower = comparison_text(estimate(transfer=12.0), stock)
    assert slower == "takes 2.0 s longer than the stock loader"


def test_each_stage_has_a_letter_of_its_own_that_is_in_its_name() -> None:
    assert list(LETTERS) == list(STAGES)
    assert len(set(LETTERS.values())) == len(STAGES)
    assert all(letter in stage for stage, letter in LETTERS.items())


async def test_a_broken_file_has_no_time_and_says_why() -> None:
    async with disk_view(disks.looped()) as (pilot, screen):
        await pilot.press("down", "t")
        assert "it cannot be read whole, so it has no load time" in words(screen.times.stages)
        await pilot.press("n")
        await until(pilot, lambda: "cannot be read whole" in words(screen.times.timeline))


async def test_a_decoration_is_no_broken_file() -> None:
    data = bytearray(disks.tidy())
    entry = disks.TRACKS_35.directory_block * 256 + 2 * 32
    data[entry + 2] = 0x80
    async with disk_view(bytes(data)) as (pilot, screen):
        await pilot.press("down", "down", "t")
        assert "there is nothing to load" in words(screen.times.stages)
        await pilot.press("n")
        await until(pilot, lambda: "nothing to load" in words(screen.times.timeline))


# --- the timeline -------------------------------------------------------------------------------


async def test_the_timeline_goes_along_and_the_map_with_it() -> None:
    async with disk_view(disks.tidy(), WIDE) as (pilot, screen):
        await pilot.press("down", "t", "n")
        await until(pilot, lambda: screen.times.timeline.legs)
        assert screen.times.clocking is not None
        times = screen.times.clocking.files[1]
        assert times is not None
        estimate = times["stock-spinning"]
        assert estimate is not None
        assert f"on stock-spinning, {seconds_text(estimate.seconds)}" in words(
            screen.times.timeline
        )
        await pilot.press("down", "down", "down")
        leg = screen.times.timeline.legs[3]
        assert f"track {leg.track}" in line_with(screen.times.timeline, "›")
        assert screen.map.step == leg.blocks
        chain = screen.opened.audit.by_slot[1].chain.blocks
        assert screen.map.cursor == chain[leg.blocks - 1]
        await pilot.press("d")
        await until(pilot, lambda: "on stock-card" in words(screen.times.timeline))
        await pilot.press("n")
        assert screen.query_one(StageBars).display


async def test_the_timeline_of_no_file() -> None:
    async with disk_view(disks.tidy()) as (pilot, screen):
        await pilot.press("home", "t", "n")
        await until(pilot, lambda: "choose a file" in words(screen.times.timeline))
        await pilot.press("down", "enter")
        assert screen.active == "times"


async def test_every_leg_shows_however_short() -> None:
    async with disk_view(disks.tidy()) as (pilot, screen):
        await pilot.press("down", "t", "n")
        await until(pilot, lambda: screen.times.timeline.legs)
        shown = words(screen.times.timeline).splitlines()
        above = next(i for i, line in enumerate(shown) if "takes" in line) + 1
        lines = shown[above : above + len(screen.times.timeline.legs)]
        assert all(set(line[38:].strip()) & set(LETTERS.values()) for line in lines)


# --- findings -----------------------------------------------------------------------------------


async def test_findings_are_whole_sentences_with_their_severity_in_words() -> None:
    for image in (disks.looped, disks.short, disks.twins, disks.bad_block):
        async with disk_view(image(), (60, 70)) as (pilot, screen):
            await pilot.press("a")
            text = " ".join(words(screen.findings).split())
            for finding in screen.findings.findings:
                assert finding.says in text
                assert finding.severity.value in text
                assert finding.place is None or str(finding.place) in text


async def test_a_long_list_scrolls_with_the_cursor() -> None:
    async with disk_view(disks.short(), (60, 9)) as (pilot, screen):
        await pilot.press("a", "end")
        assert "›" in words(screen.findings)
        await pilot.press("home")
        assert words(screen.findings).splitlines()[0].startswith("›")


# --- contents -----------------------------------------------------------------------------------


async def test_listing_bytes_text_and_block() -> None:
    async with disk_view(disks.tidy()) as (pilot, screen):
        await pilot.press("c")
        await until(pilot, lambda: "10 REM" in words(screen.contents))
        assert [line.strip() for line in words(screen.contents).splitlines()[2:6]] == disks.LISTING
        await pilot.press("n")
        assert " 0801  1A 08 0A 00" in words(screen.contents)
        await pilot.press("n")
        assert "WILLKOMMEN IN GRAUHAVEN" in words(screen.contents)
        await pilot.press("n")
        assert "block 17/0" in words(screen.contents)
        assert words(screen.contents).splitlines()[2].startswith(" 00  00 ")
        await pilot.press("n")
        assert "10 REM" in words(screen.contents)


async def test_a_text_file_shows_its_text_first() -> None:
    async with disk_view(disks.tidy()) as (pilot, screen):
        await pilot.press("down", "down", "down", "c")
        await until(pilot, lambda: "HOCHWASSER 04:12" in words(screen.contents))
        lines = words(screen.contents).splitlines()[2:4]
        assert [line.strip() for line in lines] == ["HOCHWASSER 04:12", "NIEDRIGWASSER 10:30"]


async def test_a_click_on_a_form_shows_it() -> None:
    async with disk_view(disks.tidy()) as (pilot, screen):
        await pilot.press("c")
        await until(pilot, lambda: "10 REM" in words(screen.contents))
        at = words(screen.contents).splitlines()[1].index("bytes")
        await pilot.click("#contents", offset=(at, 1))
        assert " 0801  1A 08" in words(screen.contents)


async def test_every_byte_of_a_long_program_can_be_reached_and_none_is_slow() -> None:
    listing = [f'{n} PRINT "GRAUHAVEN, DEN {n}. TAG":REM {"X" * 40}' for n in range(800)]
    program = tokenise(listing)
    assert len(program) > 59_000
    data = compose(b"LANG", [NewFile(b"CHRONIK", program)])
    async with disk_view(data) as (pilot, screen):
        await pilot.press("c")
        await until(pilot, lambda: "0 PRINT" in words(screen.contents))
        await pilot.press("end")
        await pilot.pause()
        assert "799 PRINT" in words(screen.contents)
        await pilot.press("n", "end")
        await pilot.pause()
        last = 0x0801 + len(program) - 3
        address = int(words(screen.contents).splitlines()[-1].split()[0], 16)
        assert address <= last < address + 16
        start = time.perf_counter()
        for _ in range(200):
            screen.contents.line(screen.contents.line_count() // 2)
        assert time.perf_counter() - start < 2.0


async def test_what_can_be_read_of_a_broken_file_is_shown_and_said() -> None:
    async with disk_view(disks.looped()) as (pilot, screen):
        await pilot.press("down", "c")
        await until(pilot, lambda: "only 10 blocks can be read" in words(screen.contents))


def test_forms_of_odd_files() -> None:
    files = [
        NewFile(b"ONE", b"\x01"),
        NewFile(b"TWO", b"\x01\x08"),
        NewFile(b"NULLS", bytes(300)),
        NewFile(b"WORDS", b"MOIN\r\rAHOI", type_code=SEQ),
    ]
    opened = disks.opened(compose(b"ODD", files))
    forms = [list(file_contents(opened, file, Lettering()).forms) for file in opened.audit.files]
    assert forms == [["bytes", "text"]] * 3 + [["text", "bytes"]]
    words = file_contents(opened, opened.audit.files[3], Lettering())
    assert words.forms["text"] == ["MOIN", "", "AHOI"]


@pytest.mark.parametrize("cells", range(10, 120, 7))
def test_rows_of_bytes_fit_their_width(cells: int) -> None:
    width = bytes_in_row(cells)
    assert width in (4, 8, 16)
    assert width == 4 or 4 + 2 + width * 3 - 1 + (width - 1) // 8 + 2 + width <= cells


# --- which panes show ---------------------------------------------------------------------------


def panes(width: int, height: int, active: str = "map", lower: str = "audit") -> set[str]:
    left = active if PANES[active].left else "files"
    right = "map" if PANES[active].left else active
    return set(arrange(width, height, active, {True: left, False: right}, lower).panes)


def test_room_decides_which_panes_show() -> None:
    assert panes(80, 24) == {"map"}
    assert panes(119, 60, "times") == {"times"}
    assert panes(120, 24, "times") == {"files", "times"}
    assert panes(120, 24, "audit") == {"audit", "map"}
    assert panes(140, 45) == {"files", "audit", "map", "times"}
    assert panes(140, 45, "contents", "contents") == {"files", "contents", "map", "times"}


def test_the_right_side_gets_the_best_map_that_leaves_room_for_the_table() -> None:
    assert left_cells(120, [72, 107, 142]) == 48
    assert left_cells(140, [72, 107, 142]) == 68
    assert left_cells(174, [72, 107, 142]) == 102
    assert left_cells(175, [72, 107, 142]) == 68
    assert left_cells(240, [72, 107, 142]) == 98
    assert left_cells(120, [117, 197, 277]) == 48


def test_the_rigs_we_bring_are_in_the_order_of_the_bars() -> None:
    assert tuple(built_in_rigs()) == BUILT_IN
    assert NARROW < WIDE
