"""Beside the map: the block under the cursor, the way along the chosen file, and the legend."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import groupby

from rich.style import Style

from formats.audit import Audit
from formats.geometry import END, OFF_DISK, Geometry, Place
from formats.image import ERROR_MEANINGS, status_number
from loadglass.block_roles import BlockKind, Step, ending_text, steps_of, uses_of
from loadglass.opened import Opened
from tui.widgets.columns import Cell
from tui.widgets.disk_map import DiskMap
from tui.widgets.lettering import Lettering
from tui.widgets.line_view import Line, LineView, cells, sides, wrapped
from tui.widgets.map_looks import LOOKS
from tui.wording import count_text

KINDS_SAY = {
    BlockKind.UNREADABLE: "cannot be read",
    BlockKind.DIRECTORY: "directory and map",
    BlockKind.STRANDED: "in use, but no file's",
    BlockKind.FREE: "free, once written",
    BlockKind.BLANK: "never written",
}
SHOWN_GAPS = 2
"""The most common gaps of a chain that are listed."""
SHOWN_USES = 2


class BlockPanel(LineView):
    def __init__(self, opened: Opened, disk_map: DiskMap, *, id: str | None = None):
        super().__init__(id=id)
        self.opened = opened
        self.map = disk_map
        self.lettering = Lettering()
        self._lines: list[Line] = []

    def line_count(self) -> int:
        return len(self._lines)

    def line(self, index: int) -> Line:
        return self._lines[index]

    def prepare(self) -> None:
        width = self.line_width
        self._lines = [
            *self._block_lines(width),
            [],
            *self._chain_lines(width),
            *self._legend(width),
        ]

    # The block under the cursor

    def _block_lines(self, width: int) -> list[Line]:
        image, audit, block = self.opened.image, self.opened.audit, self.map.cursor
        place = image.geometry.place(block)
        number = f"block {block + 1:,} of {image.geometry.blocks:,}"
        lines = [sides(cells((f"{place}", "strong")), cells((number, "muted")), width)]
        if image.geometry.sides > 1:
            under = int(image.geometry.cylinder_of[block])
            side = 1 if place.track == under else 2
            lines.append(cells((f"side {side}, the head on track {under}", "muted")))
        uses = uses_of(audit, block)
        for use in uses[:SHOWN_USES]:
            lines.append(cells((f'"{self.lettering.text(use.file.entry.name)}"', "mark")))
            if use.position is None:
                lines.append(cells("  beside its chain"))
            else:
                lines.append(
                    cells(f"  reading order {use.position} of {len(use.file.chain.blocks)}")
                )
        if len(uses) > SHOWN_USES:
            lines.append(cells(f"and {count_text(len(uses) - SHOWN_USES, 'more file')}"))
        if not uses:
            lines.append(cells(self._kind_text(audit, block)))
        if not image.blank[block] and block < image.present_blocks:
            lines.append(cells(link_text(audit, block)))
        lines += self._error_lines(block, width)
        lines.append(cells((map_text(audit, block), "muted")))
        return lines

    def _kind_text(self, audit: Audit, block: int) -> str:
        if block in audit.directory.blocks:
            number = audit.directory.blocks.index(block) + 1
            return f"directory, sector {number} of {len(audit.directory.blocks)}"
        if audit.has_directory and block == audit.directory.header_block:
            return "header: title and block map"
        return KINDS_SAY.get(self.map.kinds[block], "")

    def _error_lines(self, block: int, width: int) -> list[Line]:
        image = self.opened.image
        if block >= image.present_blocks:
            return [cells(("missing from the image", "bad"))]
        code = image.error_byte(block)
        if image.error_bytes is None or code <= 1:
            return []
        text = f"error {status_number(code)}: {ERROR_MEANINGS.get(code, 'unknown')}"
        return [cells((part, "bad")) for part in wrapped(text, width)]

    # The chosen file

    def _chain_lines(self, width: int) -> list[Line]:
        file, geometry = self.map.file, self.opened.image.geometry
        if file is None:
            return []
        title = f'"{self.lettering.text(file.entry.name)}"'
        lines: list[Line] = [cells((title, "mark"))]
        steps = steps_of(geometry, file.chain.blocks)
        if steps:
            lines += [cells(text) for text in way_texts(geometry, steps)]
        if self.map.step:
            lines.append(cells((step_text(geometry, steps, self.map.step), "strong")))
            if any(step.cylinders for step in steps):
                lines.append(cells(gone_text(geometry, steps, self.map.step, width)))
        elif gaps_text(steps):
            lines += map(cells, wrapped(gaps_text(steps), width))
        if not file.chain.ended and file.chain.blocks:
            lines += [cells((t, "bad")) for t in wrapped(ending_text(file, geometry), width)]
        return [*lines, []]

    def _legend(self, width: int) -> list[Line]:
        counts = self.map.counts()
        lines: list[Line] = []
        for look, row in LOOKS.items():
            count = counts[look]
            if count:
                left = [Cell(self.map.glyph(look), f"look-{look}"), Cell(f" {row.says}")]
                lines.append(sides(left, cells((f"{count:,}", "muted")), width))
        return lines

    def meaning_style(self, meaning: str) -> Style:
        if meaning.startswith("look-"):
            return self.map.style_of(meaning.removeprefix("look-"))
        return super().meaning_style(meaning)


def link_text(audit: Audit, block: int) -> str:
    """Where a block's link leads, and how far on that is."""
    image = audit.image
    track, sector = image.link(block)
    following = image.next_blocks[block]
    if following == END:
        count = max(sector - 1, 0)
        return f"the last: {count_text(count, 'byte')} in it"
    if following == OFF_DISK:
        return f"leads to {track}/{sector}, off the disk"
    gap = gap_text(image.geometry, Step(following, *_gap(image.geometry, block, following)))
    return f"next {Place(track, sector)}, {gap}"


def _gap(geometry: Geometry, before: int, block: int) -> tuple[int | None, int]:
    step = steps_of(geometry, [before, block])[1] if block != before else Step(block, 0, 0)
    return step.gap, step.cylinders


def gap_text(geometry: Geometry, step: Step) -> str:
    """How the drive comes to a block from the one before it."""
    if step.gap is not None:
        return count_text(step.gap, "sector") + " on"
    if step.cylinders:
        return count_text(step.cylinders, "track") + " away"
    return f"side {2 if geometry.place(step.block).track > geometry.tracks // 2 else 1}"


def map_text(audit: Audit, block: int) -> str:
    if not audit.has_directory:
        return "there is no block map"
    if block >= audit.block_map.mapped_blocks:
        return "outside the block map"
    return f"marked {'free' if audit.block_map.free[block] else 'used'} in the map"


def way_texts(geometry: Geometry, steps: Sequence[Step]) -> list[str]:
    """The way along a chain: blocks and tracks, and moves of the head if there are any."""
    tracks = {geometry.place(step.block).track for step in steps}
    moves = sum(1 for step in steps if step.cylinders)
    texts = [f"{count_text(len(steps), 'block')} on {count_text(len(tracks), 'track')}"]
    if moves:
        far = sum(step.cylinders for step in steps)
        texts.append(f"{count_text(moves, 'head move')}, {count_text(far, 'track')}")
    return texts


def gone_text(geometry: Geometry, steps: Sequence[Step], lit: int, width: int) -> str:
    """The tracks that the head has come by, `…›17›16`, the last of them at the right edge."""
    places = [geometry.place(step.block) for step in steps[:lit]]
    tracks = [str(track) for track, _ in groupby(place.track for place in places)]
    text = "way " + "›".join(tracks)
    while len(text) > width and len(tracks) > 1:
        tracks = tracks[1:]
        text = "way …" + "›".join(("", *tracks))
    return text


def gaps_text(steps: Sequence[Step]) -> str:
    """The most common gaps between its blocks, in sectors; empty where there are none."""
    gaps = Counter(step.gap for step in steps if step.gap is not None)
    parts = [f"{gap} (×{count})" for gap, count in gaps.most_common(SHOWN_GAPS)]
    return f"gaps {', '.join(parts)} sectors" if parts else ""


def step_text(geometry: Geometry, steps: Sequence[Step], lit: int) -> str:
    """Where a walk along the chain stands; `lit` counts from 1."""
    step = steps[lit - 1]
    place = geometry.place(step.block)
    how = "the first" if lit == 1 else gap_text(geometry, step)
    return f"{lit} of {len(steps)}: {place}, {how}"
