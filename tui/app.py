"""The full screen: one application for all views, with one way of getting about."""

from __future__ import annotations

import asyncio
import gc
import io
import os
import signal
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, suppress
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

from textual import constants, events, work
from textual._context import active_message_pump
from textual.app import App, CSSPathType, _PrintCapture
from textual.binding import Binding, BindingType
from textual.command import CommandPalette, Provider
from textual.css.query import NoMatches
from textual.dom import DOMNode
from textual.geometry import Size
from textual.screen import Screen
from textual.worker import WorkerCancelled, WorkerFailed, get_current_worker

from formats.errors import LoadglassError
from loadglass.opened import open_and_audit
from loadglass.progress import Stopped
from loadglass.shelf.filters import HELP, parse
from loadglass.shelf.rows import ShelfRow
from loadglass.shelf.survey import SurveyResult, SurveyStopped, survey
from loadglass.timing.rig import Rig
from tui import keys, themes
from tui.messages import ImageChosen, ShelfChanged, SurveyAsked
from tui.palette import NEEDS, Actions, Palette
from tui.rigs_in_use import RigsInUse
from tui.sayings import Sayings
from tui.screens.ask import AskText, Entry
from tui.screens.help import Help
from tui.screens.options import Options
from tui.screens.report import Report, in_a_sentence
from tui.screens.shelf import ShelfScreen
from tui.screens.view import Subject, View
from tui.session import Session, open_session
from tui.settings import load_settings, save_settings
from tui.widgets.filter_line import EXAMPLES
from tui.wording import count_text
from tui.works import Work, Works

if TYPE_CHECKING:
    from tui.card_desk import CardDesk

WITHOUT_IMAGE = frozenset({"bench", "card"})
"""Views that can be shown though no image is chosen."""
NO_IMAGE = "choose an image on the shelf first"
ENDING_SIGNALS = ("SIGTERM", "SIGHUP")
"""By name, for not every operating system has all."""
SIGNALLED = 128
"""Exit status of what a signal ended, less the signal's number, as shells have it."""
SMALLEST = Size(20, 6)
"""Cells; a smaller terminal shows a part of this: the toolkit's lists fail in a few columns."""
FILLING_S = 1.0
"""While a survey goes on the table asks this often for what has come."""


class _Captured(_PrintCapture):
    """What is printed while the screen runs; the toolkit's own says that it has file -1."""

    def fileno(self) -> int:
        """The survey's processes are started with standard error's file, if there is one."""
        raise io.UnsupportedOperation("there is no file behind it")


class LoadglassApp(App[None]):
    """Views on a stack: the shelf below, what was opened from it above; back goes down."""

    TITLE = "loadglass"
    CSS_PATH: ClassVar[CSSPathType] = ["styles/app.tcss", "styles/shelf.tcss"]
    BINDINGS: ClassVar[list[BindingType]] = [*keys.EVERYWHERE]
    COMMANDS: ClassVar[set[type[Provider] | Callable[[], type[Provider]]]] = {Actions}

    def __init__(self, session: Session):
        self._no_colour = bool(os.environ.get("NO_COLOR"))
        super().__init__(ansi_color=True if self._no_colour else None)
        self._capture_stdout = _Captured(self)
        self._capture_stderr = _Captured(self, stderr=True)
        self.session = session
        self._kept_settings, self._problems = load_settings(session.home.settings)
        self.settings = replace(self._kept_settings)
        if not session.kept:
            self.settings.filter = ""
        self.works = Works(self)
        self.sayings = Sayings(self)
        self.rigs = RigsInUse(self)
        self.index_thread = ThreadPoolExecutor(1, "index")
        """Every question to the shelf is asked in this one thread."""
        self.image_threads = ThreadPoolExecutor(4, "images")
        """Images are opened in these: one on a drive that hangs holds up no other."""
        self._chosen: dict[str, int | None] = {}
        """By path the slot that was chosen when a view of the image was last left."""
        self._card_desk: CardDesk | None = None
        self.last_survey: SurveyResult | None = session.opened.surveyed
        self._sessions = {session.kept: session}
        self._opened_here = ExitStack()
        for name in self.available_themes:
            self.unregister_theme(name)
        for theme in themes.THEMES:
            self.register_theme(theme)
        self.theme = self._theme_name
        self._set_motion()

    def on_mount(self) -> None:
        self.works.changed.subscribe(self, self._work_changed)
        self.screen_change_signal.subscribe(self, lambda _screen: self.sayings.screen_changed())
        self.push_screen(ShelfScreen(self.session, self.settings))
        for problem in [*self._problems, *self.rigs.pass_over_gone()]:
            self.warn(problem)
        self._say_notices()
        if self.session.kept:
            self.rigs.clock()

    def close(self) -> None:
        """Let go of what was opened here, once the application has ended."""
        self.index_thread.shutdown(wait=True, cancel_futures=True)
        self.image_threads.shutdown(wait=False, cancel_futures=True)
        self._opened_here.close()

    def _handle_exception(self, error: Exception) -> None:
        """A screen that is left while it is being built misses its parts: that is no fault."""
        cause: BaseException = error
        part: object = active_message_pump.get(self)
        if isinstance(error, WorkerFailed):
            cause, part = error.error, get_current_worker().node
        if not (isinstance(cause, NoMatches) and self._is_left(part)):
            super()._handle_exception(error)

    def _is_left(self, part: object) -> bool:
        """Whether something is a part of a screen that is not open any more, or about to go."""
        if not isinstance(part, DOMNode) or isinstance(part, App):
            return False
        screen = next((each for each in part.ancestors_with_self if isinstance(each, Screen)), None)
        return screen not in self.screen_stack or self._exit or not self.is_running

    def _fatal_error(self) -> None:
        """A fault of ours: no traceback on the terminal; `run` raises it for the command line."""
        self._close_messages_no_wait()

    def notify(
        self, message: str, *, title: str = "", severity: str = "information", **_: Any
    ) -> None:
        """Say something in passing, on a line of the view."""
        sentence = f"{title}: {message}" if title else message
        self.sayings.say(sentence, is_trouble=severity != "information")

    def warn(self, sentence: str, title: str = "") -> None:
        """Say that something is not as it should be, where nothing else on screen says so."""
        self.notify(sentence, title=title, severity="warning")

    # What is remembered

    @property
    def plain_glyphs(self) -> bool:
        return self.settings.glyphs == "plain"

    @property
    def _theme_name(self) -> str:
        return themes.NO_COLOUR_THEME if self._no_colour else self.settings.theme

    def _set_motion(self) -> None:
        moves = self.settings.motion == "on"
        self.animation_level = constants.TEXTUAL_ANIMATIONS if moves else "none"

    def apply_settings(self) -> None:
        """Draw everything anew after a change of options."""
        self.theme = self._theme_name
        self._set_motion()
        for view in self._views:
            view.refresh_appearance()

    def keep_settings(self) -> None:
        """Write down what is to be remembered; of a scratch shelf only what is not its own."""
        settings = self.settings
        if not self.session.kept:
            kept = self._kept_settings
            settings = replace(
                settings, filter=kept.filter, sort=kept.sort, descending=kept.descending
            )
        save_settings(settings, self.session.home.settings)

    async def action_quit(self) -> None:
        if not self._may_leave(len(self.screen_stack)):
            return
        self.works.stop_all()
        try:
            self.keep_settings()
        except LoadglassError as error:
            self.exit(message=str(error))
        else:
            self.exit()

    def end_by_signal(self, number: int, _frame: object) -> None:
        """Whoever ends the process from outside gets the terminal back as it was."""
        self.works.stop_all()
        if self._loop is not None:
            self._loop.call_soon_threadsafe(partial(self.exit, return_code=SIGNALLED + number))

    # Getting about

    async def on_event(self, event: events.Event) -> None:
        """A key or click that comes while a screen is only being built waits until it is there."""
        if isinstance(event, events.InputEvent):
            if not self.screen_stack:  # it is ending, and keys are still coming
                return
            await self.screen._mounted_event.wait()
            if isinstance(self.screen, Entry):  # it may be over: the key is for what comes then
                await self.screen.is_free.wait()
            is_press = isinstance(event, events.Key | events.MouseDown) and not event.is_forwarded
            if is_press and isinstance(self.screen, View):
                self.sayings.key_pressed()
        if isinstance(event, events.Resize):
            width, height = event.size
            size = Size(max(width, SMALLEST.width), max(height, SMALLEST.height))
            event = events.Resize(size, size)
        await super().on_event(event)

    def show_view(self, view: str) -> None:
        """Go to a view: back to it if it is open, otherwise open it; of the same image and file."""
        top = self._views[-1]
        screen = next((each for each in reversed(self._views) if each.view == view), None)
        if screen is not None:
            if self._back_to(screen) and top.subject is not None and screen is not top:
                screen.take_subject(top.subject)
        elif top.subject is not None or view == "card":
            self._push_view(view, top.subject)
        elif top.row_at_hand is not None:
            self.open_image(top.row_at_hand, view)
        elif view in WITHOUT_IMAGE:
            self._push_view(view, None)
        else:
            self.notify(NO_IMAGE)

    @work(exclusive=True, group="elsewhere")
    async def do_on(self, view: str, binding: Binding) -> None:
        """Go to a view, and do there what is bound; where it cannot be done, say what it needs."""
        self.show_view(view)
        await self._workers_of(self)
        screen = self.screen
        if not isinstance(screen, View) or screen.view != view:
            return  # it has been said why
        await screen._mounted_event.wait()
        await self._workers_of(screen)
        if not await self.run_action(binding.action, screen):
            needs = NEEDS.get(binding.action, "there is nothing to do that with")
            self.notify(f"{binding.description}: {needs}")

    async def _workers_of(self, node: DOMNode) -> None:
        """Wait for what a view loads, or for an image that is being opened."""
        groups = {"open", "read", "rows"}
        for each in list(self.workers):
            if each.node is node and each.group in groups:
                with suppress(WorkerCancelled):
                    await each.wait()

    @property
    def top_view(self) -> View | None:
        """The one on screen, or behind the question that is asked."""
        return self._views[-1] if self._views else None

    @property
    def _views(self) -> list[View]:
        """The open ones, the topmost last; none while shelves are changed."""
        return [screen for screen in self.screen_stack if isinstance(screen, View)]

    @property
    def built_views(self) -> list[View]:
        """The others look at rigs and settings when they are built."""
        return [view for view in self._views if view.is_mounted]

    def _push_view(self, view: str, subject: Subject | None) -> None:
        if view == "bench":
            from tui.screens.bench import BenchScreen  # not before it is shown

            self.push_screen(BenchScreen(subject))
        elif view == "card":
            from tui.screens.card import CardScreen  # not before it is shown

            self.push_screen(CardScreen(self.card_desk, self.session))
        elif view == "clock" and subject is not None:
            from tui.screens.clock import ClockScreen  # not before it is shown

            self.push_screen(ClockScreen(subject))
        elif subject is not None:
            from tui.screens.disk import DiskScreen  # not before a disk is shown

            rigs = list(self.session.rigs.values())
            self.push_screen(DiskScreen(subject.opened, rigs, subject.slot))

    def show_beside(self, image: int) -> None:
        """Show the twins and the set of an image on the shelf."""
        from tui.screens.beside import BesideScreen  # not before it is shown

        screen = next((each for each in self._views if isinstance(each, BesideScreen)), None)
        if screen is None:
            self.push_screen(BesideScreen(self.session, image))
        elif self._back_to(screen):  # or there would be a view to go back through for every twin
            screen.show_image(image)

    @property
    def card_desk(self) -> CardDesk:
        """The card in hand, from when it is first asked for."""
        if self._card_desk is None:
            from tui.card_desk import CardDesk  # not before the Card view is shown

            self._card_desk = CardDesk(self)
        return self._card_desk

    def _may_leave(self, screens: int) -> bool:
        """Whether the topmost screens can go; what would be lost is said, and not asked twice."""
        for screen in self.screen_stack[len(self.screen_stack) - screens :]:
            if isinstance(screen, View) and screen.holds and not screen.leave_warned:
                screen.leave_warned = True
                self.notify(f"{screen.holds}; once more leaves without it")
                return False
        return True

    def _back_to(self, screen: View) -> bool:
        """Leave what is above an open view; False: something there would be lost."""
        above = len(self.screen_stack) - 1 - self.screen_stack.index(screen)
        if not self._may_leave(above):
            return False
        left = self._views[-1].subject
        if left is not None:
            self._chosen[left.opened.path] = left.slot
        for _ in range(above):
            self.pop_screen()
        return True

    def action_filter(self) -> None:
        """Ask for a filter, from wherever one is, and show on the Shelf what it leaves."""

        def show(text: str | None) -> None:
            if text is None:
                return
            self.show_view("shelf")
            if isinstance(self.screen, ShelfScreen):  # an unkept reading may hold one elsewhere
                self.screen.filter_line.put(text)

        question = AskText("Show which images on the shelf?", EXAMPLES, check=self.check_filter)
        self.push_screen(question, show)

    def check_filter(self, text: str) -> str:
        """What a newcomer may mistake in a filter of the shelf. Raises FilterError."""
        rig = parse(text, list(self.session.rigs.values())).bare_rig
        return f"{rig}: of the first program; all:{rig}: of all programs" if rig else ""

    def action_view(self, view: str) -> None:
        self.show_view(view)

    async def action_back(self) -> None:
        self._back_to(self._views[-2])

    def action_help(self) -> None:
        self.push_screen(Help(self.screen, HELP))

    def action_command_palette(self) -> None:
        if not any(isinstance(screen, CommandPalette) for screen in self.screen_stack):
            self.push_screen(Palette(placeholder="what to do, in your words"))

    def action_options(self) -> None:
        self.push_screen(Options())

    def action_report(self) -> None:
        if self.last_survey is not None:
            self.push_screen(Report(self.last_survey))

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if not self._views:
            return action == "quit"
        if action == "stop_work":
            return self.works.latest is not None
        if action == "report":
            return self.last_survey is not None
        if action == "back":
            return not isinstance(self.top_view, ShelfScreen)
        return True

    # Work that takes its time

    def _work_changed(self, _work: Work | None) -> None:
        self.refresh_bindings()

    def action_stop_work(self) -> None:
        self.works.stop_latest()

    def on_image_chosen(self, message: ImageChosen) -> None:
        self.open_image(message.row)

    @work(exclusive=True, group="open")
    async def open_image(self, row: ShelfRow, view: str = "disk", slot: int | None = None) -> None:
        """Open an image and show a view of it; the screen stays alive meanwhile.

        slot: the file to choose, if it is still there; None: as before, or the first program.
        """
        loop = asyncio.get_running_loop()
        with self.works.going_on(
            f"opening {row.file_name}", lambda: self.workers.cancel_group(self, "open")
        ):
            try:
                opened = await loop.run_in_executor(self.image_threads, open_and_audit, row.path)
            except LoadglassError as error:
                self.warn(str(error), "Cannot be opened")
                return
        first = opened.audit.first_program
        slots = [slot, self._chosen.get(row.path), first.entry.slot if first else None]
        slot = next((each for each in slots if each in opened.audit.by_slot), None)
        self._push_view(view, Subject(opened, slot))

    def on_survey_asked(self, message: SurveyAsked) -> None:
        self.survey(message.paths)

    @work(exclusive=True, group="survey")
    async def survey(self, paths: Sequence[str]) -> None:
        """Bring the shelf on screen up to date with these folders; it fills meanwhile."""
        session = self.session
        index, rigs = session.opened.index, list(session.rigs.values())
        filling = self.set_interval(FILLING_S, self.shelf_changed)
        with self.works.going_on("surveying") as work:
            try:
                self.last_survey = await asyncio.to_thread(survey, index, paths, rigs, work.job)
            except SurveyStopped as stopped:
                self.last_survey = stopped.result
                kept = count_text(stopped.result.images, "image")
                self.notify(f"Stopped; what was finished is kept: {kept}")
            except LoadglassError as error:
                self.warn(str(error), "The survey has ended")
            else:
                self.notify(in_a_sentence(self.last_survey), title="Surveyed")
            finally:
                filling.stop()
                self.shelf_changed()

    # Shelves

    def shelf_changed(self) -> None:
        """Rows have come, gone or changed: the Shelf view asks again."""
        if self._card_desk is not None:
            self._card_desk.shelf_changed()
        for screen in self.screen_stack:
            screen.post_message(ShelfChanged())

    @work(exclusive=True, group="shelves")
    async def action_other_shelf(self) -> None:
        """From the kept shelf to the samples, and from any other to the kept one."""
        kept = not self.session.kept
        if kept not in self._sessions:
            with self.works.going_on("opening your shelf" if kept else "opening the samples"):
                try:
                    self._sessions[kept] = await asyncio.to_thread(
                        open_session, self._opened_here, self.session, kept
                    )
                except (LoadglassError, Stopped) as error:
                    self.warn(str(error), "Cannot be opened")
                    return
        while not isinstance(self.screen, ShelfScreen):
            self.pop_screen()
        self.session = self._sessions[kept]
        self.settings.filter = ""
        self._say_notices()
        self.switch_screen(ShelfScreen(self.session, self.settings))
        self.rigs.clock()

    def replace_rigs(self, rigs: Mapping[str, Rig]) -> None:
        """There are these rigs now, on every shelf that is open."""
        for kept, session in self._sessions.items():
            self._sessions[kept] = replace(session, rigs=rigs)
            self.index_thread.submit(session.shelf.use_rigs, list(rigs.values()))
        self.session = self._sessions[self.session.kept]

    def card_goes_by(self, rig: str) -> None:
        if self._card_desk is not None:
            self._card_desk.change("rig", rig)

    def _say_notices(self) -> None:
        opened = self.session.opened
        for notice in (*opened.index.notices, *opened.choices.notices):
            self.warn(notice)
        if opened.surveyed is not None and opened.surveyed.problems:
            self.warn(in_a_sentence(opened.surveyed))


def run(session: Session) -> None:
    """Run the full screen until the person leaves it. Raises what went wrong."""
    app = LoadglassApp(session)
    gc.freeze()  # a look through all that is loaded and stays would hold up a key by 30 ms
    for name in ENDING_SIGNALS:
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), app.end_by_signal)
    try:
        app.run()
    finally:
        app.close()
    if app._exception is not None:
        raise app._exception
    if app.return_code:
        raise SystemExit(app.return_code)
