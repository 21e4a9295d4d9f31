"""The table that holds only what it shows."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import pytest
from textual.app import App, ComposeResult
from textual.geometry import Region
from textual.strip import Strip

from formats.errors import LoadglassError
from tests.tui.driving import lines_of, settle
from tui.widgets.columns import Cell, Column
from tui.widgets.page_table import PageTable
from tui.widgets.pages import PAGE_ROWS, PAGES_KEPT, Query
from tui.widgets.table_lines import DOWN, POINTER, UP

ROWS = 100_000


@dataclass(frozen=True)
class Number:
    id: int


class Numbers:
    """Rows are their own places; `filter_text` is how many there are."""

    def __init__(self) -> None:
        self.asked: list[tuple[int, int]] = []
        self.threads: set[int] = set()
        self.gate = threading.Event()
        self.gate.set()
        self.more = 0
        """Rows that have come since."""

    def count(self, filter_text: str) -> int:
        self.threads.add(threading.get_ident())
        if filter_text == "bad":
            raise LoadglassError("that is no number")
        return int(filter_text or ROWS) + self.more

    def page(
        self, filter_text: str, sort: str, descending: bool, offset: int, limit: int
    ) -> Sequence[Number]:
        self.threads.add(threading.get_ident())
        assert self.gate.wait(10)
        self.asked.append((offset, limit))
        count = self.count(filter_text)
        places = range(offset, min(offset + limit, count))
        return [Number(count - 1 - place if descending else place) for place in places]

    def place_of(self, row: int, filter_text: str, sort: str, descending: bool) -> int | None:
        count = self.count(filter_text)
        place = count - 1 - row if descending else row
        return place if 0 <= place < count else None


COLUMNS: list[Column[Number]] = [
    Column(
        "number", "number", lambda row: f"{row.id:,}", width=8, rank=0, sort="number", right=True
    ),
    Column("name", "name", lambda row: Cell(f"[b]row[/b] {row.id}", "odd"), width=16, rank=1),
    Column("group", "half", lambda row: f"{row.id / 2:.1f}", width=9, rank=2, group="sums"),
]


class TableApp(App[None]):
    CSS = """
    PageTable > .page-table--marked { background: blue; }
    PageTable:focus > .page-table--cursor { background: red; }
    """

    def __init__(self) -> None:
        super().__init__()
        self.source = Numbers()
        self.thread = ThreadPoolExecutor(1)
        self.heard: list[object] = []

    def compose(self) -> ComposeResult:
        yield PageTable(self.source, COLUMNS, self.thread, id="table")

    @property
    def table(self) -> PageTable[Number]:
        return self.query_one(PageTable)

    def on_mount(self) -> None:
        self.table.focus()
        self.table.show(Query(sort="number"))

    def on_page_table_chosen(self, message: PageTable.Chosen) -> None:
        self.heard.append(message.row)

    def on_page_table_sort_asked(self, message: PageTable.SortAsked) -> None:
        self.heard.append(message.sort)

    def on_page_table_refused(self, message: PageTable.Refused) -> None:
        self.heard.append(str(message.error))


@pytest.fixture
def app() -> Iterator[TableApp]:
    app = TableApp()
    yield app
    app.source.gate.set()
    app.thread.shutdown()


async def test_it_shows_the_first_rows_and_asks_for_no_more_than_it_needs(app: TableApp) -> None:
    async with app.run_test(size=(60, 20)) as pilot:
        await settle(pilot)
        lines = lines_of(app.table)
        assert "sums" in lines[0] and "number" in lines[1]
        assert lines[2].startswith(POINTER) and "[b]row[/b] 0" in lines[2]
        assert len(lines) == 20 and "[b]row[/b] 17" in lines[19]
        assert len(app.source.asked) == 1


async def test_the_source_is_never_asked_in_the_screens_thread(app: TableApp) -> None:
    async with app.run_test(size=(60, 20)) as pilot:
        await settle(pilot)
        await pilot.press("end", "home", "pagedown")
        await settle(pilot)
    assert threading.get_ident() not in app.source.threads
    assert len(app.source.threads) == 1


async def test_the_keys_move_the_cursor_and_the_rows_follow(app: TableApp) -> None:
    async with app.run_test(size=(60, 20)) as pilot:
        await settle(pilot)
        await pilot.press("down", "down", "up")
        assert app.table.cursor == 1 and app.table.cursor_row == Number(1)
        await pilot.press("pagedown")
        assert app.table.cursor == 18
        await pilot.press("end")
        await settle(pilot)
        assert app.table.cursor_row == Number(ROWS - 1)
        assert f"row[/b] {ROWS - 1}" in lines_of(app.table)[-1]
        await pilot.press("down", "pagedown")
        assert app.table.cursor == ROWS - 1
        await pilot.press("home", "up")
        assert app.table.cursor == 0


async def test_few_pages_are_kept_however_far_one_scrolls(app: TableApp) -> None:
    async with app.run_test(size=(60, 20)) as pilot:
        await settle(pilot)
        for place in range(0, ROWS, ROWS // 40):
            app.table.cursor = place
            await pilot.pause()
        await settle(pilot)
        assert len(app.table._pages._pages) <= PAGES_KEPT


async def test_rows_on_their_way_are_dots_and_then_appear(app: TableApp) -> None:
    async with app.run_test(size=(60, 20)) as pilot:
        await settle(pilot)
        app.source.gate.clear()
        app.table.cursor = ROWS // 2
        await pilot.pause()
        assert app.table.cursor_row is None
        assert "·" in lines_of(app.table)[10]
        await pilot.press("enter")
        app.source.gate.set()
        await settle(pilot)
        assert app.table.cursor_row == Number(ROWS // 2)
        assert app.heard == []


async def test_pages_that_have_been_scrolled_past_are_not_read(app: TableApp) -> None:
    async with app.run_test(size=(60, 20)) as pilot:
        await settle(pilot)
        app.source.gate.clear()
        for place in range(0, ROWS, ROWS // 50):
            app.table.cursor = place
            await pilot.pause()
        app.source.asked.clear()
        app.source.gate.set()
        await settle(pilot)
        assert len(app.source.asked) <= 6


async def test_a_new_query_keeps_the_old_rows_until_the_new_ones_are_there(app: TableApp) -> None:
    async with app.run_test(size=(60, 20)) as pilot:
        await settle(pilot)
        await pilot.press("down", "down")
        app.source.gate.clear()
        app.table.show(Query("50", "number", True))
        await pilot.pause(0.05)
        assert app.table.row_count == ROWS and "row[/b] 0" in lines_of(app.table)[2]
        app.source.gate.set()
        await settle(pilot)
        assert app.table.row_count == 50 and app.table.cursor == 0
        assert "row[/b] 49" in lines_of(app.table)[2]
        assert f"{DOWN} number" in lines_of(app.table)[1]


async def test_of_many_queries_the_last_one_counts(app: TableApp) -> None:
    async with app.run_test(size=(60, 20)) as pilot:
        await settle(pilot)
        for count in range(100, 160):
            app.table.show(Query(str(count), "number"))
        await settle(pilot)
        assert app.table.row_count == 159


async def test_a_refused_query_leaves_the_rows(app: TableApp) -> None:
    async with app.run_test(size=(60, 20)) as pilot:
        await settle(pilot)
        app.table.show(Query("bad", "number"))
        await settle(pilot)
        assert app.heard == ["that is no number"]
        assert app.table.row_count == ROWS


async def test_reload_keeps_the_row_or_the_nearest_place_there_is(app: TableApp) -> None:
    async with app.run_test(size=(60, 20)) as pilot:
        app.table.show(Query("900", "number", True))
        await settle(pilot)
        app.table.cursor = 700
        await settle(pilot)
        seen = lines_of(app.table).index(next(x for x in lines_of(app.table) if POINTER in x))
        app.source.more = 50
        app.table.reload()
        await settle(pilot)
        assert app.table.cursor_row == Number(199) and app.table.cursor == 750
        assert POINTER in lines_of(app.table)[seen]
        app.source.more = -800
        app.table.reload()
        await settle(pilot)
        assert app.table.cursor == 99
        assert "row[/b] 0 " in lines_of(app.table)[-1]


async def test_reloading_faster_than_the_source_answers_ends_with_the_last_state(
    app: TableApp,
) -> None:
    async with app.run_test(size=(60, 20)) as pilot:
        await settle(pilot)
        app.source.gate.clear()
        for more in range(1, 20):
            app.source.more = more
            app.table.reload()
            await pilot.pause()
        app.source.gate.set()
        await settle(pilot)
        assert app.table.row_count == ROWS + 19


async def test_rows_can_be_changed_ahead_of_the_source(app: TableApp) -> None:
    async with app.run_test(size=(60, 20)) as pilot:
        await settle(pilot)
        app.table.change_rows(lambda row: Number(row.id + 5000))
        assert app.table.cursor_row == Number(5000)
        assert "row[/b] 5000" in lines_of(app.table)[2]


async def test_a_range_is_marked_with_shift_or_with_a_mark(app: TableApp) -> None:
    async with app.run_test(size=(60, 20)) as pilot:
        await settle(pilot)
        assert app.table.marked == range(1)
        await pilot.press("down", "shift+down", "shift+down")
        assert app.table.marked == range(1, 4)
        await pilot.press("escape")
        assert app.table.marked == range(3, 4)
        await pilot.press("b", "up", "up")
        assert app.table.marked == range(1, 4)
        await pilot.press("b")
        assert app.table.marked == range(1, 2)


async def test_the_mouse_chooses_sorts_and_scrolls(app: TableApp) -> None:
    async with app.run_test(size=(60, 20)) as pilot:
        await settle(pilot)
        await pilot.click("#table", offset=(20, 5))
        assert app.table.cursor == 3
        await pilot.click("#table", offset=(20, 8), times=2)
        await pilot.pause()
        assert app.heard == [Number(6)]
        await pilot.click("#table", offset=(8, 1))
        await pilot.click("#table", offset=(20, 1))
        await pilot.pause()
        assert app.heard == [Number(6), "number"]
        await pilot.click("#table", offset=(20, 12), shift=True)
        assert app.table.marked == range(6, 11)
        app.table.scroll_relative(y=3 * PAGE_ROWS, animate=False)
        await settle(pilot)
        assert f"row[/b] {3 * PAGE_ROWS}" in lines_of(app.table)[2]


async def test_a_click_below_the_last_row_does_nothing(app: TableApp) -> None:
    async with app.run_test(size=(60, 20)) as pilot:
        app.table.show(Query("3", "number"))
        await settle(pilot)
        await pilot.click("#table", offset=(5, 15))
        assert app.table.cursor == 0


@pytest.mark.parametrize("size", [(1, 1), (2, 3), (10, 4), (40, 10), (200, 60)])
async def test_any_size_will_do(app: TableApp, size: tuple[int, int]) -> None:
    async with app.run_test(size=size) as pilot:
        await settle(pilot)
        await pilot.press("down", "end", "pageup")
        await pilot.resize_terminal(30, 8)
        await settle(pilot)
        assert f"row[/b] {app.table.cursor}" in "\n".join(lines_of(app.table))


async def test_no_rows_are_said_in_words(app: TableApp) -> None:
    async with app.run_test(size=(60, 20)) as pilot:
        app.table.nothing_here = "no number is that [b]small[/b]"
        app.table.show(Query("0", "number"))
        await settle(pilot)
        assert "no number is that [b]small[/b]" in lines_of(app.table)[3]
        await pilot.press("down", "enter", "end", "b")
        assert app.heard == [] and app.table.cursor_row is None
        assert list(app.table.marked) == []


async def test_the_scrollbar_covers_no_column(app: TableApp) -> None:
    async with app.run_test(size=(42, 20)) as pilot:
        app.table.show(Query("5", "number"))
        await settle(pilot)
        assert lines_of(app.table)[2].rstrip().endswith("0.0")
        app.table.show(Query("500", "number"))
        await settle(pilot)
        width = app.table.scrollable_size.width
        assert width < 42
        for line in lines_of(app.table)[1:3]:
            assert line[:width].rstrip() == line.rstrip()
            assert not line.rstrip().endswith("…")


def drawn_anew(table: PageTable[Number]) -> list[Strip]:
    table._strips.clear()
    return table.render_lines(table.size.region)


async def test_a_kept_line_never_differs_from_one_drawn_anew(app: TableApp) -> None:
    def narrow() -> None:
        app.table.columns = COLUMNS[:2]

    def other_words() -> None:
        app.table.columns = [replace(COLUMNS[0], label="figure"), *COLUMNS[1:]]

    def other_look() -> None:
        app.theme = "textual-light"

    changes: list[Callable[[], object]] = [
        lambda: app.table.action_move(3),
        lambda: app.table.action_move(2, marking=True),
        lambda: app.table.action_unmark(),
        lambda: app.table.change_rows(lambda row: Number(row.id + 5000)),
        lambda: app.table.show(Query(sort="number", descending=True)),
        lambda: app.table.show(Query("5", "number")),  # without a scrollbar
        lambda: app.screen.set_focus(None),
        lambda: app.table.focus(),
        other_look,
        other_words,
        narrow,
        lambda: app.table.show(Query("500", "")),
    ]
    async with app.run_test(size=(60, 20)) as pilot:
        await settle(pilot)
        before = app.table.render_lines(app.table.size.region)
        assert app.table.render_lines(app.table.size.region)[5] is before[5]
        for number, change in enumerate(changes):
            change()
            await settle(pilot)
            shown = app.table.render_lines(app.table.size.region)
            assert shown == drawn_anew(app.table), number
            assert shown != before, number
            before = shown


@pytest.mark.parametrize("width", [30, 60, 200])
async def test_the_mark_at_what_is_sorted_by_comes_and_goes(app: TableApp, width: int) -> None:
    async with app.run_test(size=(width, 20)) as pilot:
        for sort in ("", "number", "", "number"):
            app.table.show(Query("500", sort))
            await settle(pilot)
            assert (UP in "".join(lines_of(app.table)[:2])) == bool(sort)


async def test_part_of_a_line_is_that_part_of_the_whole(app: TableApp) -> None:
    async with app.run_test(size=(60, 20)) as pilot:
        await settle(pilot)
        whole = lines_of(app.table)
        part = app.table.render_lines(Region(7, 3, 20, 4))
        assert [strip.text for strip in part] == [line[7:27] for line in whole[3:7]]
