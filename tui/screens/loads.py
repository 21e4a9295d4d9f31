"""Which load of an image: one file, or all programs in a row."""

from __future__ import annotations

from formats.audit import Audit, FileAudit
from tui.screens.ask import ChooseOne
from tui.wording import count_text

ALL = "all"


def choose_load(audit: Audit, slot: int | None, question: str) -> ChooseOne:
    """The question which one; slot: what is chosen now, None for all programs."""
    lines = [(ALL, "all programs in a row")]
    lines += [
        (str(file.entry.slot), _line(file))
        for file in audit.files
        if file.whole and file.chain.blocks
    ]
    return ChooseOne(question, lines, ALL if slot is None else str(slot))


def slot_of(answer: str) -> int | None:
    """What the answer to `choose_load` means."""
    return None if answer == ALL else int(answer)


def _line(file: FileAudit) -> str:
    return f'"{file.entry.text}"  {count_text(file.walked_blocks, "block")}'
