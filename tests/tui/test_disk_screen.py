"""The Disk view as a person uses it: panes, keys, mouse, sizes, and images of every kind."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from formats.geometry import TRACKS_35
from loadglass.opened import open_and_audit
from tests.examples import few_or_all
from tests.tui import disks
from tests.tui.disk_view import NARROW, WIDE, disk_view, push_disk
from tests.tui.driving import lines_of, screen_lines, until
from tests.tui.memory_shelf import RIGS, row_of, session_of
from tui.app import SMALLEST, LoadglassApp
from tui.screens.disk import DiskScreen
from tui.screens.explain import Explain
from tui.screens.shelf import ShelfScreen
from tui.widgets.pane_tabs import PANES, PaneTabs

PANE_KEYS = {"f": "files", "m": "map", "t": "times", "a": "audit", "c": "contents"}


@pytest.fixture(autouse=True)
def own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def shown_panes(screen: DiskScreen) -> set[str]:
    return {name for name in PANES if screen.query_one(f"#{name}").display}


# --- getting about ------------------------------------------------------------------------------


async def test_each_pane_has_its_key() -> None:
    assert set(PANE_KEYS.values()) == set(PANES)
    async with disk_view(disks.tidy()) as (pilot, screen):
        assert shown_panes(screen) == {"files"}
        for key, pane in PANE_KEYS.items():
            await pilot.press(key)
            assert shown_panes(screen) == {pane}
            assert screen.focused is screen._focusable(pane)


async def test_arrows_and_tab_go_from_pane_to_pane_and_round() -> None:
    async with disk_view(disks.tidy()) as (pilot, screen):
        order = []
        for _ in PANES:
            await pilot.press("tab")
            order.append(screen.active)
        assert order == [*list(PANES)[1:], "files"]
        for pane in ("contents", "audit", "times", "map"):
            await pilot.press("left")
            assert screen.active == pane
        await pilot.press("right")  # on the map an arrow goes to the next track
        assert screen.active == "map"
        await pilot.press("f", "left", "right")
        assert screen.active == "files"


async def test_a_click_on_a_tab_goes_there() -> None:
    async with disk_view(disks.tidy()) as (pilot, screen):
        at = 0
        for name, pane in PANES.items():
            await pilot.click(PaneTabs, offset=(at + 1, 0))
            await pilot.pause()
            assert screen.active == name
            at += len(pane.label) + 2


async def test_a_wide_screen_shows_two_panes_and_a_tall_one_four() -> None:
    async with disk_view(disks.tidy(), (120, 30)) as (pilot, screen):
        assert shown_panes(screen) == {"files", "map"}
        await pilot.press("t")
        assert shown_panes(screen) == {"files", "times"}
        await pilot.press("a")
        assert shown_panes(screen) == {"audit", "times"}
    async with disk_view(disks.tidy(), WIDE) as (pilot, screen):
        assert shown_panes(screen) == {"files", "audit", "map", "times"}
        await pilot.press("c")
        assert shown_panes(screen) == {"files", "contents", "map", "times"}
        await pilot.press("f")
        assert shown_panes(screen) == {"files", "contents", "map", "times"}


async def test_resizing_keeps_pane_and_file() -> None:
    async with disk_view(disks.tidy(), WIDE) as (pilot, screen):
        await pilot.press("down", "m")
        for size in ((80, 24), (30, 8), (200, 60), (120, 24)):
            await pilot.resize_terminal(*size)
            await pilot.pause()
            assert screen.active == "map"
            assert screen.slot == 1
            assert screen.query_one("#map").display


async def test_a_table_is_as_wide_after_resizing_as_from_the_start() -> None:
    async with disk_view(disks.tidy(), WIDE) as (pilot, screen):
        before = lines_of(screen.files)
        for size in ((80, 24), (140, 48), (30, 6), WIDE):
            await pilot.resize_terminal(*size)
            await pilot.pause()
        assert lines_of(screen.files) == before


async def test_from_the_shelf_and_back(tmp_path: Path) -> None:
    path = tmp_path / "hafen.d64"
    path.write_bytes(disks.tidy())
    app = LoadglassApp(session_of([row_of(path, 1)], tmp_path / "home"))
    async with app.run_test(size=NARROW) as pilot:
        await until(
            pilot, lambda: isinstance(app.screen, ShelfScreen) and app.screen.table.row_count
        )
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(app.screen, DiskScreen))
        assert "HAFENLOTSE" in screen_lines(app)[0]
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(app.screen, ShelfScreen))


async def test_help_names_every_key_of_the_view() -> None:
    async with disk_view(disks.tidy(), (100, 60)) as (pilot, _):
        await pilot.press("question_mark")
        await pilot.pause()
        text = "\n".join(screen_lines(pilot.app))
        for words in ("Map: where every block lies", "Save the chosen file to the computer"):
            assert words in text


# --- one choice, shown on every pane ------------------------------------------------------------


async def test_the_chosen_file_is_the_same_on_every_pane() -> None:
    async with disk_view(disks.tidy(), WIDE) as (pilot, screen):
        await pilot.press("down")
        lots = screen.opened.audit.by_slot[1]
        assert screen.file is lots
        assert screen.map.file is lots
        assert screen.map.cursor == lots.chain.blocks[0]
        assert screen.times.stages.title == '"LOTSE.MC"'
        await pilot.press("c")
        await until(pilot, lambda: '"LOTSE.MC"' in "\n".join(lines_of(screen.contents)))


async def test_the_disk_itself_can_be_chosen() -> None:
    async with disk_view(disks.tidy(), WIDE) as (pilot, screen):
        await pilot.press("home")
        assert screen.slot is None
        assert screen.map.file is None
        assert screen.map.cursor == TRACKS_35.header_block
        assert "4 programs in a row" in lines_of(screen.times.stages)[0]


async def test_starts_at_what_the_machine_loads_first() -> None:
    async with disk_view(disks.looped()) as (_, screen):
        assert screen.file is screen.opened.audit.first_program


async def test_enter_on_a_file_looks_inside() -> None:
    async with disk_view(disks.tidy()) as (pilot, screen):
        await pilot.press("enter")
        await until(
            pilot, lambda: "10 REM *** HAFENLOTSE ***" in "\n".join(lines_of(screen.contents))
        )


async def test_enter_on_a_block_looks_inside_it() -> None:
    async with disk_view(disks.tidy()) as (pilot, screen):
        await pilot.press("m", "end", "pageup", "enter")
        await until(pilot, lambda: "block 35/0" in lines_of(screen.contents)[0])
        await pilot.press("f", "enter")
        await until(pilot, lambda: '"HAFENLOTSE"' in lines_of(screen.contents)[0])


async def test_a_double_click_on_a_file_looks_inside() -> None:
    async with disk_view(disks.tidy()) as (pilot, screen):
        await pilot.click("#files", offset=(10, 5), times=2)
        await pilot.pause()
        assert screen.slot == 2
        assert screen.active == "contents"


# --- findings -----------------------------------------------------------------------------------


async def test_a_finding_leads_to_its_file_and_its_block() -> None:
    async with disk_view(disks.bad_block()) as (pilot, screen):
        bad, outside, *_ = screen.findings.findings
        await pilot.press("a", "down")
        assert screen.slot is None
        assert TRACKS_35.place(screen.map.cursor) == outside.place
        await pilot.press("up")
        assert screen.slot == bad.slot == 1
        assert TRACKS_35.place(screen.map.cursor) == bad.place
        assert screen.files.slot_of(screen.files.cursor) == 1


async def test_enter_explains_a_finding_and_leads_on() -> None:
    async with disk_view(disks.looped(), (100, 40)) as (pilot, screen):
        finding = screen.findings.findings[0]
        for key, pane in (("m", "map"), ("f", "files"), ("escape", "audit")):
            await pilot.press("a", "enter")
            await until(pilot, lambda: isinstance(pilot.app.screen, Explain))
            await pilot.pause()
            text = " ".join(" ".join(screen_lines(pilot.app)).replace("│", " ").split())
            assert finding.row.drive in text
            assert finding.row.mends[1:60] in text
            await pilot.press(key)
            await until(pilot, lambda: pilot.app.screen is screen)
            assert screen.active == pane
            assert screen.slot == 1
            assert TRACKS_35.place(screen.map.cursor) == finding.place


async def test_a_finding_of_the_disk_leads_to_no_file() -> None:
    async with disk_view(disks.no_directory()) as (pilot, screen):
        await pilot.press("a", "enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, Explain))
        assert not pilot.app.screen.query("#files")
        await pilot.press("f")
        assert isinstance(pilot.app.screen, Explain)
        await pilot.press("enter")
        await until(pilot, lambda: pilot.app.screen is screen)


async def test_a_sound_disk_says_so() -> None:
    async with disk_view(disks.tidy()) as (pilot, screen):
        await pilot.press("a", "enter", "down")
        assert "Nothing was found: this image is sound." in "\n".join(lines_of(screen.findings))
        assert pilot.app.screen is screen


# --- saving -------------------------------------------------------------------------------------


async def test_saves_a_file_under_a_sensible_name(tmp_path: Path) -> None:
    async with disk_view(disks.tidy()) as (pilot, screen):
        await pilot.press("down", "ctrl+s")
        await pilot.pause()
        await pilot.press("enter")
        await until(pilot, lambda: (tmp_path / "lotse.mc.prg").exists())
        await until(pilot, lambda: pilot.app.screen is screen)
        assert (tmp_path / "lotse.mc.prg").read_bytes() == disks.program(20_000, 0x1000)


async def test_overwrites_only_when_told_to(tmp_path: Path) -> None:
    target = tmp_path / "lotse.mc.prg"
    target.write_bytes(b"mine")
    async with disk_view(disks.tidy()) as (pilot, screen):
        await pilot.press("down", "ctrl+s")
        await pilot.pause()
        await pilot.press("enter")
        modal = pilot.app.screen
        await until(pilot, lambda: modal.query_one(".trouble").display)
        assert "is there already" in "".join(screen_lines(pilot.app))
        await pilot.press("enter")  # the safe button has the keys
        await until(pilot, lambda: pilot.app.screen is screen)
        assert target.read_bytes() == b"mine"
        await pilot.press("ctrl+s")
        await pilot.pause()
        await pilot.press("enter")
        await until(pilot, lambda: pilot.app.screen.query_one(".trouble").display)
        await pilot.click("#write")
        await until(pilot, lambda: pilot.app.screen is screen)
        assert target.read_bytes() == disks.program(20_000, 0x1000)


async def test_typing_another_name_asks_again(tmp_path: Path) -> None:
    (tmp_path / "lotse.mc.prg").write_bytes(b"mine")
    async with disk_view(disks.tidy()) as (pilot, screen):
        await pilot.press("down", "ctrl+s")
        await pilot.pause()
        await pilot.press("enter")
        modal = pilot.app.screen
        await until(pilot, lambda: modal.query_one(".trouble").display)
        modal.query_one("Input").focus()
        await pilot.press("2")
        await pilot.pause()
        assert not modal.query_one(".trouble").display
        await pilot.press("enter")
        await until(pilot, lambda: pilot.app.screen is screen)
        assert (tmp_path / "lotse.mc.prg").read_bytes() == b"mine"
        assert (tmp_path / "lotse.mc.prg2").exists()


async def test_never_saves_over_the_image(tmp_path: Path) -> None:
    path = tmp_path / "hafen.d64"
    path.write_bytes(disks.tidy())
    async with disk_view(open_and_audit(path)) as (pilot, _):
        await pilot.press("down", "ctrl+s")
        await pilot.pause()
        pilot.app.screen.query_one("Input").value = "hafen.d64"  # type: ignore[attr-defined]
        await pilot.press("enter")
        await until(pilot, lambda: pilot.app.screen.query_one(".trouble").display)
        assert path.read_bytes() == disks.tidy()


async def test_a_broken_file_is_refused_in_a_sentence(tmp_path: Path) -> None:
    async with disk_view(disks.looped()) as (pilot, _):
        await pilot.press("down", "ctrl+s")
        await pilot.pause()
        await pilot.press("enter")
        await until(pilot, lambda: pilot.app.screen.query_one(".trouble").display)
        assert "cannot be read whole" in "".join(screen_lines(pilot.app))
        await pilot.press("escape")
    assert not list(tmp_path.glob("*.prg"))


async def test_there_is_nothing_to_save_of_the_disk_itself() -> None:
    async with disk_view(disks.tidy()) as (pilot, screen):
        await pilot.press("home", "ctrl+s")
        await pilot.pause()
        assert pilot.app.screen is screen


# --- letters and glyphs -------------------------------------------------------------------------


async def test_a_key_switches_the_character_set() -> None:
    async with disk_view(disks.tidy()) as (pilot, screen):
        assert '"HAFENLOTSE"' in "\n".join(lines_of(screen.files))
        await pilot.press("l")
        await pilot.pause()
        text = "\n".join(lines_of(screen.files))
        assert '"hafenlotse"' in text and "HAFENLOTSE" not in text
        assert "hafenlotse" in screen_lines(pilot.app)[0]
        await pilot.press("l")
        await pilot.pause()
        assert '"HAFENLOTSE"' in "\n".join(lines_of(screen.files))


@pytest.mark.parametrize("size", [NARROW, WIDE], ids=["narrow", "wide"])
async def test_plain_glyphs_need_no_font_of_ours(size: tuple[int, int]) -> None:
    """Nothing outside code page 437 and a few dashes, with the setting for plain glyphs."""
    allowed = set(map(chr, range(0x20, 0x7F)))
    allowed |= {bytes([code]).decode("cp437") for code in range(0x80, 0x100)}
    allowed |= set("☺☻♥♦♣♠•◘○◙♂♀♪♫☼►◄↕‼¶§▬↨↑↓→←∟↔▲▼")  # its codes below 20
    allowed |= set("–—×…›‹╌⏎")
    async with disk_view(disks.tidy(), size) as (pilot, screen):
        pilot.app.settings.glyphs = "plain"  # type: ignore[attr-defined]
        pilot.app.apply_settings()  # type: ignore[attr-defined]
        for key in PANE_KEYS:
            await pilot.press(key, "down")
            await pilot.pause(0.05)
            for line in screen_lines(pilot.app):
                assert set(line) <= allowed, set(line) - allowed
        assert screen.lettering.plain


# --- every kind of image, every size ------------------------------------------------------------

KEYS = [
    "f",
    "m",
    "t",
    "a",
    "c",
    "up",
    "down",
    "left",
    "right",
    "home",
    "end",
    "pageup",
    "pagedown",
    "space",
    "full_stop",
    "comma",
    "n",
    "d",
    "l",
    "tab",
]


@few_or_all(6, 60)
@pytest.mark.parametrize("name", disks.DISKS)
async def test_any_image_on_any_screen(name: str, count: int) -> None:
    """Keys at random, on screens from one cell to a wall, of whole and of broken images."""
    dice = random.Random(name)
    sizes = [NARROW, WIDE, (120, 24), (40, 10), (12, 3), (1, 1), (240, 70)]
    async with disk_view(disks.DISKS[name](), motion=True) as (pilot, screen):
        for size in sizes:
            await pilot.resize_terminal(*size)
            for key in dice.choices(KEYS, k=count):
                pilot.app.simulate_key(key)
                await pilot.pause(0)
            await pilot.pause()
            assert pilot.app.screen is screen
            assert len(screen_lines(pilot.app)) == max(size[1], SMALLEST.height)


@pytest.mark.parametrize("size", [NARROW, WIDE], ids=["narrow", "wide"])
async def test_hostile_names_are_drawn_and_nothing_else(size: tuple[int, int]) -> None:
    async with disk_view(disks.hostile(), size) as (pilot, screen):
        text = "\n".join(screen_lines(pilot.app))
        assert '"[RED]ROT[/RED]"' in text
        assert '"[@CLICK=QUIT]X[/"' in text
        for key in PANE_KEYS:
            for _ in range(3):
                await pilot.press(key, "down")
                await pilot.pause(0.02)
                assert all(line.isprintable() or "\xa0" in line for line in screen_lines(pilot.app))
        await pilot.press("l", "f", "home", "down", "ctrl+s")
        await pilot.pause()
        assert 'Save "[red]rot[/red]" to the computer' in "\n".join(screen_lines(pilot.app))
        assert screen.is_attached


async def test_nothing_slow_runs_on_the_thread_of_the_screen(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    import threading

    from tui.screens import disk
    from tui.widgets import contents_view, timeline_view

    slow = {"clock_image": disk, "file_contents": contents_view, "timeline": timeline_view}
    threads: dict[str, set[int]] = {name: set() for name in slow}

    def watched(name: str) -> object:
        before = getattr(slow[name], name)

        def call(*arguments: object) -> object:
            threads[name].add(threading.get_ident())
            return before(*arguments)

        return call

    for name, module in slow.items():
        monkeypatch.setattr(module, name, watched(name))
    async with disk_view(disks.tidy()) as (pilot, screen):
        await pilot.press("down", "c")
        await until(pilot, lambda: threads["file_contents"])
        await pilot.press("t", "n")
        await until(pilot, lambda: threads["timeline"])
        assert screen.times.clocking is not None
    assert all(each and threading.get_ident() not in each for each in threads.values())


async def test_leaving_while_it_is_being_clocked_does_no_harm() -> None:
    async with disk_view(disks.tidy()) as (pilot, _):
        screen = DiskScreen(disks.opened(disks.twins()), list(RIGS.values()))
        await pilot.app.push_screen(screen)
        await pilot.press("escape", "escape")
        await until(pilot, lambda: isinstance(pilot.app.screen, ShelfScreen))


async def test_two_disks_one_after_the_other() -> None:
    async with disk_view(disks.tidy()) as (pilot, first):
        second = await push_disk(pilot, disks.twins())
        assert "BOJEN" in screen_lines(pilot.app)[0]
        await pilot.press("escape")
        await until(pilot, lambda: pilot.app.screen is first)
        assert not second.is_attached
