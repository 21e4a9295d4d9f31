"""The full screen: one application for all views, with one way of getting about."""

from __future__ import annotations

import asyncio
import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import ClassVar

from textual import work
from textual.app import App, CSSPathType
from textual.binding import BindingType
from textual.command import Provider
from textual.reactive import reactive

from formats.errors import LoadglassError
from loadglass.opened import open_and_audit
from loadglass.progress import Job
from loadglass.shelf.rows import ShelfRow
from tui import keys, themes
from tui.messages import ImageChosen
from tui.palette import Actions
from tui.screens.help import Help
from tui.screens.options import Options
from tui.screens.shelf import ShelfScreen
from tui.screens.view import View
from tui.session import Session
from tui.settings import Settings, load_settings, save_settings
from tui.widgets.work_line import Work


class LoadglassApp(App[None]):
    """Views on a stack: the shelf below, what was opened from it above; back goes down."""

    TITLE = "loadglass"
    CSS_PATH: ClassVar[CSSPathType] = ["styles/app.tcss", "styles/shelf.tcss"]
    BINDINGS: ClassVar[list[BindingType]] = [*keys.EVERYWHERE]
    COMMANDS: ClassVar[set[type[Provider] | Callable[[], type[Provider]]]] = {Actions}

    current_work: reactive[Work | None] = reactive(None)
    """The long work that is going on, if any."""

    def __init__(self, session: Session):
        no_colour = bool(os.environ.get("NO_COLOR"))
        super().__init__(ansi_color=True if no_colour else None)
        self.session = session
        self.settings, self._problems = load_settings(session.home.settings)
        if not session.kept:
            kept = self.settings
            self.settings = Settings(theme=kept.theme, glyphs=kept.glyphs, rig=kept.rig)
        self._no_colour = no_colour
        self.index_thread = ThreadPoolExecutor(1, "index")
        """Every question to the shelf is asked in this one thread."""
        self.image_thread = ThreadPoolExecutor(1, "images")
        """Images are opened in this one, so that a slow drive holds up nothing else."""
        for name in self.available_themes:
            self.unregister_theme(name)
        for theme in themes.THEMES:
            self.register_theme(theme)
        self.theme = self._theme_name

    @property
    def plain_glyphs(self) -> bool:
        return self.settings.glyphs == "plain"

    @property
    def _theme_name(self) -> str:
        return themes.NO_COLOUR_THEME if self._no_colour else self.settings.theme

    def apply_settings(self) -> None:
        """Draw everything anew after a change of options."""
        self.theme = self._theme_name
        for screen in self.screen_stack:
            if isinstance(screen, View):
                screen.refresh_appearance()

    def on_mount(self) -> None:
        self.push_screen(ShelfScreen(self.session, self.settings))
        for problem in self._problems:
            self.notify(problem, severity="warning", markup=False)

    # Getting about

    def show_view(self, view: str) -> None:
        """Go to a view: back to it if it is open, otherwise open it."""
        for above, screen in enumerate(reversed(self.screen_stack)):
            if getattr(screen, "view", None) == view:
                for _ in range(above):
                    self.pop_screen()
                return
        shelf = self.screen
        if view == "disk" and isinstance(shelf, ShelfScreen):
            shelf.table.action_choose()

    def action_view(self, view: str) -> None:
        self.show_view(view)

    async def action_back(self) -> None:
        screen = self.screen
        if isinstance(screen, ShelfScreen):
            screen.filter_line.clear()
        else:
            self.pop_screen()

    def action_help(self) -> None:
        self.push_screen(Help(self.screen, ""))

    def action_options(self) -> None:
        self.push_screen(Options())

    # Work that takes its time

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action == "stop_work":
            return self.current_work is not None
        if action == "back" and isinstance(self.screen, ShelfScreen):
            return self.screen.can_go_back
        return True

    def watch_current_work(self, before: Work | None, now: Work | None) -> None:
        if (before is None) != (now is None):
            self.refresh_bindings()

    def action_stop_work(self) -> None:
        if self.current_work is not None:
            self.current_work.job.stop()

    def on_image_chosen(self, message: ImageChosen) -> None:
        self.open_image(message.row)

    @work(exclusive=True, group="open")
    async def open_image(self, row: ShelfRow) -> None:
        """Open an image and show it; the screen stays alive meanwhile."""
        job = Job()
        self.current_work = Work(f"opening {row.file_name}", job)
        try:
            opened = await asyncio.get_running_loop().run_in_executor(
                self.image_thread, open_and_audit, row.path
            )
        except LoadglassError as error:
            self.notify(str(error), title="Cannot be opened", severity="error", markup=False)
        else:
            if not job.stopping:
                from tui.screens.disk import DiskScreen  # not before a disk is shown

                self.push_screen(DiskScreen(opened, list(self.session.rigs.values())))
        finally:
            self.current_work = None


def run(session: Session) -> None:
    """Run the full screen until the person leaves it. Raises what went wrong."""
    app = LoadglassApp(session)
    try:
        app.run()
    finally:
        app.index_thread.shutdown(wait=False, cancel_futures=True)
        app.image_thread.shutdown(wait=False, cancel_futures=True)
    save_settings(app.settings, session.home.settings)
