"""Makes the README's pictures from the running program: `make screenshots`.

Drives the real application on the sample images and saves what it shows as SVG.
"""

from __future__ import annotations

import asyncio
import os
import tempfile
from pathlib import Path

FOLDER = Path(__file__).parent / "screenshots"
FOG = [*["down"] * 5, "enter"]
PICTURES: dict[str, tuple[tuple[int, int], list[str]]] = {
    "shelf": ((112, 26), ["down"] * 5),
    "disk": ((140, 44), [*["down"] * 7, "enter", "down", "down", "down"]),
    "clock": ((140, 40), [*FOG, "3", "tab", *["down"] * 5]),
    "bench": ((112, 26), [*FOG, "4"]),
    "card": ((140, 40), [*["down", "space"] * 6, "5", "f", *"~/card", "enter", "p"]),
}
"""Name of each picture, its columns and rows, and the keys that lead to it."""
READINGS = (
    ("fog-over-grauhaven.d64", "fog", 12.9),
    ("lantern-watch.d64", "lantern picture", 3.3),
    ("the-long-pier-disk-1.d64", "*", 1.2),
)
"""Invented ones on fast-card, for the picture of the bench."""


async def picture(name: str) -> str:
    """The SVG of what the screen shows after its keys."""
    from loadglass.home import home
    from loadglass.timing.rig_files import load_rigs
    from sample_images import folder
    from tests.tui.driving import settle
    from tui.app import LoadglassApp
    from tui.session import Session
    from tui.shelves import scratch_shelf

    size, keys = PICTURES[name]
    rigs = load_rigs().rigs
    with scratch_shelf([os.path.relpath(folder())], list(rigs.values())) as opened:
        app = LoadglassApp(Session(opened, rigs, home(), "samples", kept=False))
        async with app.run_test(size=size) as pilot:
            await settle(pilot)
            for key in keys:
                await pilot.press(key)
            await settle(pilot)
            await settle(pilot)
            return app.export_screenshot(title=f"loadglass: {name}")


def main() -> None:
    from sample_images import folder
    from tui.__main__ import main as command

    FOLDER.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as kept:
        os.environ["LOADGLASS_HOME"] = os.environ["HOME"] = kept
        Path(kept, "card").mkdir()
        for image, name, seconds in READINGS:
            timed = [os.path.relpath(folder() / image), name, "--rig", "fast-card"]
            command(["bench", "add", *timed, "--seconds", str(seconds)])
        os.environ.pop("NO_COLOR", None)
        for name in PICTURES:
            path = FOLDER / f"{name}.svg"
            path.write_text(asyncio.run(picture(name)), encoding="utf-8")
            print(path)


if __name__ == "__main__":
    main()
