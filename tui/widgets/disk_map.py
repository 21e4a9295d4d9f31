"""The disk as a picture: a cell for each block, tracks from left to right, sectors downwards."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import ClassVar

from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.binding import Binding, BindingType
from textual.geometry import Size
from textual.message import Message
from textual.reactive import reactive
from textual.scroll_view import ScrollView
from textual.strip import Strip
from textual.timer import Timer

from formats.audit import FileAudit
from loadglass.block_roles import BlockKind, kinds_of
from loadglass.opened import Opened
from tui.widgets.map_looks import LOOKS

LABEL_CELLS = 3
"""The sector's number at the left."""
RULER_STEP = 5
"""Every fifth track has its number above it."""
WIDEST_CELL = 3
PLAIN = "plain"
MORE_LEFT, MORE_RIGHT = "‹", "›"
HEAD, PLAIN_HEAD = "▾", "v"
"""Above the track on which the head stands for the block under the cursor."""
SWEEP_S = 0.6
PLAY_S = 6.0
PLAY_STEP_S = 0.12
"""A chain of any length plays in at most PLAY_S, and a short one at this pace."""
FRAME_S = 1 / 30


class DiskMap(ScrollView, can_focus=True, inherit_bindings=False):
    """Every block by its track and sector; the chosen file's chain lights up as it is read."""

    ALLOW_SELECT = False
    COMPONENT_CLASSES: ClassVar[set[str]] = {
        *(f"disk-map--{look}" for look in LOOKS),
        "disk-map--plain",
        "disk-map--step",
        "disk-map--cursor",
        "disk-map--label",
        "disk-map--here",
    }
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up", "move(0, -1)", "Up", show=False, tooltip="One sector up"),
        Binding("down", "move(0, 1)", "Down", show=False, tooltip="One sector down"),
        Binding("left", "move(-1, 0)", "Left", show=False, tooltip="One track down"),
        Binding("right", "move(1, 0)", "Right", show=False, tooltip="One track up"),
        Binding("home", "move(-99, 0)", "First", show=False, tooltip="To the first track"),
        Binding("end", "move(99, 0)", "Last", show=False, tooltip="To the last track"),
        Binding("pageup", "move(0, -99)", "Top", show=False, tooltip="To the first sector"),
        Binding("pagedown", "move(0, 99)", "Bottom", show=False, tooltip="To the last sector"),
        Binding("enter", "open", "Look inside", tooltip="Look into the block under the cursor"),
    ]

    cursor: reactive[int] = reactive(0, repaint=False)
    """The block that the keys act on."""
    lit: reactive[int | None] = reactive(None, repaint=False)
    """Blocks of the chosen chain that have been read; None: all of them, and no step is shown."""

    @dataclass
    class Moved(Message):
        """The cursor stands on another block, or the chain has gone a step."""

        map: DiskMap

    @dataclass
    class LookInside(Message):
        """A block is to be looked into."""

        map: DiskMap

    def __init__(self, opened: Opened, *, id: str | None = None):
        super().__init__(id=id)
        self.geometry = opened.image.geometry
        self.kinds: list[BlockKind] = kinds_of(opened.audit)
        self.file: FileAudit | None = None
        self.plain_glyphs = False
        self.show_order = False
        """Whether blocks of the chosen chain carry the last digits of their place in it."""
        self.cell_width = 1
        self._order: dict[int, int] = {}
        self._looks: list[str] = []
        self._timer: Timer | None = None
        self._sweeping = False
        self.set_reactive(DiskMap.cursor, self.geometry.header_block)
        self._settle()

    # What it shows

    def choose(self, file: FileAudit | None, *, sweep: bool = True) -> None:
        """Show a file's blocks; with motion allowed they light up one after the other."""
        self._stop()
        self.file = file
        self._order = {b: i for i, b in enumerate(file.chain.blocks, 1)} if file else {}
        self._settle()
        self.set_reactive(DiskMap.lit, None)
        self.refresh()
        if sweep and self._order and self.app.animation_level != "none":
            step = max(round(len(self._order) * FRAME_S / SWEEP_S), 1)
            self._run(FRAME_S, step, follow=False)

    def _settle(self) -> None:
        """Decide how each block looks before any step along the chain."""
        self._looks = ["file" if kind is BlockKind.FILE else kind.value for kind in self.kinds]
        if self.file is None:
            return
        for block in self.file.facts.owned_blocks:
            self._looks[block] = "this" if block in self._order else "beside"
        if not self.file.chain.ended and self.file.chain.stopped_at is not None:
            self._looks[self.file.chain.stopped_at] = "break"

    def counts(self) -> Counter[str]:
        """Blocks of each look."""
        return Counter(self._looks)

    def glyph(self, look: str) -> str:
        return LOOKS[look].plain if self.plain_glyphs else LOOKS[look].glyph

    def style_of(self, look: str) -> Style:
        return self.get_component_rich_style(f"disk-map--{look}")

    # Stepping along the chain

    def read_until(self, position: int) -> None:
        """Show the chosen chain as read up to a block of it."""
        self._stop()
        self._light(position)

    def action_step(self, blocks: int) -> None:
        """Go on or back along the chosen chain; past its ends the whole of it is lit."""
        self._stop()
        length = len(self._order)
        if not length:
            return
        start = (0 if blocks > 0 else length + 1) if self.lit is None else self.lit
        self._light(start + blocks)

    def action_play(self) -> None:
        """Walk along the chain in time, or stop where it is."""
        playing = self._timer is not None and not self._sweeping
        self._stop()
        if self._order and not playing:
            if self.lit is None or self.lit >= len(self._order):
                self.lit = 0
            pace = min(PLAY_STEP_S, PLAY_S / len(self._order))
            self._run(max(pace, FRAME_S), max(round(FRAME_S / pace), 1), follow=True)

    @property
    def step(self) -> int | None:
        """Where a walk along the chain stands, from 1; None where nobody walks."""
        return None if self._sweeping else self.lit

    def _run(self, interval_s: float, step: int, follow: bool) -> None:
        if self.lit is None:
            self.set_reactive(DiskMap.lit, 0)
        self._sweeping = not follow

        def go_on() -> None:
            self._light((self.lit or 0) + step, follow)
            if self.lit is None:
                self._stop()

        self._timer = self.set_interval(interval_s, go_on)

    def _stop(self) -> None:
        if self._timer is not None:
            self._timer.stop()
            self._timer = None
        if self._sweeping:
            self._sweeping = False
            self.set_reactive(DiskMap.lit, None)

    def _light(self, count: int, follow: bool = True) -> None:
        length = len(self._order)
        self.lit = count if 1 <= count <= length else None
        if follow and self.file is not None and self.lit is not None:
            self.set_reactive(DiskMap.cursor, self.file.chain.blocks[self.lit - 1])
            self._show_cursor()
        self.refresh()
        if follow:
            self.post_message(self.Moved(self))

    # Moving

    def widths(self) -> list[int]:
        """Cells that the whole map takes, with narrow blocks and with wider ones."""
        tracks = self.geometry.tracks
        return [LABEL_CELLS + tracks * cells for cells in range(1, WIDEST_CELL + 1)]

    def action_move(self, tracks: int, sectors: int) -> None:
        place = self.geometry.place(self.cursor)
        track = max(min(place.track + tracks, self.geometry.tracks), 1)
        last = self.geometry.sectors[track - 1] - 1
        self.go_to(self.geometry.index(track, max(min(place.sector + sectors, last), 0)))

    def action_open(self) -> None:
        self.post_message(self.LookInside(self))

    def go_to(self, block: int) -> None:
        if block != self.cursor:
            self.cursor = block
            self.post_message(self.Moved(self))

    def on_click(self, event: events.Click) -> None:
        block = self.block_at(event.x, event.y)
        if block is not None:
            self.go_to(block)
            if event.chain == 2:
                self.action_open()

    def block_at(self, x: int, y: int) -> int | None:
        """The block drawn at a cell of the widget."""
        if x < LABEL_CELLS or y < 1:
            return None
        track = (x - LABEL_CELLS + self.scroll_offset.x) // self.cell_width + 1
        sector = y - 1 + self.scroll_offset.y
        exists = self.geometry.exists(track, sector)
        return self.geometry.index(track, sector) if exists else None

    def watch_cursor(self) -> None:
        self._show_cursor()
        self.refresh()

    def _show_cursor(self) -> None:
        place = self.geometry.place(self.cursor)
        left = (place.track - 1) * self.cell_width
        room = max(self.size.width - LABEL_CELLS, 1)
        rows = max(self.size.height - 1, 1)
        x, y = self.scroll_offset
        x = min(max(x, left + self.cell_width - room), left)
        y = min(max(y, place.sector + 1 - rows), place.sector)
        if (x, y) != self.scroll_offset:
            self.scroll_to(x=x, y=y, animate=False)

    # Drawing

    def on_resize(self) -> None:
        room = self.size.width - LABEL_CELLS
        self.cell_width = max(min(room // self.geometry.tracks, WIDEST_CELL), 1)
        self.virtual_size = Size(
            LABEL_CELLS + self.geometry.tracks * self.cell_width,
            1 + max(self.geometry.sectors),
        )
        self._show_cursor()
        self.refresh()

    def render_line(self, y: int) -> Strip:
        sector = y - 1 + self.scroll_offset.y
        if y == 0:
            return self._with_edges(*self._ruler())
        if sector < max(self.geometry.sectors):
            label, body = self._row(sector)
        else:
            return Strip.blank(self.size.width, self.style_of(PLAIN))
        return self._cropped(label, body)

    def _cropped(self, label: Segment, body: list[Segment]) -> Strip:
        left = self.scroll_offset.x
        shown = Strip(body).crop(left, left + max(self.size.width - LABEL_CELLS, 0))
        return Strip([label, *shown]).adjust_cell_length(self.size.width, self.style_of(PLAIN))

    def _with_edges(self, label: Segment, body: list[Segment]) -> Strip:
        """The ruler, with a mark at a side on which there are more tracks."""
        here = self.style_of("here")
        strip = self._cropped(label, body)
        width = self.size.width
        if self.virtual_size.width > self.scroll_offset.x + width > LABEL_CELLS:
            strip = Strip([*strip.crop(0, width - 2), Segment(f" {MORE_RIGHT}", here)])
        if self.scroll_offset.x:
            strip = Strip([Segment(f" {MORE_LEFT} ", here), *strip.crop(LABEL_CELLS, width)])
        return strip

    def _ruler(self) -> tuple[Segment, list[Segment]]:
        plain = self.style_of("label")
        here = self.style_of("here")
        width, tracks = self.cell_width, self.geometry.tracks
        numbers = [" "] * (tracks * width)

        def write(track: int) -> range:
            start = min((track - 1) * width, tracks * width - len(str(track)))
            cells = range(start, start + len(str(track)))
            for at, digit in zip(cells, str(track), strict=True):
                numbers[at] = digit
            return cells

        current = self.geometry.place(self.cursor).track
        # The mark stands above its track; the number goes to the right of it, or at the edge left.
        at, label = (current - 1) * width, f"{current}"
        left = at + 1 + len(label) > tracks * width
        cells = range(at - len(label), at + 1) if left else range(at, at + 1 + len(label))
        for track in (1, *range(RULER_STEP, tracks + 1, RULER_STEP)):
            taken = range((track - 1) * width - 1, (track - 1) * width + len(str(track)) + 1)
            if max(taken.start, cells.start) >= min(taken.stop, cells.stop):
                write(track)
        head = PLAIN_HEAD if self.plain_glyphs else HEAD
        numbers[cells.start : cells.stop] = label + head if left else head + label
        under = at + (tracks // 2) * width * (1 if current <= tracks // 2 else -1)
        if self.geometry.sides > 1:  # both sides are read by one arm
            numbers[under] = head
        text = "".join(numbers)
        return Segment(" " * LABEL_CELLS, plain), [
            Segment(text[: cells.start], plain),
            Segment(text[cells.start : cells.stop], here),
            Segment(text[cells.stop :], plain),
        ]

    def _row(self, sector: int) -> tuple[Segment, list[Segment]]:
        here = self.geometry.place(self.cursor).sector == sector
        label = self.style_of("here" if here else "label")
        plain = self.style_of(PLAIN)
        body = []
        for track, sectors in enumerate(self.geometry.sectors):
            if sector >= sectors:
                body.append(Segment(" " * self.cell_width, plain))
                continue
            block = self.geometry.first_block[track] + sector
            text, look = self._cell(block)
            style = self.style_of(look)
            if block == self.cursor:
                style += self.style_of("cursor")
            body.append(Segment(text, style))
            if self.cell_width > len(text):
                body.append(Segment(" " * (self.cell_width - len(text)), plain))
        return Segment(f"{sector:2} ", label), body

    def _cell(self, block: int) -> tuple[str, str]:
        look = self._looks[block]
        position = self._order.get(block)
        if position is None or look == "break":
            return self.glyph(look), look
        if self.lit is not None:
            look = "unlit" if position > self.lit else "step" if position == self.lit else "this"
        if self.show_order and look != "unlit":
            digits = max(self.cell_width - 1, 1)
            return f"{position % 10**digits:0{digits}}", look
        return self.glyph("this" if look == "step" else look), look
