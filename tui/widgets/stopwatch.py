"""The stopwatch on screen: big figures, and the predicted range that they run along."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from textual import events
from textual.message import Message
from textual.timer import Timer

from tui.readings import Prediction
from tui.watch import State, Watch
from tui.widgets.big_digits import LARGE_LINES, large, small
from tui.widgets.line_view import Line, LineView, cells, wrapped
from tui.widgets.range_line import meaning_of, progress_words, range_lines

DRAWN_EVERY_S = 1 / 20
MARGIN = 1
LARGE_FROM_LINES = LARGE_LINES + 6
"""Below this height the figures are small."""
READY_SAYS = "press space as you press RETURN on the machine"
RUNNING_SAYS = "space stops it at READY"
NOTHING_TIMED = "nothing to time"


def clock_now() -> float:
    """The present moment on the clock that key presses carry."""
    return Message().time


class Stopwatch(LineView):
    """Runs from the press of a key to the next; what is made of the reading is the view's."""

    DEFAULT_CSS: ClassVar[str] = "Stopwatch { height: auto; }"

    class Pressed(Message):
        """It has started or stopped."""

        def __init__(self, clock: Watch):
            super().__init__()
            self.clock = clock

    def __init__(self, *, id: str | None = None):
        super().__init__(id=id)
        self.clock = Watch()
        self.prediction: Prediction | None = None
        """None where there is nothing to time."""
        self.nothing_says = NOTHING_TIMED
        """Why not."""
        self.plain_glyphs = False
        self._lines: list[Line] = []
        self._timer: Timer | None = None

    def on_mount(self) -> None:
        super().on_mount()
        self._timer = self.set_interval(DRAWN_EVERY_S, self.lay, pause=True)

    def predict(self, prediction: Prediction | None, nothing_says: str = NOTHING_TIMED) -> None:
        self.prediction, self.nothing_says = prediction, nothing_says
        self.lay()

    # What it does

    @property
    def state(self) -> State:
        return self.clock.state

    @property
    def seconds(self) -> float:
        """What it shows."""
        return self.clock.seconds(clock_now())

    def press(self, moment: float) -> None:
        """Start or stop at that moment of `clock_now`."""
        if self.prediction is not None and self.clock.press(moment):
            self._changed()

    def throw_away(self) -> None:
        self.clock.throw_away()
        self._changed()

    def on_mouse_down(self, event: events.MouseDown) -> None:
        self.press(event.time)

    def _changed(self) -> None:
        if self._timer is not None:
            if self.state is State.RUNNING:
                self._timer.resume()
            else:
                self._timer.pause()
        self.lay()
        self.post_message(self.Pressed(self.clock))

    # What it shows

    def line_count(self) -> int:
        return len(self._lines)

    def line(self, index: int) -> Line:
        return self._lines[index]

    def prepare(self) -> None:
        width = self.line_width - 2 * MARGIN
        seconds = self.seconds
        figures = large if self.size.height >= LARGE_FROM_LINES else small
        meaning = "strong" if self.state is State.READY else "mark"
        if self.state is not State.READY and self.prediction is not None:
            meaning = meaning_of(self.prediction, seconds)
        lines: list[Line] = [cells((line, meaning)) for line in figures(f"{seconds:.1f} s")]
        lines.append([])
        if self.prediction is None:
            lines += [cells((line, "muted")) for line in wrapped(self.nothing_says, width)]
        else:
            lines += range_lines(self.prediction, seconds, max(width, 8), self.plain_glyphs)
            lines += [cells(*line) for line in self._words(self.prediction, seconds, width)]
        self._lines = [cells(" " * MARGIN, *line) for line in lines]

    def _words(
        self, prediction: Prediction, seconds: float, width: int
    ) -> Sequence[Sequence[tuple[str, str]]]:
        if self.state is State.STOPPED:
            compared = prediction.compared_text(seconds)
            return [[(compared, meaning_of(prediction, seconds))], [(prediction.text, "muted")]]
        if self.state is State.RUNNING:
            return [
                [(progress_words(prediction, seconds), "")],
                [(f"{prediction.text}; {RUNNING_SAYS}"[:width], "muted")],
            ]
        return [[(READY_SAYS, "")], [(prediction.text, "muted")]]
