"""The image under the cursor, at the side of the shelf: what it holds, is and costs."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, ClassVar

from rich.style import Style
from rich.text import Text
from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.widgets import Static

from formats.audit import FileAudit
from formats.findings import Finding, Severity, Verdict
from loadglass.opened import Opened
from loadglass.shelf.rows import ShelfRow
from tui import glyphs
from tui.tables import MARKS
from tui.widgets.bars import bar
from tui.widgets.shelf_columns import VERDICT_MEANINGS
from tui.wording import count_text, seconds_text

if TYPE_CHECKING:
    from tui.app import LoadglassApp

NAME_CELLS = 16
WORST_SHOWN = 3
MEANINGS = {Severity.DAMAGE: "bad", Severity.ODDITY: "odd", Severity.NOTE: "muted"}


class Preview(VerticalScroll, can_focus=False):
    """Verdict, times and directory of one image."""

    app: LoadglassApp
    COMPONENT_CLASSES: ClassVar[set[str]] = {
        "preview--title",
        "preview--head",
        "preview--good",
        "preview--odd",
        "preview--bad",
        "preview--muted",
        "preview--stock",
        "preview--fast",
    }

    def __init__(self) -> None:
        super().__init__()
        self._row: ShelfRow | None = None
        self._opened: Opened | None = None
        self._problem = ""

    def compose(self) -> ComposeResult:
        yield Static(id="text", markup=False)

    def show_row(self, row: ShelfRow | None) -> None:
        """Show what the shelf itself knows; the rest follows when the image is open."""
        if row is not None and self._row is not None and row.path == self._row.path:
            self._row = row
        else:
            self._row, self._opened, self._problem = row, None, ""
            self.scroll_home(animate=False)
        self._draw()

    def wants(self, row: ShelfRow) -> bool:
        """Whether the image of this row is still to be opened."""
        return self._row is row and self._opened is None and not self._problem

    def show_opened(self, opened: Opened) -> None:
        self._opened = opened
        self._draw()

    def show_problem(self, problem: str) -> None:
        self._problem = problem
        self._draw()

    def on_resize(self) -> None:
        self._draw()

    def refresh_appearance(self) -> None:
        self._draw()

    def _draw(self) -> None:
        lines: list[Text] = []
        if self._row is not None:
            lines += self._verdict(self._row)
            lines += self._times(self._row)
            if self._opened is not None:
                lines += [Text(""), *self._listing(self._opened)]
        self.query_one("#text", Static).update(Text("\n").join(lines))

    def _style(self, name: str) -> Style:
        return self.get_component_rich_style(f"preview--{name}", partial=True)

    def _verdict(self, row: ShelfRow) -> Iterable[Text]:
        style = self._style(VERDICT_MEANINGS[row.verdict]) + Style(bold=True)
        yield Text(f"{MARKS[row.verdict]} {row.verdict.value}", style)
        chosen = ["picked"] * row.picked
        chosen += [f"{row.rating} of 5"] * (row.rating is not None)
        chosen += [f"#{tag}" for tag in row.tags]
        if chosen:
            yield Text(" · ".join(chosen), self._style("fast"))
        if self._problem:
            yield Text(self._problem, self._style("bad"))
        if self._opened is None:
            return
        audit = self._opened.audit
        worst = [item for item in audit.findings if item.severity is not Severity.NOTE]
        for item in worst[:WORST_SHOWN]:
            yield self._finding(item, audit.by_slot)
        if len(worst) > WORST_SHOWN:
            more = count_text(len(worst) - WORST_SHOWN, "more finding")
            yield Text(f"and {more}", self._style("muted"))

    def _finding(self, item: Finding, files: Mapping[int, FileAudit]) -> Text:
        text = Text()
        text.append(f"{item.code} ", self._style(MEANINGS[item.severity]))
        file = files.get(item.slot) if item.slot is not None else None
        if file is not None:
            text.append(f'"{self._petscii(file.entry.name)}": ')
        text.append(item.says)
        return text

    def _times(self, row: ShelfRow) -> Iterable[Text]:
        loads = [("first program", row.start_s), ("all programs", row.all_s)]
        if row.start_s == row.all_s:
            loads = [("its one program", row.start_s)]
        longest = max((s for _, times in loads for s in times.values() if s), default=0.0)
        if not longest:
            yield Text("")
            yield Text("no program that can be loaded", self._style("muted"))
            return
        name_cells = max(map(len, row.start_s))
        room = max(self.size.width - name_cells - 12, 4)
        for says, times in loads:
            yield Text("")
            yield Text(f"Loading {says}", self._style("head"))
            for rig, seconds in times.items():
                line = Text(f"{rig:<{name_cells}} {seconds_text(seconds):>9} ")
                drawn = bar((seconds or 0.0) / longest, room, self.app.plain_glyphs)
                line.append(drawn, self._style("stock" if rig.startswith("stock") else "fast"))
                yield line

    def _listing(self, opened: Opened) -> Iterable[Text]:
        """The directory as the machine itself lists it."""
        audit = opened.audit
        directory = audit.directory
        title = self._petscii(directory.title).ljust(NAME_CELLS)
        disk_id = self._petscii(directory.disk_id)
        kind = self._petscii(directory.format_name)
        yield Text(f'0    "{title}" {disk_id} {kind}', self._style("title"))
        for file in audit.files:
            entry = file.entry
            name = f'"{self._petscii(entry.name)}"'
            open_mark = " " if entry.closed else "*"
            locked = "<" if entry.locked else " "
            line = Text(
                f"{entry.blocks:<4} {name:<{NAME_CELLS + 2}}{open_mark}{entry.kind}{locked}"
            )
            if file.verdict is not Verdict.SOUND:
                line.append(f" {MARKS[file.verdict]}", self._style(VERDICT_MEANINGS[file.verdict]))
            yield line
        yield Text(f"{audit.block_map.blocks_free} BLOCKS FREE.")

    def _petscii(self, name: bytes) -> str:
        return glyphs.from_bytes(name, self.app.plain_glyphs)
