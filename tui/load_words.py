"""Why something has no load time, in words."""

from __future__ import annotations

from formats.audit import FileAudit
from formats.files import Role

NOT_WHOLE = "it cannot be read whole, so it has no load time"
NOTHING_TO_LOAD = {
    Role.DECORATION: "it decorates the directory: there is nothing to load",
    Role.PARTITION: "a partition is entered, not loaded",
}
NOT_MOUNTED = "{rig} does not mount this layout"
NO_PROGRAM = "nothing on this disk loads as a program"
NO_FILE = "there is no file to load"


def why_not(file: FileAudit) -> str:
    """Why a file has no load time."""
    return NOTHING_TO_LOAD.get(file.role, NOT_WHOLE)
