"""Lines that come and go, and the scrollbar that goes with them."""

from __future__ import annotations

import pytest
from textual.app import App, ComposeResult

from tui.widgets.line_view import Line, LineView, cells


class Lines(LineView):
    number = 3

    def line_count(self) -> int:
        return self.number

    def line(self, index: int) -> Line:
        return cells("x" * self.line_width)


class LinesApp(App[None]):
    CSS = "LineView { overflow-x: hidden; overflow-y: auto; scrollbar-size-vertical: 1; }"

    def compose(self) -> ComposeResult:
        yield Lines()


@pytest.mark.parametrize("few", [0, 3, 10])
async def test_the_scrollbar_leaves_with_the_lines_that_needed_it(few: int) -> None:
    app = LinesApp()
    async with app.run_test(size=(30, 10)) as pilot:
        view = app.query_one(Lines)
        for number in (few, 11, few, 400, few):
            view.number = number
            view.lay()
            await pilot.pause()
            assert view.show_vertical_scrollbar == (number > 10)
            assert view.line_width == (29 if number > 10 else 30)
