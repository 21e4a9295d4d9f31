"""A stopwatch on a screen of its own, for `loadglass bench start`."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from typing import ClassVar, NamedTuple

from rich.text import Text
from textual.app import App, ComposeResult, CSSPathType
from textual.binding import Binding, BindingType
from textual.widgets import Static

from loadglass.home import home
from tui import keys, themes
from tui.readings import Prediction
from tui.screens.timing import Timing
from tui.settings import load_settings
from tui.watch import State
from tui.widgets.key_bar import KeyBar
from tui.widgets.stopwatch import Stopwatch


class Read(NamedTuple):
    """What was read and is to be kept."""

    seconds: float
    remark: str


class StopwatchScreen(Timing):
    BINDINGS: ClassVar[list[BindingType]] = [
        *keys.STOPWATCH,
        keys.REMARK,
        Binding("escape,q", "app.quit", "Leave", tooltip="Leave without a reading"),
    ]

    def __init__(
        self,
        title: str,
        prediction: Prediction,
        remark: str,
        diagnosis: Callable[[float], Sequence[str]],
    ):
        """diagnosis: what a reading of so many seconds may mean, in sentences."""
        super().__init__()
        self._title = title
        self._prediction = prediction
        self._diagnosis = diagnosis
        self.remark = remark

    def compose(self) -> ComposeResult:
        yield Static(Text(self._title, no_wrap=True, overflow="ellipsis"), id="timed")
        yield Stopwatch()
        yield Static(id="says", markup=False)
        yield KeyBar()

    def on_mount(self) -> None:
        settings, _ = load_settings(home().settings)
        self.stopwatch.plain_glyphs = settings.glyphs == "plain"
        self.stopwatch.predict(self._prediction)
        self.stopwatch.focus()
        self.show_remark()

    def show_remark(self) -> None:
        stopwatch = self.stopwatch
        lines: list[str] = []
        if stopwatch.state is State.STOPPED:
            lines += self._diagnosis(stopwatch.seconds)
        lines += [f"remark: {self.remark}"] if self.remark else []
        self.query_one("#says", Static).update(Text("\n".join(lines)))

    def keep(self, seconds: float, remark: str) -> None:
        self.app.exit(Read(seconds, remark))


class StopwatchApp(App[Read]):
    """Returns the reading that was kept, or None."""

    CSS_PATH: ClassVar[CSSPathType] = [
        "styles/app.tcss",
        "styles/disk.tcss",
        "styles/bench.tcss",
    ]
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("ctrl+q,ctrl+c", "quit", "Quit", show=False, priority=True)
    ]
    ENABLE_COMMAND_PALETTE = False

    def __init__(self, screen: StopwatchScreen):
        no_colour = bool(os.environ.get("NO_COLOR"))
        super().__init__(ansi_color=True if no_colour else None)
        self._first_screen = screen
        for name in self.available_themes:
            self.unregister_theme(name)
        for theme in themes.THEMES:
            self.register_theme(theme)
        settings, _ = load_settings(home().settings)
        self.theme = themes.NO_COLOUR_THEME if no_colour else settings.theme

    def on_mount(self) -> None:
        self.push_screen(self._first_screen)

    def _fatal_error(self) -> None:
        """A fault of ours: no traceback on the terminal; `read_stopwatch` raises it."""
        self._close_messages_no_wait()


def read_stopwatch(screen: StopwatchScreen) -> Read | None:
    """Show the stopwatch until a reading is kept, or it is left without one."""
    app = StopwatchApp(screen)
    read = app.run()
    if app._exception is not None:
        raise app._exception
    return read
