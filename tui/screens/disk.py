"""Disk: what is on one image, whether it is whole, where it lies, and how long it loads."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from dataclasses import replace
from typing import ClassVar

from textual import events, on, work
from textual.app import ComposeResult, CSSPathType
from textual.binding import BindingType
from textual.containers import Horizontal, Vertical
from textual.widget import Widget

from formats.errors import LoadglassError
from formats.findings import Finding
from formats.mend import mend
from formats.visible import visible
from loadglass.opened import Opened
from loadglass.shelf.index import Index
from loadglass.shelf.twins import image_of_content, sound_twins
from loadglass.timing.estimate import clock_image
from loadglass.timing.rig import Rig
from tui import keys
from tui.screens.explain import Explain, Wish
from tui.screens.save_file import NothingToMend, SaveFile, SaveMended
from tui.screens.view import ImageView
from tui.widgets.block_panel import BlockPanel
from tui.widgets.contents import BLOCK
from tui.widgets.contents_view import ContentsView
from tui.widgets.disk_map import DiskMap
from tui.widgets.file_table import FileTable
from tui.widgets.findings_list import FindingsList
from tui.widgets.lettering import Lettering
from tui.widgets.pane_tabs import PANES, PaneTabs, arrange, left_cells, map_lines
from tui.widgets.row_list import RowList
from tui.widgets.shelf_columns import verdict_cell
from tui.widgets.times_pane import TimesPane
from tui.widgets.where_bar import WhereBar

BESIDE_MAP_CELLS = 34
"""The panel and the gaps at the map's sides."""
BARS_LINES = 2
"""The line at the top and the keys at the bottom."""


class DiskScreen(ImageView):
    view = "disk"
    CSS_PATH: ClassVar[CSSPathType | None] = "../styles/disk.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [*keys.DISK]

    def __init__(self, opened: Opened, rigs: Sequence[Rig], slot: int | None = None):
        """slot: the file that is chosen at first; None: the first program."""
        super().__init__()
        self.opened = opened
        self.rigs = rigs
        self.lettering = Lettering()
        self.slot = slot
        """Of the chosen file; None: the disk as a whole."""
        self.active = "files"
        self._latest = {True: "files", False: "map"}
        self._lower = "audit"

    # Its parts

    def compose(self) -> ComposeResult:
        disk_map = DiskMap(self.opened, id="disk-map")
        with Horizontal(id="top"):
            yield WhereBar(self.view)
            yield PaneTabs()
        with Horizontal(id="panes"):
            with Vertical(id="left"):
                yield FileTable(self.opened, self.rigs, id="files")
                yield FindingsList(self.opened, id="audit")
                yield ContentsView(self.opened, id="contents")
            with Vertical(id="right"):
                with Horizontal(id="map"):
                    yield disk_map
                    yield BlockPanel(self.opened, disk_map)
                yield TimesPane(self.opened, self.rigs, id="times")
        yield from self.compose_foot()

    @property
    def files(self) -> FileTable:
        return self.query_one(FileTable)

    @property
    def map(self) -> DiskMap:
        return self.query_one(DiskMap)

    @property
    def findings(self) -> FindingsList:
        return self.query_one(FindingsList)

    @property
    def times(self) -> TimesPane:
        return self.query_one(TimesPane)

    @property
    def contents(self) -> ContentsView:
        return self.query_one(ContentsView)

    def take_rigs(self, rigs: Sequence[Rig]) -> None:
        self.rigs = self.files.rigs = rigs
        self.times.take_rigs(rigs)
        self._clock()

    def go_by_settings(self) -> None:
        rivals, wanted = self.app.session.rivals, self.app.settings.rig
        self.files.rival = wanted if wanted in rivals else rivals[0]
        self.files.lay()

    def on_mount(self) -> None:
        for name, pane in PANES.items():
            self.query_one(f"#{name}").border_title = pane.label
        self.go_by_settings()
        first = (
            self.file
            or self.opened.audit.first_program
            or next(iter(self.opened.audit.files), None)
        )
        self.refresh_appearance()
        self.choose(first.entry.slot if first else None, sweep=False)
        self.show_pane("files")
        self._clock()
        self._look_for_sound_twins()

    def refresh_appearance(self) -> None:
        self.lettering = replace(self.lettering, plain=self.app.plain_glyphs)
        self.map.plain_glyphs = self.lettering.plain
        audit = self.opened.audit
        title = self.lettering.text(audit.directory.title).rstrip() if audit.has_directory else ""
        verdict = verdict_cell(audit.verdict).text
        self.where.about = f"{title or self.opened.file_name} · {verdict}"
        for part in (self.files, self.findings, self.query_one(BlockPanel), self.times):
            part.lettering = self.lettering
            part.lay()
        self.map.refresh()
        self._fill_contents()
        super().refresh_appearance()

    # Panes

    def on_resize(self) -> None:
        self._arrange()

    def _arrange(self) -> None:
        width, height = self.app.size
        shown = arrange(width, height, self.active, self._latest, self._lower)
        self.set_class(shown.wide, "wide")
        self.set_class(shown.tall, "tall")
        for name in PANES:
            self.query_one(f"#{name}").display = name in shown.panes
        for side, is_left in (("#left", True), ("#right", False)):
            here = [name for name in shown.panes if PANES[name].left is is_left]
            self.query_one(side).display = bool(here)
        map_cells = [cells + BESIDE_MAP_CELLS for cells in self.map.widths()]
        sectors = max(self.opened.image.geometry.sectors)
        left = left_cells(width, map_cells) if shown.wide else "1fr"
        lines = map_lines(height - BARS_LINES, sectors) if shown.tall else "1fr"
        self.query_one("#left").styles.width = left
        self.query_one("#map").styles.height = lines
        self.query_one(PaneTabs).active = self.active
        self._fill_contents()

    def show_pane(self, name: str) -> None:
        """Show a pane and give it the keys."""
        self._enter(name)
        self._arrange()
        self._focusable(name).focus()

    def _enter(self, name: str) -> None:
        self.active = name
        self._latest[PANES[name].left] = name
        if name in ("audit", "contents"):
            self._lower = name

    def _focusable(self, name: str) -> Widget:
        """The part of a pane that has the keys."""
        if name == "times":
            return self.times.part_shown
        return self.map if name == "map" else self.query_one(f"#{name}")

    def action_pane(self, name: str) -> None:
        self.show_pane(name)

    def action_pane_on(self, panes: int) -> None:
        names = list(PANES)
        self.show_pane(names[(names.index(self.active) + panes) % len(names)])

    @on(PaneTabs.Asked)
    def _pane_asked(self, message: PaneTabs.Asked) -> None:
        self.show_pane(message.pane)

    def on_descendant_focus(self, event: events.DescendantFocus) -> None:
        name = next((name for name in PANES if self._focusable(name) is event.widget), None)
        if name is not None and name != self.active:
            self._enter(name)
            self.query_one(PaneTabs).active = name

    # What is chosen

    def choose(self, slot: int | None, *, sweep: bool = True) -> None:
        """Show a file on every pane, or the disk as a whole."""
        self.slot = slot
        file = self.file
        self.files.select(slot)
        self.findings.chosen = slot
        self.findings.lay()
        self.map.choose(file, sweep=sweep and self.query_one("#map").display)
        if file is None:
            self.map.go_to(self.opened.image.geometry.header_block)
        elif file.chain.blocks:
            self.map.go_to(file.chain.blocks[0])
        self.query_one(BlockPanel).lay()
        self.times.file = file
        self.times.lay()
        self._fill_contents()

    @on(RowList.Highlighted, "#files")
    def _file_highlighted(self, message: RowList.Highlighted) -> None:
        self.choose(self.files.slot_of(message.row))

    @on(RowList.Chosen, "#files")
    def _file_chosen(self) -> None:
        if self.contents.form == BLOCK and self.file is not None:
            self.contents.form = ""
        self.show_pane("contents")

    @on(DiskMap.Moved)
    def _map_moved(self) -> None:
        self.query_one(BlockPanel).lay()
        self._fill_contents()

    @on(DiskMap.LookInside)
    def _block_opened(self) -> None:
        self.contents.form = BLOCK
        self.show_pane("contents")

    @on(RowList.Highlighted, "#audit")
    def _finding_highlighted(self, message: RowList.Highlighted) -> None:
        self.go_to_finding(self.findings.findings[message.row])

    @on(RowList.Chosen, "#audit")
    def _finding_chosen(self, message: RowList.Chosen) -> None:
        finding = self.findings.findings[message.row]
        self.go_to_finding(finding)
        self.app.push_screen(
            Explain(
                finding,
                self.findings.subject(finding),
                self.lettering,
                self.findings.sound_twin(finding),
            ),
            self._go_on,
        )

    def _go_on(self, wish: Wish | None) -> None:
        if wish == "beside":
            self.action_beside()
        elif wish is not None:
            self.show_pane(wish)

    def go_to_finding(self, finding: Finding) -> None:
        """Put the table on a finding's file and the map on its block."""
        self.choose(finding.slot if finding.slot in self.opened.audit.by_slot else None)
        geometry = self.opened.image.geometry
        if finding.place is not None and geometry.exists(*finding.place):
            self.map.go_to(geometry.index(*finding.place))

    def show_block(self, block: int) -> None:
        """Show a block on the map."""
        self.show_pane("map")
        self.map.go_to(block)

    # Times

    @work(group="clock")
    async def _clock(self) -> None:
        clocking = await asyncio.to_thread(clock_image, self.opened.audit, self.rigs)
        if self not in self.app.screen_stack:  # it was left meanwhile, and its parts are gone
            return
        self.files.clocking = self.times.clocking = clocking
        self.files.lay()
        self.times.lay()

    def action_drive(self) -> None:
        """Times on the next loader; where one load is drawn, on the next rig."""
        if self.active == "times" and self.times.next_rig():
            return
        rivals = self.app.session.rivals
        self.files.rival = rivals[(rivals.index(self.files.rival) + 1) % len(rivals)]
        self.files.lay()

    @on(RowList.Highlighted, "#timeline")
    def _leg_highlighted(self, message: RowList.Highlighted) -> None:
        self.timeline_walks_to(message.row)

    @on(RowList.Chosen, "#timeline")
    def _leg_chosen(self, message: RowList.Chosen) -> None:
        self.timeline_walks_to(message.row)
        self.show_pane("map")

    def timeline_walks_to(self, row: int) -> None:
        """Show on the map what has been read when a leg is over."""
        leg = self.times.timeline.legs[row]
        if leg.blocks:
            self.map.read_until(leg.first + leg.blocks - 1)

    # Contents

    def _fill_contents(self) -> None:
        """Hand file and block to their pane; what nobody sees is not read."""
        if self.contents.display:
            self.contents.look_at(self.file, self.map.cursor, self.lettering)

    # What stands beside it on the shelf

    @work(group="twins")
    async def _look_for_sound_twins(self) -> None:
        """Say with each damage where its file can be had whole."""
        if all(file.whole for file in self.opened.audit.files):
            return
        loop = asyncio.get_running_loop()
        try:
            self.findings.sound_twins = await loop.run_in_executor(
                self.app.image_threads, _where_sound, self.app.session.opened.index, self.opened
            )
        except LoadglassError:  # the Shelf says what is wrong with the index
            return
        self.findings.lay()

    @work(exclusive=True, group="beside")
    async def action_beside(self) -> None:
        loop = asyncio.get_running_loop()
        try:
            image = await loop.run_in_executor(
                self.app.image_threads, _on_shelf, self.app.session.opened.index, self.opened
            )
        except LoadglassError as error:
            self.app.warn(str(error))
            return
        if image is None:
            self.app.warn("this image, as it is now, is not on the shelf: survey its folder first")
        else:
            self.app.show_beside(image)

    # Actions

    def action_letters(self) -> None:
        self.lettering = self.lettering.other_set()
        self.refresh_appearance()

    def action_form(self) -> None:
        if self.active == "contents":
            self.contents.next_form()
        elif self.active == "times":
            self.times.next_form()
            self.show_pane("times")
        elif self.active == "map":
            self.map.show_order = not self.map.show_order
            self.map.refresh()

    def action_step(self, blocks: int) -> None:
        self.map.action_step(blocks)

    def action_play(self) -> None:
        self.map.action_play()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action in ("step", "play"):
            return self.file is not None and self.query_one("#map").display
        if action == "form":
            return self.active in ("contents", "map", "times")
        if action == "save":
            return self.file is not None
        return True

    def action_save(self) -> None:
        file = self.file
        if file is None:
            return
        title = f'"{self.lettering.text(file.entry.name)}"'
        self.app.push_screen(
            SaveFile(self.opened, file.entry.slot, title),
            lambda saved: self.notify(saved) if saved else None,
        )

    @work(exclusive=True, group="mend")
    async def action_mend(self) -> None:
        """Show what a mended copy would be like, and write it if it is wanted."""
        mended = await asyncio.to_thread(mend, self.opened.audit)
        if not mended.done:
            self.app.push_screen(NothingToMend(mended))
            return
        self.app.push_screen(
            SaveMended(self.opened, mended),
            lambda saved: self.notify(saved) if saved else None,
        )


def _on_shelf(index: Index, opened: Opened) -> int | None:
    """The id of the image on the shelf, or of one with its content."""
    return image_of_content(index, opened.sha256, opened.path)


def _where_sound(index: Index, opened: Opened) -> dict[int, str]:
    """By slot of a damaged file, where it can be had whole, in a sentence."""
    image = _on_shelf(index, opened)
    found = sound_twins(index, image) if image is not None else []
    return {
        file.slot: f"It is whole on {twin.title or visible(twin.path)}: y shows its sound twin."
        for file in found
        for twin in file.twins[:1]
    }
