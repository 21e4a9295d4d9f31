"""The card's file system: no link is followed, nothing is overwritten by a rename."""

from __future__ import annotations

import ctypes
import os
from pathlib import Path

import pytest

from loadglass.card.device import CardTrouble, Device, sentences


@pytest.fixture
def card(tmp_path: Path) -> Path:
    folder = tmp_path / "card"
    folder.mkdir()
    return folder


def put(device: Device, name: str, data: bytes) -> None:
    descriptor = device.create(name)
    device.write(descriptor, data)
    device.flush(descriptor)
    device.close(descriptor)


@pytest.mark.parametrize("exclusive", [True, False])
def test_a_rename_never_overwrites(
    card: Path, monkeypatch: pytest.MonkeyPatch, exclusive: bool
) -> None:
    if not exclusive:

        def without(*_: object, **__: object) -> object:
            return object()

        monkeypatch.setattr(ctypes, "CDLL", without)
    device = Device(str(card))
    put(device, "new", b"new")
    put(device, "there", b"there")
    (card / "link").symlink_to(card / "nowhere")
    for name in ("there", "link"):
        with pytest.raises(FileExistsError):
            device.rename("new", name)
    assert (card / "there").read_bytes() == b"there"
    device.rename("new", "fresh")
    assert (card / "fresh").read_bytes() == b"new"


def test_links_are_not_followed(card: Path, tmp_path: Path) -> None:
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "file").write_bytes(b"x")
    (card / "folder").symlink_to(outside)
    (card / "file").symlink_to(outside / "file")
    device = Device(str(card))
    assert not device.is_file("file") and not device.is_file("folder/file")
    for call in (
        lambda: device.create("folder/new"),
        lambda: device.read("file", 10),
        lambda: device.digest("folder/file"),
        lambda: device.remove("folder/file"),
        lambda: device.make_folder("folder/deep"),
        lambda: device.flush_folder("folder/x"),
    ):
        with pytest.raises(OSError):  # noqa: PT011
            call()
    assert [path.name for path in outside.iterdir()] == ["file"]


def test_a_pipe_is_not_waited_for(card: Path) -> None:
    os.mkfifo(card / "pipe")
    device = Device(str(card))
    assert not device.is_file("pipe")
    with pytest.raises(OSError, match="no regular file"):
        device.digest("pipe")


def test_a_folder_that_has_been_changed_for_another(card: Path) -> None:
    device = Device(str(card))
    device.still_there()
    card.rename(card.with_name("pulled"))
    with pytest.raises(FileNotFoundError):
        device.still_there()
    card.mkdir()
    with pytest.raises(FileNotFoundError):
        device.create("x")
    assert not list(card.iterdir())


def test_a_sentence_has_no_hostile_name_in_it() -> None:
    with pytest.raises(CardTrouble) as raised, sentences("/media/\x1b[31mred", "write to"):
        raise OSError(28, "No space left on device")
    assert "\x1b" not in str(raised.value) and "\\x1b" in str(raised.value)


def test_room_is_what_the_system_says(card: Path) -> None:
    room = Device(str(card)).room()
    found = os.statvfs(card)
    assert room.cluster_bytes == found.f_frsize
    assert abs(room.free_bytes - found.f_bavail * found.f_frsize) < 1 << 30
