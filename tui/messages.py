"""What the views say to the application; each message is one sentence."""

from __future__ import annotations

from dataclasses import dataclass

from textual.message import Message

from loadglass.shelf.rows import ShelfRow


@dataclass
class ImageChosen(Message):
    """This image is to be shown on the Disk view."""

    row: ShelfRow


@dataclass
class ShelfChanged(Message):
    """Rows have come, gone or changed: whoever shows the shelf asks again."""


@dataclass
class SurveyAsked(Message):
    """These folders are to be surveyed."""

    paths: list[str]
