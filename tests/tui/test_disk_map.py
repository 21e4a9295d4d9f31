"""The picture of the disk: every block in its place, the chain in its order."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

from formats.geometry import LAYOUTS, TRACKS_35, TRACKS_70, TRACKS_80, Geometry
from loadglass.block_roles import steps_of
from loadglass.opened import open_and_audit
from tests.tui import disks
from tests.tui.disk_view import NARROW, WIDE, disk_view
from tests.tui.driving import lines_of, until
from tui.screens.disk import DiskScreen
from tui.widgets.block_panel import BlockPanel, gone_text
from tui.widgets.disk_map import LABEL_CELLS, DiskMap
from tui.widgets.map_looks import LOOKS


@pytest.fixture(autouse=True)
def own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def panel(screen: DiskScreen) -> str:
    return "\n".join(line.rstrip() for line in lines_of(screen.query_one(BlockPanel)))


def drawn(disk_map: DiskMap) -> dict[int, str]:
    """The glyph of every block on screen."""
    glyphs = {}
    for y, line in enumerate(lines_of(disk_map)):
        for x, glyph in enumerate(line):
            block = disk_map.block_at(x, y)
            if (
                block is not None
                and (x - LABEL_CELLS + disk_map.scroll_offset.x) % (disk_map.cell_width) == 0
            ):
                glyphs[block] = glyph
    return glyphs


# --- every block in its place -------------------------------------------------------------------


async def test_all_35_tracks_show_on_the_smallest_screen() -> None:
    async with disk_view(disks.tidy(), NARROW) as (pilot, screen):
        await pilot.press("m")
        glyphs = drawn(screen.map)
        assert sorted(glyphs) == list(range(TRACKS_35.blocks))
        lines = lines_of(screen.map)
        assert lines[0].split() == ["1", "5", "10", "▾17", "25", "30", "35"]
        assert [line[:2].strip() for line in lines[1:22]] == [str(n) for n in range(21)]


@pytest.mark.parametrize("geometry", LAYOUTS, ids=lambda geometry: geometry.name)
async def test_glyphs_tell_what_each_block_is_for(geometry: Geometry) -> None:
    async with disk_view(disks.tidy(geometry), (300, 70)) as (pilot, screen):
        await pilot.press("down", "m")
        glyphs = drawn(screen.map)
        assert sorted(glyphs) == list(range(geometry.blocks))
        audit = screen.opened.audit
        for block, glyph in glyphs.items():
            if block in audit.by_slot[1].chain.blocks:
                expected = "this"
            elif audit.owner[block] >= 0:
                expected = "file"
            elif block in audit.directory.owned:
                expected = "directory"
            else:
                expected = "blank"
            assert glyph == LOOKS[expected].glyph


@pytest.mark.parametrize("geometry", LAYOUTS, ids=lambda geometry: geometry.name)
async def test_a_disk_too_large_for_the_screen_follows_the_cursor(geometry: Geometry) -> None:
    async with disk_view(disks.tidy(geometry), NARROW) as (pilot, screen):
        await pilot.press("m", "home", "pageup")
        assert screen.map.cursor == 0
        seen = set(drawn(screen.map))
        await pilot.press("end", "pagedown")
        assert screen.map.cursor == geometry.blocks - 1
        seen |= set(drawn(screen.map))
        assert {0, geometry.blocks - 1} <= seen
        more = geometry.tracks + LABEL_CELLS > screen.map.size.width
        assert ("‹" in lines_of(screen.map)[0]) == more


async def test_arrows_move_by_track_and_sector() -> None:
    async with disk_view(disks.tidy()) as (pilot, screen):
        await pilot.press("m", "home", "pageup", "down", "down", "right")
        assert TRACKS_35.place(screen.map.cursor) == (2, 2)
        await pilot.press("pagedown")
        assert TRACKS_35.place(screen.map.cursor) == (2, 20)
        await pilot.press("end")  # 17 sectors there
        assert TRACKS_35.place(screen.map.cursor) == (35, 16)


async def test_a_click_takes_the_block_under_it() -> None:
    async with disk_view(disks.tidy(TRACKS_80), NARROW) as (pilot, screen):
        await pilot.press("m", "end", "pagedown")
        for x, y in ((LABEL_CELLS, 1), (LABEL_CELLS + 20, 12)):
            block = screen.map.block_at(x, y)
            await pilot.click(DiskMap, offset=(x, y))
            assert screen.map.cursor == block
        before = screen.map.cursor
        await pilot.click(DiskMap, offset=(0, 0))
        assert screen.map.cursor == before


@pytest.mark.parametrize(
    ("image", "look"),
    [
        (disks.looped, "break"),
        (disks.bad_block, "break"),
        (disks.bad_block, "unreadable"),
        (disks.short, "unreadable"),
        (disks.looped, "stranded"),
        (disks.no_directory, "stranded"),
        (disks.zeros, "blank"),
    ],
)
async def test_what_is_wrong_has_a_glyph_of_its_own(image: object, look: str) -> None:
    async with disk_view(image()) as (pilot, screen):  # type: ignore[operator]
        await pilot.press("down", "m")
        assert LOOKS[look].glyph in drawn(screen.map).values()
        assert LOOKS[look].says in panel(screen)


def test_no_two_looks_share_a_glyph() -> None:
    for glyphs in (
        [look.glyph for look in LOOKS.values()],
        [look.plain for look in LOOKS.values()],
    ):
        assert len(set(glyphs)) == len(LOOKS)


async def test_side_sectors_stand_beside_the_chain() -> None:
    async with disk_view(disks.tidy()) as (pilot, screen):
        await pilot.press("end", "m")
        side = TRACKS_35.index(*screen.opened.audit.by_slot[5].entry.side_start)
        assert drawn(screen.map)[side] == LOOKS["beside"].glyph


# --- the chain in its order ---------------------------------------------------------------------


async def test_stepping_goes_along_the_chain_and_says_how_far() -> None:
    async with disk_view(disks.tidy()) as (pilot, screen):
        await pilot.press("down", "m")
        chain = screen.opened.audit.by_slot[1].chain.blocks
        for count in range(1, 4):
            await pilot.press("full_stop")
            assert screen.map.step == count
            assert screen.map.cursor == chain[count - 1]
            glyphs = drawn(screen.map)
            lit = [block for block in chain if glyphs[block] == LOOKS["this"].glyph]
            assert set(lit) == set(chain[:count])
            assert glyphs[chain[count]] == LOOKS["unlit"].glyph
            assert f"{count} of {len(chain)}: {TRACKS_35.place(chain[count - 1])}" in panel(screen)
        assert "10 sectors on" in panel(screen)
        await pilot.press("comma", "comma", "comma")
        assert screen.map.step is None


async def test_the_head_is_marked_above_its_track_on_both_sides() -> None:
    for geometry, size in ((TRACKS_35, NARROW), (TRACKS_35, (300, 70)), (TRACKS_70, (300, 70))):
        async with disk_view(disks.tidy(geometry), size) as (pilot, screen):
            await pilot.press("m")
            for track in (1, 9, 18, 34, 35, geometry.tracks):
                await go_to(screen, track, 0)
                await pilot.pause()
                ruler = lines_of(screen.map)[0]
                columns = [x for x, glyph in enumerate(ruler) if glyph == "▾"]
                under = {track, (track + 34) % 70 + 1} if geometry.sides > 1 else {track}
                found = {screen.map.block_at(x, 1) for x in columns}
                assert found == {geometry.index(each, 0) for each in under}
                assert f"▾{track}" in ruler or f"{track}▾" in ruler
            if geometry.sides > 1:
                assert "side 2, the head on track 35" in panel(screen)
            screen.app.settings.glyphs = "plain"
            screen.app.apply_settings()
            await pilot.pause()
            assert "v" in lines_of(screen.map)[0] and "▾" not in lines_of(screen.map)[0]


async def test_the_way_of_the_head_along_the_chain() -> None:
    async with disk_view(disks.tidy()) as (pilot, screen):
        await pilot.press("down", "m")
        chain = screen.opened.audit.by_slot[1].chain.blocks
        assert "3 head moves, 3 tracks" in panel(screen)
        screen.map.read_until(len(chain))
        await pilot.pause()
        assert "way 17›16›15›14" in panel(screen)
        screen.map.read_until(21)
        await pilot.pause()
        assert "way 17›16\n" in panel(screen)


def test_a_long_way_is_cut_at_its_beginning() -> None:
    blocks = [TRACKS_35.index(track, 0) for track in range(1, 36)]
    text = gone_text(TRACKS_35, steps_of(TRACKS_35, blocks), 35, 30)
    assert len(text) <= 30 and text.startswith("way …›") and text.endswith("›34›35")


async def test_stepping_back_starts_at_the_end_and_past_it_all_is_lit() -> None:
    async with disk_view(disks.tidy()) as (pilot, screen):
        await pilot.press("down", "m", "comma")
        chain = screen.opened.audit.by_slot[1].chain.blocks
        assert screen.map.step == len(chain)
        await pilot.press("full_stop")
        assert screen.map.step is None
        assert LOOKS["unlit"].glyph not in drawn(screen.map).values()


async def test_a_chain_that_loops_ends_where_it_comes_back() -> None:
    async with disk_view(disks.looped()) as (pilot, screen):
        await pilot.press("down", "m")
        chain = disks.chain_of(disks.tidy(), 1)
        third = TRACKS_35.place(chain[2])
        assert f"then it comes back to {third}" in " ".join(panel(screen).split())
        await pilot.press(*["full_stop"] * 10)
        assert screen.map.step == 10
        assert drawn(screen.map)[chain[2]] == "!"
        await pilot.press("full_stop")
        assert screen.map.step is None


async def test_playing_walks_to_the_end_and_can_be_stopped() -> None:
    async with disk_view(disks.tidy()) as (pilot, screen):
        await pilot.press("down", "m", "space")
        await until(pilot, lambda: (screen.map.step or 0) >= 3)
        await pilot.press("space")
        stopped = screen.map.step
        await pilot.pause(0.3)
        assert screen.map.step == stopped
        await pilot.press("up", "f", "end", "up", "m", "space")  # three blocks only
        await until(pilot, lambda: screen.map.step is not None)
        await until(pilot, lambda: screen.map.step is None)


async def test_a_chosen_file_lights_up_in_order_where_motion_is_welcome() -> None:
    async with disk_view(disks.tidy(), WIDE, motion=True) as (pilot, screen):
        pilot.app.simulate_key("down")
        counts = []
        for _ in range(40):
            await asyncio.sleep(0.03)
            counts.append(screen.map.lit)
        walked = [count for count in counts if count is not None]
        assert len(set(walked)) > 2
        assert walked == sorted(walked)
        assert counts[-1] is None
        assert "gaps 10" in panel(screen)


async def test_the_gaps_of_a_chain_are_not_cut_on_a_small_screen() -> None:
    fog = Path(__file__).parents[2] / "sample_images" / "fog-over-grauhaven.d64"
    async with disk_view(open_and_audit(str(fog)), (80, 24)) as (pilot, screen):
        await pilot.press("m")
        await until(pilot, lambda: "gaps 10 (×116), 9 (×40) sectors" in joined(panel(screen)))


def joined(text: str) -> str:
    return " ".join(text.split())


async def test_nothing_moves_by_itself_where_motion_is_off() -> None:
    async with disk_view(disks.tidy(), WIDE) as (pilot, screen):
        pilot.app.simulate_key("down")
        for _ in range(10):
            await asyncio.sleep(0.02)
            assert screen.map.lit is None


async def test_the_order_can_be_read_off_the_blocks() -> None:
    async with disk_view(disks.tidy()) as (pilot, screen):
        await pilot.press("down", "m", "n")
        glyphs = drawn(screen.map)
        chain = screen.opened.audit.by_slot[1].chain.blocks
        assert [glyphs[block] for block in chain] == [str(i % 10) for i in range(1, len(chain) + 1)]
        await pilot.press("n")
        assert drawn(screen.map)[chain[0]] == LOOKS["this"].glyph


# --- the block under the cursor -----------------------------------------------------------------


async def go_to(screen: DiskScreen, track: int, sector: int) -> None:
    screen.map.go_to(screen.opened.image.geometry.index(track, sector))


async def test_the_panel_says_what_a_block_is() -> None:
    async with disk_view(disks.tidy()) as (pilot, screen):
        await pilot.press("m")
        chain = screen.opened.audit.by_slot[1].chain.blocks
        wanted = {
            TRACKS_35.place(chain[1]): ['"LOTSE.MC"', f"reading order 2 of {len(chain)}", "next"],
            TRACKS_35.place(chain[-1]): ["the last: 188 bytes in it", "marked used"],
            (18, 0): ["header: title and block map"],
            (18, 1): ["directory, sector 1 of 1"],
            (35, 16): ["never written", "marked free", "block 683 of 683"],
        }
        for place, texts in wanted.items():
            await go_to(screen, *place)
            await pilot.pause()
            for text in texts:
                assert text in panel(screen)


async def test_the_panel_says_what_is_wrong_with_a_block() -> None:
    async with disk_view(disks.bad_block()) as (pilot, screen):
        await pilot.press("m")
        await go_to(screen, 1, 0)
        await pilot.pause()
        assert "error 20: header block not found" in " ".join(panel(screen).split())
    async with disk_view(disks.short()) as (pilot, screen):
        await pilot.press("m")
        await go_to(screen, 35, 0)
        await pilot.pause()
        assert "missing from the image" in panel(screen)
    async with disk_view(disks.off_disk()) as (pilot, screen):
        chain = disks.chain_of(disks.tidy(), 1)
        await pilot.press("m")
        await go_to(screen, *TRACKS_35.place(chain[5]))
        await pilot.pause()
        assert "leads to 77/3, off the disk" in panel(screen)
    async with disk_view(disks.shared()) as (pilot, screen):
        chain = disks.chain_of(disks.tidy(), 1)
        await pilot.press("m")
        await go_to(screen, *TRACKS_35.place(chain[40]))
        await pilot.pause()
        assert '"LOTSE.MC"' in panel(screen) and '"KARTE"' in panel(screen)


async def test_the_legend_counts_every_block() -> None:
    async with disk_view(disks.bad_block()) as (pilot, screen):
        await pilot.press("down", "m")
        counts = [
            int(line.split()[-1].replace(",", ""))
            for line in panel(screen).splitlines()
            if any(line[2:].startswith(look.says) for look in LOOKS.values())
            and line.split()[-1].isdigit()
        ]
        assert sum(counts) == TRACKS_35.blocks
