"""A monkey at the keyboard finds no way to break the application, to harm an image, or to write
where nobody asked it to; and the short key lists that once did."""

from __future__ import annotations

import os
from collections.abc import Callable

import pytest

from tests.journeys.monkey import Evening, let_loose, play, reduced, steps_by_chance
from tui.app import LoadglassApp

STEPS = 120
PROOF_STEPS = 400
PROOF_SEEDS = range(60)
COUNTS = (0, 1, 40)

MENDED = {
    "keys while the view is only being built": ["4", "2", "f", "m", "wait"],
    "a list in a terminal of one cell": ["size:1x1", "o", "enter", "pagedown", "ctrl+p", "wait"],
    "turning pages of a palette that is still empty": ["ctrl+p", "pagedown", "pageup", "wait"],
    "picking before the first rows have come": ["P", "space", "wait", "q", "P", "space", "wait"],
    "views while shelves are changed": ["w", "4", "escape", "5", "wait", "wait", "w", "3", "wait"],
    "a view that is left while it is clocked": ["2", "escape", "2", "1", "3", "escape", "wait"],
    "a sentence that is longer than a small screen": [
        *("size:40x10", "pageup", "tab", "paste:finding:x", "tab", "paste:nan"),
        *("y", "wait", "space"),
    ],
    "two clicks on another view at once": ["2", "wait", "double:3,0", "double:13,0", "wait"],
    "the home of nobody": [
        *("5", "wait", "f", "type:~no/such/person", "enter", "p", "wait", "a", "wait"),
        *("k", "type:x", "enter", "wait", "c", "type:x", "enter", "wait"),
    ],
}


@pytest.mark.parametrize("steps", MENDED.values(), ids=MENDED)
async def test_what_was_mended_stays_whole(steps: list[str]) -> None:
    assert await play(Evening(1, 1), steps) is None


@pytest.mark.parametrize("images", COUNTS)
async def test_a_short_evening_by_chance(images: int) -> None:
    await let_loose(Evening(images, seed=11 + images), STEPS)


@pytest.mark.proof
@pytest.mark.parametrize("seed", PROOF_SEEDS)
async def test_long_evenings_by_chance(
    seed: int, record_property: Callable[[str, object], None]
) -> None:
    await let_loose(Evening(COUNTS[seed % len(COUNTS)], seed), PROOF_STEPS)
    record_property("proof tally", {"keys, clicks and sizes by chance": PROOF_STEPS})


async def test_a_fault_is_found_and_told_in_the_fewest_steps(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def broken(_app: LoadglassApp) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(LoadglassApp, "action_options", broken)
    fault = await play(Evening(0, 0), ["down", "o", "up"])
    assert fault is not None and fault.kind.startswith("ZeroDivisionError")

    async def still_fails(steps: object) -> bool:
        return {"o", "x"} <= set(steps)  # type: ignore[call-overload]

    many = [*steps_by_chance(3, 60), "o", *steps_by_chance(4, 60), "x"]
    assert sorted(await reduced(many, still_fails)) == ["o", "x"]


async def test_what_is_written_outside_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    def careless(_app: LoadglassApp) -> None:
        with open(os.path.join("/tmp", f"careless-{os.getpid()}"), "w"):
            pass
        os.remove(os.path.join("/tmp", f"careless-{os.getpid()}"))

    monkeypatch.setattr(LoadglassApp, "action_options", careless)
    fault = await play(Evening(0, 0), ["o", "wait"])
    assert fault is not None and "written outside" in fault.says
