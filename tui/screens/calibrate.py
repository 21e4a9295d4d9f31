"""Calibrate: what the readings make of a rig, whether it is written, and which views go by it."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from typing import TYPE_CHECKING, ClassVar, NamedTuple

from rich.text import Text
from textual import on, work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.widgets import Button, Static

from formats.errors import LoadglassError
from loadglass.bench.calibrate import Calibration, calibrate, usual_name
from loadglass.bench.reading import Reading
from loadglass.own_rigs import save_rig
from loadglass.timing.rig import Rig
from tui import calibrations
from tui.rigs_in_use import views_of
from tui.screens.writing import Writing
from tui.tables import plain_lines
from tui.wording import and_text, count_text

if TYPE_CHECKING:
    from tui.app import LoadglassApp

HINT = "its name; R on the Bench takes an own rig away again; up and down scroll"
EVERYWHERE_SAYS = (
    "enter: {views} go by it, once the shelf is clocked on it ({images}, none is opened; x stops)"
)
ALONE_SAYS = "The Bench goes by it; the Shelf goes on to compare with {stock}."
FITTING = "fitting …"
PLOT_CELLS, PLOT_LINES = 56, 12


class Calibrated(NamedTuple):
    """What was written, and whether all views are to go by it or the Bench alone."""

    rig: Rig
    everywhere: bool


class Calibrate(Writing[Calibrated]):
    """Give the rig that was written, or None."""

    app: LoadglassApp
    word = "Write"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("ctrl+o", "alone", "Bench alone", tooltip="Write it, for the Bench alone"),
    ]

    def __init__(self, base: Rig, readings: Sequence[Reading]):
        super().__init__()
        self._base = base
        self._readings = readings
        self._views = views_of(base)
        self._everywhere = len(self._views) > 1

    def compose(self) -> ComposeResult:
        with Vertical(classes="box"):
            yield Static(Text(self._title()), classes="title")
            with VerticalScroll(can_focus=False):
                yield Static(FITTING, id="fit", markup=False)
            yield from self.field(usual_name(self._base), HINT)
            yield Static(id="use", classes="hint", markup=False)
            alone = Button("Bench alone (^o)", id="alone", compact=True)
            yield from self.buttons(*([alone] if self._everywhere else []))

    def on_mount(self) -> None:
        self._fit()

    @work(group="fit")
    async def _fit(self) -> None:
        loop, count = asyncio.get_running_loop(), self.app.session.shelf.count
        try:
            images = await loop.run_in_executor(self.app.index_thread, count, "")
            self.query_one("#use", Static).update(self._use_text(images))
            calibration = await asyncio.to_thread(calibrate, self._base, self._readings)
        except LoadglassError as error:
            self.query_one("#fit", Static).update(Text(f"{error}."))
            for part in self.query("Input, .hint, #write, #alone"):
                part.display = False
            self.query_one("#cancel").focus()
        else:
            self.query_one("#fit", Static).update(fit_text(calibration))
            self.query_one(".title", Static).update(Text(self._title(calibration)))

    def _title(self, calibration: Calibration | None = None) -> str:
        title = f"Calibrate {self._base.name} by {count_text(len(self._readings), 'reading')}"
        left_out = len(calibration.left_out) if calibration else 0
        return f"{title}, {left_out} left out" if left_out else title

    def _use_text(self, images: int) -> str:
        if not self._everywhere:
            return ALONE_SAYS.format(stock=self._base.like)
        views, shown = and_text(self._views), count_text(images, "image")
        return EVERYWHERE_SAYS.format(views=views, images=shown)

    async def use(self, text: str) -> None:
        named = await asyncio.to_thread(calibrate, self._base, self._readings, text)
        folder = self.app.session.home.rigs
        await asyncio.to_thread(save_rig, named.rig, folder, overwrite=self.overwrite)
        self.dismiss(Calibrated(named.rig, self._everywhere))

    @on(Button.Pressed, "#alone")
    def action_alone(self) -> None:
        self._everywhere = False
        self.submit()


def fit_text(calibration: Calibration) -> Text:
    """What to know, every reading beside both predictions, old and new figures, the plot."""
    changed = calibrations.changes(calibration.base, calibration.rig)
    text = Text()

    def table(lines: Sequence[str]) -> None:
        head, *rows = lines
        text.append(head + "\n", "bold")
        text.append("".join(f"{row}\n" for row in rows) + "\n")

    for note in (*calibration.notes, calibrations.width_sentence(calibration)):
        text.append(f"{note}\n")
    text.append(f"{calibrations.demerit_text(calibration)}\n\n")
    rows = [calibrations.brief_cells(each) for each in calibration.comparisons]
    table(plain_lines(calibrations.BRIEF_COLUMNS, rows))
    table(plain_lines(calibrations.FIGURE_COLUMNS, [change.cells for change in changed]))
    text.append(f"{calibrations.SPREAD_SAYS}\n\n")
    for line in calibrations.plot(calibration, PLOT_CELLS, PLOT_LINES):
        text.append(line + "\n")
    text.append(calibrations.PLOT_SAYS, "dim")
    return text
