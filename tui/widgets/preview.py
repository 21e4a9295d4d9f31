"""The image under the cursor, at the side of the shelf: what it is, costs and holds."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator, Mapping
from functools import partial
from typing import TYPE_CHECKING, ClassVar

from textual import work

from formats.audit import FileAudit
from formats.errors import LoadglassError
from formats.findings import Finding, Severity, Verdict
from loadglass.opened import Opened, open_and_audit
from loadglass.shelf.rows import ShelfRow
from loadglass.timing.estimate import Clocking, Times, clock_image
from loadglass.timing.rig import Rig
from loadglass.timing.whatif import compare
from tui.tables import MARKS, range_text
from tui.whatifs import slower_text
from tui.widgets.bars import bar
from tui.widgets.columns import shortened
from tui.widgets.lettering import Lettering
from tui.widgets.line_view import Line, LineView, cells, wrapped
from tui.widgets.shelf_columns import VERDICT_MEANINGS
from tui.wording import count_text, time_text

if TYPE_CHECKING:
    from tui.app import LoadglassApp

NAME_CELLS = 16
SECONDS_CELLS = 9
SLOWER_S = 0.05
"""Less is not seen in the figures."""
WORST_SHOWN = 3
AT_ONCE_S = 0.05
"""An image that is open by then is shown at once with what the shelf knows of it."""
MEANINGS = {Severity.DAMAGE: "bad", Severity.ODDITY: "odd", Severity.NOTE: "muted"}


class Preview(LineView, can_focus=False):
    """Verdict, choices, times and directory of one image."""

    app: LoadglassApp
    COMPONENT_CLASSES: ClassVar[set[str]] = {"lines--title", "lines--stock", "lines--fast"}

    def __init__(self) -> None:
        super().__init__()
        self._row: ShelfRow | None = None
        self._opened: Opened | None = None
        self._clocking: Clocking | None = None
        """Of what is open; it has the ranges, too."""
        self._problem = ""
        self._lines: list[Line] = []

    def follow(self, row: ShelfRow | None) -> None:
        """Show this image; what is in it as soon as it is open."""
        if row is None or self._row is None or row.path != self._row.path:
            self._opened, self._clocking, self._problem = None, None, ""
        if row is not None and self._opened is None and not self._problem:
            self._open(row)
        else:
            self._show(row)

    def forget(self) -> None:
        """There are other rigs: clock the image anew when it is shown next."""
        self._row = None

    @work(exclusive=True)
    async def _open(self, row: ShelfRow) -> None:
        """Show the image all at once; where opening takes longer, first what the shelf knows."""
        loop = asyncio.get_running_loop()
        meanwhile = self.set_timer(AT_ONCE_S, partial(self._show, row))
        try:
            self._opened, self._clocking = await loop.run_in_executor(
                self.app.image_threads, _opened_and_clocked, row.path, self.app.session.rigs
            )
        except LoadglassError as error:
            self._problem = str(error)
        finally:
            meanwhile.stop()
        self._show(row)

    def _show(self, row: ShelfRow | None) -> None:
        if row is None or self._row is None or row.path != self._row.path:
            self.scroll_home(animate=False)
        self._row = row
        self.lay()

    def prepare(self) -> None:
        self._lines = []
        if self._row is not None:
            self._lines += self._verdict(self._row)
            self._lines += self._times(self._row)
        if self._opened is not None:
            self._lines += [(), *self._listing(self._opened)]

    def line_count(self) -> int:
        return len(self._lines)

    def line(self, index: int) -> Line:
        return self._lines[index]

    def _verdict(self, row: ShelfRow) -> Iterator[Line]:
        yield cells((f"{MARKS[row.verdict]} {row.verdict.value}", VERDICT_MEANINGS[row.verdict]))
        chosen = ["picked"] * row.picked
        chosen += [f"{row.rating} of 5"] * (row.rating is not None)
        chosen += [f"#{tag}" for tag in row.tags]
        if chosen:
            yield from self._wrapped(" · ".join(chosen), "fast")
        if self._problem:
            yield from self._wrapped(self._problem, "bad")
        if self._opened is None:
            return
        worst = [f for f in self._opened.audit.findings if f.severity is not Severity.NOTE]
        for finding in worst[:WORST_SHOWN]:
            yield from self._finding(finding, self._opened)
        if len(worst) > WORST_SHOWN:
            more = count_text(len(worst) - WORST_SHOWN, "more finding")
            yield cells((f"and {more}", "muted"))

    def _finding(self, finding: Finding, opened: Opened) -> Iterator[Line]:
        file = opened.audit.by_slot.get(finding.slot) if finding.slot is not None else None
        where = "" if file is None else f'"{self._petscii(file.entry.name)}": '
        first, *others = wrapped(f"{finding.code} {where}{finding.says}", self.line_width)
        code = first[: len(finding.code)]
        yield cells((code, MEANINGS[finding.severity]), first[len(code) :])
        yield from map(cells, others)

    def _times(self, row: ShelfRow) -> Iterator[Line]:
        clocking = self._clocking
        loads = [
            ("start", "first program", row.start_s, clocking.start if clocking else {}),
            ("all", "all programs", row.all_s, clocking.all if clocking else {}),
        ]
        if row.start_s == row.all_s and row.is_bound("start") == row.is_bound("all"):
            loads = [("start", "its one program", *loads[0][2:])]
        longest = max((s for _, _, times, _ in loads for s in times.values() if s), default=0.0)
        if not longest:
            yield ()
            yield cells(("no program that can be loaded", "muted"))
            return
        name_cells = min(max(map(len, row.start_s)), NAME_CELLS)
        room = max(self.line_width - name_cells - SECONDS_CELLS - 2, 4)
        for load, says, times, estimates in loads:
            yield ()
            yield cells((f"Loading {says}", "strong"))
            for rig, seconds in times.items():
                drawn = bar((seconds or 0.0) / longest, room, self.app.plain_glyphs)
                meaning = "stock" if rig.startswith("stock-") else "fast"
                name = shortened(rig, name_cells)
                text = f"{name:<{name_cells}} {time_text(row, load, rig):>{SECONDS_CELLS}} "
                yield cells(text, (drawn, meaning))
            yield from self._rival(estimates)

    def _rival(self, estimates: Times) -> Iterator[Line]:
        """The range on the rig of the columns; where it takes longer than stock, why."""
        rig = self.app.settings.rig
        stock = self.app.session.stock_of(rig)
        before, after = estimates.get(stock), estimates.get(rig)
        if after:
            yield from self._wrapped(f"{rig}: 90 % range {range_text(after)}", "muted")
        if before and after and after.seconds - before.seconds >= SLOWER_S:
            yield from self._wrapped(slower_text(stock, rig, compare(before, after)), "odd")

    def _listing(self, opened: Opened) -> Iterator[Line]:
        """The directory as the machine itself lists it."""
        audit = opened.audit
        directory = audit.directory
        title = self._petscii(directory.title).ljust(NAME_CELLS)
        disk_id, kind = self._petscii(directory.disk_id), self._petscii(directory.format_name)
        yield cells((f'0    "{title}" {disk_id} {kind}', "title"))
        yield from map(self._file, audit.files)
        yield cells(f"{audit.block_map.blocks_free} BLOCKS FREE.")

    def _file(self, file: FileAudit) -> Line:
        entry = file.entry
        name = f'"{self._petscii(entry.name)}"'.ljust(NAME_CELLS + 2)
        splat, lock = " " if entry.closed else "*", "<" if entry.locked else ""
        line = f"{entry.blocks:<4} {name}{splat}{entry.kind}{lock}"
        if file.verdict is Verdict.SOUND:
            return cells(line)
        return cells(f"{line} ", (MARKS[file.verdict], VERDICT_MEANINGS[file.verdict]))

    def _wrapped(self, text: str, meaning: str) -> Iterator[Line]:
        for part in wrapped(text, self.line_width):
            yield cells((part, meaning))

    def _petscii(self, name: bytes) -> str:
        return Lettering(plain=self.app.plain_glyphs).text(name)


def _opened_and_clocked(path: str, rigs: Mapping[str, Rig]) -> tuple[Opened, Clocking]:
    opened = open_and_audit(path)
    return opened, clock_image(opened.audit, rigs.values())
