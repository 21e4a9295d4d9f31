"""Save the list of what is on a card; the end of its name says in which form."""

from __future__ import annotations

import os
from pathlib import Path

from formats.visible import visible
from loadglass.card.contents import FORMATS, read_contents
from loadglass.card.dest import open_card
from loadglass.saving import CannotSave, write_whole
from tui.screens.save_file import Saving
from tui.wording import count_text

ENDINGS = {".txt": "text", ".html": "html", ".htm": "html", ".csv": "csv"}
"""Of a contents list's file, and what is written into it."""
USUAL_NAME = "card.html"
DETAILS = "The end of its name says what is written: .txt, .html or .csv."


class SaveContents(Saving):
    def __init__(self, folder: str):
        """folder: the card's."""
        super().__init__("Save the card's contents list", USUAL_NAME, DETAILS)
        self._folder = folder

    def save(self, target: Path, overwrite: bool) -> str:
        form = ENDINGS.get(target.suffix.lower())
        if form is None:
            raise CannotSave(f"{visible(target.name)}: end the name in {', '.join(ENDINGS)}")
        contents = read_contents(open_card(os.path.expanduser(self._folder)))
        write_whole(target, FORMATS[form](contents).encode("utf-8"), overwrite=overwrite)
        return f"{count_text(len(contents.lines), 'image')} listed in {visible(str(target))}"
