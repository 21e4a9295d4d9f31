"""The findings of an image, worst first: each with its severity in words and its whole sentence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from formats.findings import Finding, Severity
from loadglass.opened import Opened
from tui.widgets.columns import Cell
from tui.widgets.lettering import Lettering
from tui.widgets.line_view import Line, cells, wrapped
from tui.widgets.row_list import RowList
from tui.wording import count_text

SEVERITY_MARKS = {Severity.DAMAGE: "X", Severity.ODDITY: "~", Severity.NOTE: "·"}
SEVERITY_MEANINGS = {Severity.DAMAGE: "bad", Severity.ODDITY: "odd", Severity.NOTE: "note"}
SEVERITY_CELLS = 10
"""Mark and word, and a gap."""
FOUND_NOTHING = "Nothing was found: this image is sound."


def severity_cell(severity: Severity) -> Cell:
    """Mark and word, and a colour to go with them."""
    text = f"{SEVERITY_MARKS[severity]} {severity.value}"
    return Cell(text.ljust(SEVERITY_CELLS), SEVERITY_MEANINGS[severity])


class FindingsList(RowList):
    """Every finding of the image; those of the chosen file are marked."""

    def __init__(self, opened: Opened, *, id: str | None = None):
        super().__init__(id=id)
        self.opened = opened
        self.chosen: int | None = None
        """Slot of the chosen file."""
        self.lettering = Lettering()
        self.sound_twins: Mapping[int, str] = {}
        """By slot of a damaged file: the sentence that says where it can be had whole."""

    @property
    def findings(self) -> Sequence[Finding]:
        return self.opened.audit.findings

    def subject(self, finding: Finding) -> str:
        """What a finding is about: a file's name, or the disk."""
        directory = self.opened.audit.directory
        for entries, remark in ((directory.entries, ""), (directory.scratched, ", scratched")):
            for entry in entries:
                if entry.slot == finding.slot:
                    return f'"{self.lettering.text(entry.name)}"{remark}'
        return "the disk"

    def row_count(self) -> int:
        return len(self.findings)

    def row_lines(self, row: int) -> Sequence[Line]:
        finding = self.findings[row]
        own = self.chosen is not None and finding.slot == self.chosen
        where = f"  {finding.place}" if finding.place else ""
        room = self.row_width - SEVERITY_CELLS
        indent = " " * SEVERITY_CELLS
        says = self.lettering.sentence(finding.says)
        return [
            cells(
                severity_cell(finding.severity),
                (self.subject(finding), "mark" if own else "strong"),
                (where, "muted"),
                ("  this file" if own else "", "mark"),
            ),
            *(cells(indent + part) for part in wrapped(says, room)),
            *(cells((indent + part, "good")) for part in self._twin_lines(finding, room)),
        ]

    def sound_twin(self, finding: Finding) -> str:
        """Where the file of a damage can be had whole, in a sentence; empty if not known."""
        if finding.severity is not Severity.DAMAGE or finding.slot is None:
            return ""
        return self.lettering.sentence(self.sound_twins.get(finding.slot, ""))

    def _twin_lines(self, finding: Finding, room: int) -> Sequence[str]:
        sentence = self.sound_twin(finding)
        return wrapped(sentence, room) if sentence else ()

    def tail(self) -> Sequence[Line]:
        if not self.findings:
            return [[], cells((FOUND_NOTHING, "good"))]
        counts = [
            count_text(sum(f.severity is severity for f in self.findings), severity.value, many)
            for severity, many in zip(Severity, ("damages", "oddities", "notes"), strict=True)
        ]
        return [[], cells((" · ".join(counts), "muted"))]
