"""The directory as a table: what the machine lists, judged and clocked."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import groupby

from formats.audit import FileAudit
from formats.findings import Verdict
from loadglass.opened import Opened
from loadglass.timing.estimate import Clocking, Times
from loadglass.timing.rig import Rig
from tui.tables import MARKS
from tui.widgets.columns import GAP_CELLS, Cell, Column, Placed, fit, place_columns, shortened
from tui.widgets.lettering import Lettering
from tui.widgets.line_view import Line, cells, wrapped
from tui.widgets.row_list import GUTTER, RowList
from tui.widgets.shelf_columns import VERDICT_MEANINGS, loader_word, times_of, verdict_cell
from tui.wording import AT_LEAST, count_text, seconds_text

GAP = " " * GAP_CELLS
WAITING = "…"
"""In place of a time that is being computed."""
NARROW_CELLS = 68
"""Below this width a verdict is its mark alone."""


@dataclass(frozen=True, slots=True)
class DirectoryRow:
    """A line of the listing; without a file it is the disk's own."""

    file: FileAudit | None
    blocks: str
    name: str
    type: str
    address: str
    size: str
    verdict: Verdict
    times: Times | None
    """None where nothing can be clocked."""
    mark: str = ""
    """Before times that are lower bounds."""


class FileTable(RowList):
    """The disk's line, then a row for each entry in slot order."""

    def __init__(self, opened: Opened, rigs: Sequence[Rig], *, id: str | None = None):
        super().__init__(id=id)
        self.opened = opened
        self.rigs = rigs
        self.rival = rigs[0].name if rigs else ""
        self.lettering = Lettering()
        self.clocking: Clocking | None = None
        """None until it is there."""
        self._placed: list[Placed[DirectoryRow]] = []

    def slot_of(self, row: int) -> int | None:
        """The slot of a row's entry; None of the disk's own line."""
        return self.opened.audit.files[row - 1].entry.slot if row else None

    def select(self, slot: int | None) -> None:
        """Put the cursor on an entry, and tell nobody."""
        slots = [file.entry.slot for file in self.opened.audit.files]
        self.cursor = 0 if slot is None else slots.index(slot) + 1

    def row_count(self) -> int:
        return len(self.opened.audit.files) + 1

    def prepare(self) -> None:
        self._placed = place_columns(self._columns(), self.row_width)
        super().prepare()

    def head(self) -> Sequence[Line]:
        gutter = " " * GUTTER
        labels = [fit(p.column.label, p.width, p.column.right) + GAP for p in self._placed]
        groups = [
            _group_label(group, list(placed)) + GAP
            for group, placed in groupby(self._placed, lambda placed: placed.column.group)
        ]
        return [cells((gutter + "".join(line), "head")) for line in (groups, labels)]

    def row_lines(self, row: int) -> Sequence[Line]:
        shown = self._row(row)
        line: list[Cell] = []
        for placed in self._placed:
            cell = placed.column.cell(shown)
            text, meaning = (cell.text, cell.meaning) if isinstance(cell, Cell) else (cell, "")
            if not row and not meaning:
                meaning = "strong"
            line += cells((fit(text, placed.width, placed.column.right), meaning), GAP)
        return [line]

    def tail(self) -> Sequence[Line]:
        audit = self.opened.audit
        free = count_text(audit.block_map.blocks_free, "block") + " free"
        lines = [audit.nothing_to_load, f"{free} · {self.opened.image.kind}"]
        if not audit.has_directory:
            lines = [f"{audit.nothing_to_load} · {self.opened.image.kind}"]
        if audit.first_program is not None:
            lines += wrapped(
                "The disk's own line has the time of all programs in a row.", self.row_width
            )
        if not any(rig.mounts(self.opened.image.geometry) for rig in self._pair()):
            lines += wrapped(
                f"Times on this drive are not known for the {self.opened.image.geometry.name} "
                "layout: choose the other drive (d).",
                self.row_width,
            )
        return [[], *(cells((line, "muted")) for line in lines if line)]

    # What stands in the columns

    def _row(self, row: int) -> DirectoryRow:
        audit, clocking = self.opened.audit, self.clocking
        if not row:
            directory = audit.directory
            mark = self.lettering.text(directory.disk_id + b" " + directory.format_name)
            title = f'"{self.lettering.text(directory.title)}" {mark}'
            has_own_loader = any(finding.code == "own-loader" for finding in audit.findings)
            is_bound = has_own_loader or audit.verdict is Verdict.DAMAGED
            return DirectoryRow(
                file=None,
                blocks=f"{sum(owner >= 0 for owner in audit.owner):,}",
                name=title if audit.has_directory else self.opened.file_name,
                type="disk",
                address="",
                size="",
                verdict=audit.verdict,
                times=clocking.all if clocking else {},
                mark=AT_LEAST if is_bound else "",
            )
        file = audit.files[row - 1]
        entry, address = file.entry, file.load_address
        return DirectoryRow(
            file=file,
            blocks=f"{entry.blocks:,}",
            name=f'"{self.lettering.text(entry.name)}"{self.lettering.text(entry.after_name)}',
            type=entry.listed_type,
            address="" if address is None else f"{address:04X}",
            size=f"{file.size_bytes:,} B" if file.size_bytes else "",
            verdict=file.verdict,
            times=clocking.files[entry.slot] if clocking else {},
        )

    def _pair(self) -> list[Rig]:
        """The chosen loader, after the stock one of its drive."""
        rival = next((rig for rig in self.rigs if rig.name == self.rival), None)
        if rival is None:
            return list(self.rigs[:2])
        stock = [rig for rig in self.rigs if rig.name == f"stock-{rival.drive}"]
        return [*stock, *([rival] if rival not in stock else [])]

    def _columns(self) -> list[Column[DirectoryRow]]:
        pair = self._pair()
        others = [rig for rig in self.rigs if rig not in pair]
        narrow = self.line_width < NARROW_CELLS
        columns = self._columns_with(pair, narrow)
        more = [_time_column(rig, 10 + rank, times_of(rig)) for rank, rig in enumerate(others)]
        needed = sum(column.width + GAP_CELLS for column in [*columns, *more]) - GAP_CELLS
        if needed <= self.row_width:  # the other rigs all at once, or none of them
            columns += more
        return [
            *columns,
            Column("bytes", "bytes", _size, width=9, rank=99, right=True),
        ]

    def _columns_with(self, rigs: list[Rig], narrow: bool) -> list[Column[DirectoryRow]]:
        return [
            Column("blocks", "blocks", _blocks, width=6, rank=4, right=True),
            Column("name", "name", _name, width=18, rank=0, most=26),
            Column("type", "type", _type, width=5, rank=6),
            Column("load address", "at", _address, width=4, rank=7),
            Column("verdict", "", _verdict_mark, width=1, rank=1)
            if narrow
            else Column("verdict", "verdict", _verdict, width=9, rank=1),
            *(_time_column(rig, rank, times_of(rigs[-1])) for rank, rig in enumerate(rigs, 2)),
        ]


def _time_column(rig: Rig, rank: int, above: str) -> Column[DirectoryRow]:
    return Column(
        rig.name,
        loader_word(rig),
        _seconds_on(rig.name),
        width=9,
        rank=rank,
        group=above,
        right=True,
    )


def _seconds_on(rig: str) -> Callable[[DirectoryRow], str | Cell]:
    def cell(row: DirectoryRow) -> str | Cell:
        if row.times is not None and rig not in row.times:
            return Cell(WAITING, "muted")
        estimate = row.times[rig] if row.times else None
        if estimate is None:
            return Cell(seconds_text(None), "muted")
        return seconds_text(estimate.seconds, row.mark)

    return cell


def _group_label(group: str, placed: list[Placed[DirectoryRow]]) -> str:
    """A group's name in the middle of a rule over its columns."""
    width = sum(each.width + GAP_CELLS for each in placed) - GAP_CELLS
    return f" {shortened(group, width - 2)} ".center(width, "─") if group else " " * width


def _blocks(row: DirectoryRow) -> str:
    return row.blocks


def _name(row: DirectoryRow) -> str:
    return row.name


def _type(row: DirectoryRow) -> Cell:
    return Cell(row.type, "" if row.file else "muted")


def _address(row: DirectoryRow) -> str:
    return row.address


def _size(row: DirectoryRow) -> str:
    return row.size


def _verdict(row: DirectoryRow) -> Cell:
    return verdict_cell(row.verdict)


def _verdict_mark(row: DirectoryRow) -> Cell:
    return Cell(MARKS[row.verdict], VERDICT_MEANINGS[row.verdict])
