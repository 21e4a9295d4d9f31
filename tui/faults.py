"""A fault of ours: one sentence for the person, the details in a file."""

from __future__ import annotations

import platform
import traceback
from datetime import datetime
from pathlib import Path
from tempfile import gettempdir

from loadglass.home import NoHome, home, make_folder


def save_report(error: BaseException) -> str:
    """Save what we need to know about a fault, and give the sentence that says where."""
    try:
        folder = make_folder(home().reports)
    except NoHome:
        folder = Path(gettempdir())
    path = folder / f"fault-{datetime.now():%Y%m%d-%H%M%S-%f}.txt"
    details = "".join(traceback.format_exception(error))
    try:
        path.write_text(
            f"{platform.platform()}\nPython {platform.python_version()}\n{details}",
            encoding="utf-8",
            errors="backslashreplace",
        )
    except OSError as why:
        return f"a fault of ours ({type(error).__name__}), and no report could be saved: {why}"
    return f"a fault of ours ({type(error).__name__}); please send us the report {path}"
