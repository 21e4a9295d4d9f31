"""A mended copy from the Disk view: shown first, written only then, the image never touched."""

from __future__ import annotations

from pathlib import Path

import pytest
from textual.widgets import Input

from formats.audit import audit
from formats.findings import Verdict
from formats.image import DiskImage
from loadglass.opened import open_and_audit
from tests.tui import images
from tests.tui.disk_view import disk_view
from tests.tui.driving import screen_lines, settle
from tui.app import LoadglassApp


async def test_mend_shows_what_it_would_do_and_writes_a_copy(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    image = images.put(tmp_path, "looped.d64", images.looped())
    before = image.read_bytes()
    async with disk_view(open_and_audit(str(image))) as (pilot, _screen):
        app = pilot.app
        assert isinstance(app, LoadglassApp)
        await pilot.press("M")
        await settle(pilot)
        shown = "\n".join(screen_lines(app))
        assert "before damaged, after quirky" in shown
        assert "would be done:" in shown
        assert app.screen.query_one(Input).value == "looped-mended.d64"
        assert list(tmp_path.iterdir()) == [image]
        await pilot.press("enter")
        await settle(pilot)
    copy = audit(DiskImage.from_bytes((tmp_path / "looped-mended.d64").read_bytes()))
    assert copy.verdict is Verdict.QUIRKY
    assert image.read_bytes() == before


async def test_of_a_sound_image_there_is_nothing_to_save(tmp_path: Path) -> None:
    image = images.put(tmp_path, "sound.d64", images.sound())
    async with disk_view(open_and_audit(str(image))) as (pilot, screen):
        await pilot.press("M")
        await settle(pilot)
        shown = "\n".join(screen_lines(screen.app))
        assert "There is nothing to mend" in shown and "Save (enter)" not in shown
        await pilot.press("enter")
        await settle(pilot)
        assert screen.app.screen is screen
    assert list(tmp_path.iterdir()) == [image]


async def test_mend_never_writes_over_the_image(tmp_path: Path) -> None:
    image = images.put(tmp_path, "looped.d64", images.looped())
    before = image.read_bytes()
    async with disk_view(open_and_audit(str(image))) as (pilot, _screen):
        app = pilot.app
        assert isinstance(app, LoadglassApp)
        await pilot.press("M")
        await settle(pilot)
        app.screen.query_one(Input).value = str(image)
        await pilot.press("enter")
        await settle(pilot)
        assert "disk image itself" in "\n".join(screen_lines(app))
    assert image.read_bytes() == before
