"""Invented disk images of the computer club of Grauhaven; README.md says what each one shows."""

from importlib.resources import files
from pathlib import Path


def folder() -> Path:
    """The folder that holds the sample images (and what makes them)."""
    return Path(str(files(__name__)))
