"""Saving a file of an image: its name, whole or not at all, and never over an image."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.compose import NewFile, compose
from formats.directory import REL, SEQ, Entry
from formats.errors import NotReadable
from loadglass.opened import Opened, open_and_audit
from loadglass.saving import AlreadyThere, CannotSave, safe_name, save_file, target_of
from tests.tui import disks

DATA = bytes([1, 8]) + bytes(range(256)) * 3


@pytest.fixture
def image(tmp_path: Path) -> Opened:
    path = tmp_path / "hafen.d64"
    path.write_bytes(
        compose(
            b"HAFEN",
            [
                NewFile(b"LOTSE", DATA),
                NewFile(b"LISTE", b"AHOI\r", type_code=SEQ),
                NewFile(b"SCHIFFE", bytes(50), type_code=REL, record_length=50),
            ],
        )
    )
    return open_and_audit(path)


def entry(name: bytes, kind: str = "PRG") -> Entry:
    found = disks.opened(compose(b"X", [NewFile(b"A", b"AB")])).audit.files[0].entry
    return found._replace(name=name, kind=kind)


@pytest.mark.parametrize(
    ("name", "kind", "safe"),
    [
        (b"HAFENLOTSE", "PRG", "hafenlotse.prg"),
        (b"\xc7RAUHAVEN", "PRG", "Grauhaven.prg"),  # a shifted letter is upper case
        (b"LOG BUCH 2", "SEQ", "log buch 2.seq"),
        (b"../../ETC", "PRG", "___.._etc.prg"),
        (b"A/B\\C:D*E?F", "USR", "a_b_c_d_e_f.usr"),
        (b'"X"', "REL", "_x_.rel"),
        (b"CON", "PRG", "con_.prg"),
        (b"LPT1", "DEL", "lpt1_.del"),
        (b"NUL.TAR", "PRG", "nul_.tar.prg"),
        (b"AUX .1", "PRG", "aux _.1.prg"),
        (b"CON1.X", "PRG", "con1.x.prg"),
        (b".HIDDEN", "PRG", "_hidden.prg"),
        (b"-RF", "PRG", "_rf.prg"),
        (b"X. . ", "PRG", "x.prg"),
        (b"   ", "PRG", "unnamed.prg"),
        (b"", "PRG", "unnamed.prg"),
        (b"\x00\x1b\xff", "?", "___.bin"),
        (b"LAND", "partition", "land.bin"),
    ],
)
def test_safe_name(name: bytes, kind: str, safe: str) -> None:
    assert safe_name(entry(name, kind)) == safe


@given(st.binary(max_size=16))
def test_any_name_is_one_that_every_computer_takes(name: bytes) -> None:
    safe = safe_name(entry(name))
    stem, _, ending = safe.rpartition(".")
    assert ending == "prg"
    assert safe.isascii() and safe.isprintable()
    assert stem and stem[0] not in " .-" and stem[-1] not in " ."
    assert not set(safe) & set('<>:"/\\|?*')  # what file systems of desktop computers refuse
    assert os.path.basename(safe) == safe


@pytest.mark.parametrize(("slot", "data"), [(0, DATA), (1, b"AHOI\r"), (2, bytes(50))])
def test_saves_every_byte(image: Opened, tmp_path: Path, slot: int, data: bytes) -> None:
    target = tmp_path / "out.bin"
    assert save_file(image, slot, target) == len(data)
    assert target.read_bytes() == data
    assert sorted(os.listdir(tmp_path)) == ["hafen.d64", "out.bin"]


def test_has_the_rights_of_any_new_file(image: Opened, tmp_path: Path) -> None:
    (tmp_path / "plain").write_bytes(b"")
    save_file(image, 0, tmp_path / "saved")
    modes = {stat.S_IMODE((tmp_path / name).stat().st_mode) for name in ("plain", "saved")}
    assert len(modes) == 1


def test_leaves_what_is_there_until_told_otherwise(image: Opened, tmp_path: Path) -> None:
    target = tmp_path / "lotse.prg"
    target.write_bytes(b"mine")
    target.chmod(0o640)
    with pytest.raises(AlreadyThere, match=r"lotse\.prg is there already"):
        save_file(image, 0, target)
    assert target.read_bytes() == b"mine"
    save_file(image, 0, target, overwrite=True)
    assert target.read_bytes() == DATA
    assert stat.S_IMODE(target.stat().st_mode) == 0o640


@pytest.mark.parametrize("link", [os.link, os.symlink])
def test_never_writes_to_the_image(image: Opened, tmp_path: Path, link: object) -> None:
    before = Path(image.path).read_bytes()
    other = tmp_path / "lotse.prg"
    link(image.path, other)  # type: ignore[operator]
    for target in (Path(image.path), other, tmp_path / "." / "hafen.d64"):
        for overwrite in (False, True):
            with pytest.raises(CannotSave, match=r"is (the disk image itself|a disk image)"):
                save_file(image, 0, target, overwrite=overwrite)
    assert Path(image.path).read_bytes() == before
    assert other.samefile(image.path)


def test_never_overwrites_another_image(image: Opened, tmp_path: Path) -> None:
    other = tmp_path / "other.D64"
    other.write_bytes(b"another")
    with pytest.raises(CannotSave, match="is a disk image"):
        save_file(image, 0, other, overwrite=True)
    assert other.read_bytes() == b"another"


def test_refuses_folders_and_devices(image: Opened, tmp_path: Path) -> None:
    with pytest.raises(CannotSave, match="is a folder"):
        save_file(image, 0, tmp_path, overwrite=True)
    with pytest.raises(CannotSave, match="no regular file"):
        save_file(image, 0, Path("/dev/null"), overwrite=True)
    with pytest.raises(CannotSave, match="there is no folder"):
        save_file(image, 0, tmp_path / "nowhere" / "lotse.prg")
    with pytest.raises(CannotSave, match="cannot save to"):
        save_file(image, 0, tmp_path / ("x" * 300))


@pytest.mark.parametrize("overwrite", [False, True])
def test_a_failed_write_leaves_nothing(
    image: Opened, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, overwrite: bool
) -> None:
    target = tmp_path / "lotse.prg"
    if overwrite:
        target.write_bytes(b"mine")

    def full(_descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(CannotSave, match="No space left on device"):
        save_file(image, 0, target, overwrite=overwrite)
    assert sorted(os.listdir(tmp_path)) == ["hafen.d64", *(["lotse.prg"] if overwrite else [])]
    assert not overwrite or target.read_bytes() == b"mine"


def test_a_broken_file_is_not_saved(tmp_path: Path) -> None:
    with pytest.raises(NotReadable):
        save_file(disks.opened(disks.looped()), 1, tmp_path / "lotse.prg")
    assert os.listdir(tmp_path) == []


def test_a_dangling_link_is_taken_and_replaced(image: Opened, tmp_path: Path) -> None:
    target = tmp_path / "link"
    target.symlink_to(tmp_path / "gone")
    with pytest.raises(AlreadyThere):
        save_file(image, 0, target)
    save_file(image, 0, target, overwrite=True)
    assert not target.is_symlink() and target.read_bytes() == DATA
    assert not (tmp_path / "gone").exists()


def test_where_a_typed_path_leads(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HOME", str(tmp_path))
    (tmp_path / "karte").mkdir()
    assert target_of("x.prg", "n.prg", tmp_path) == tmp_path / "x.prg"
    assert target_of("  karte ", "n.prg", tmp_path) == tmp_path / "karte" / "n.prg"
    assert target_of("neu/", "n.prg", tmp_path) == tmp_path / "neu" / "n.prg"
    assert target_of("~/x.prg", "n.prg", Path("/")) == tmp_path / "x.prg"
    assert target_of("/else/x", "n.prg", tmp_path) == Path("/else/x")


@pytest.mark.parametrize("text", ["", "  ", "a\0b", "~nobody-of-that-name/x"])
def test_paths_that_lead_nowhere(text: str) -> None:
    with pytest.raises(CannotSave):
        target_of(text, "n.prg")
