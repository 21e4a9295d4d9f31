"""Calibrate: what the readings make of a rig, and whether it is written."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from pathlib import Path
from typing import ClassVar

from rich.text import Text
from textual import on, work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.screen import ModalScreen
from textual.widgets import Button, Input, Static

from formats.errors import LoadglassError
from loadglass.bench.calibrate import Calibration, calibrate, usual_name
from loadglass.bench.reading import Reading
from loadglass.own_rigs import save_rig
from loadglass.saving import AlreadyThere
from loadglass.timing.rig import Rig
from tui import calibrations
from tui.screens.ask import LEAVE
from tui.tables import plain_lines

HINT = "up and down scroll; the fitted rig will be one of your own, its name:"
FITTING = "fitting …"
PLOT_CELLS, PLOT_LINES = 56, 12


class Calibrate(ModalScreen[Rig | None]):
    """Give the rig that was written, or None."""

    BINDINGS: ClassVar[list[BindingType]] = [
        LEAVE,
        Binding("up", "scroll(-1)", "Up", show=False, tooltip="Scroll up"),
        Binding("down", "scroll(1)", "Down", show=False, tooltip="Scroll down"),
        Binding("pageup", "scroll(-10)", "Page up", show=False, tooltip="Scroll up a page"),
        Binding("pagedown", "scroll(10)", "Page down", show=False, tooltip="Scroll down a page"),
    ]

    def __init__(self, base: Rig, readings: Sequence[Reading], folder: Path):
        """folder: of the user's rigs."""
        super().__init__()
        self._base = base
        self._readings = readings
        self._folder = folder
        self._overwrite = False

    def compose(self) -> ComposeResult:
        with Vertical(classes="box"):
            yield Static(Text(f"Calibrate {self._base.name}"), classes="title")
            with VerticalScroll(can_focus=False):
                yield Static(FITTING, id="fit", markup=False)
            yield Static(Text(HINT), classes="hint")
            yield Input(usual_name(self._base), select_on_focus=False)
            yield Static(id="trouble", markup=False)
            with Horizontal(classes="buttons"):
                yield Button("Write (enter)", id="write", compact=True)
                yield Button("Cancel (esc)", id="cancel", compact=True)

    def on_mount(self) -> None:
        self.query_one("#trouble").display = False
        self.query_one(Input).focus()
        self._fit()

    @work(group="fit")
    async def _fit(self) -> None:
        try:
            calibration = await asyncio.to_thread(calibrate, self._base, self._readings)
        except LoadglassError as error:
            self.query_one("#fit", Static).update(Text(f"{error}."))
            for part in ("Input", "#write", ".hint"):
                self.query_one(part).display = False
            self.query_one("#cancel").focus()
        else:
            self.query_one("#fit", Static).update(fit_text(calibration))

    def action_scroll(self, lines: int) -> None:
        self.query_one(VerticalScroll).scroll_relative(y=lines, animate=False)

    @on(Input.Changed)
    def _typed(self) -> None:
        self._ask_to_overwrite(False)

    @on(Input.Submitted)
    def _entered(self) -> None:
        if not self._overwrite:  # overwriting needs the button
            self._write(self.query_one(Input).value)

    @on(Button.Pressed, "#write")
    def _pressed(self) -> None:
        self._write(self.query_one(Input).value)

    @on(Button.Pressed, "#cancel")
    def action_leave(self) -> None:
        self.dismiss(None)

    @work(exclusive=True, group="write")
    async def _write(self, name: str) -> None:
        try:
            named = await asyncio.to_thread(calibrate, self._base, self._readings, name.strip())
            await asyncio.to_thread(save_rig, named.rig, self._folder, overwrite=self._overwrite)
        except AlreadyThere as error:
            self._ask_to_overwrite(True, f"{error}. Overwrite it?")
        except LoadglassError as error:
            self._ask_to_overwrite(False, f"{error}.")
        else:
            self.dismiss(named.rig)

    def _ask_to_overwrite(self, asked: bool, says: str = "") -> None:
        self._overwrite = asked
        self.query_one("#write", Button).label = "Overwrite" if asked else "Write (enter)"
        trouble = self.query_one("#trouble", Static)
        trouble.update(Text(says))
        trouble.display = bool(says)
        if asked:
            self.query_one("#cancel").focus()


def fit_text(calibration: Calibration) -> Text:
    """Old and new figures, every reading beside both predictions, the plot, what to know."""
    changed = calibrations.changes(calibration.base, calibration.rig)
    text = Text()

    def table(lines: Sequence[str]) -> None:
        head, *rows = lines
        text.append(head + "\n", "bold")
        text.append("".join(f"{row}\n" for row in rows) + "\n")

    table(plain_lines(calibrations.FIGURE_COLUMNS, [change.cells for change in changed]))
    for note in (*calibration.notes, calibrations.width_sentence(calibration)):
        text.append(f"{note}\n")
    text.append(f"{calibrations.demerit_text(calibration)}\n\n")
    rows = [calibrations.brief_cells(each) for each in calibration.comparisons]
    table(plain_lines(calibrations.BRIEF_COLUMNS, rows))
    for line in calibrations.plot(calibration, PLOT_CELLS, PLOT_LINES):
        text.append(line + "\n")
    text.append(calibrations.PLOT_SAYS, "dim")
    return text
