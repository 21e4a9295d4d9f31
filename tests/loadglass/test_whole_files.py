"""A file comes into being whole, or not at all: whenever the process ends, whoever is quicker."""

from __future__ import annotations

import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from loadglass import whole_files
from loadglass.whole_files import rename_to_new, write_new, write_over

ENDS_AT = """
import os, sys
from pathlib import Path
from loadglass import whole_files
at, how, path = sys.argv[1:]
setattr(os, at, lambda *_: os._exit(9))
getattr(whole_files, how)(Path(path), b"new")
"""


def test_this_system_renames_in_one_step(tmp_path: Path) -> None:
    if not Path("/proc").exists():
        pytest.skip("only looked at on Linux")
    (tmp_path / "a").write_bytes(b"a")
    assert whole_files._renamed_exclusively(str(tmp_path / "a"), str(tmp_path / "b"))


@pytest.mark.parametrize("how", ["write_new", "write_over"])
def test_a_process_that_ends_leaves_nothing_under_the_name(tmp_path: Path, how: str) -> None:
    target = tmp_path / "lotse.prg"
    if how == "write_over":
        target.write_bytes(b"old")
    call = [sys.executable, "-c", ENDS_AT, "fsync", how, str(target)]
    assert subprocess.run(call, timeout=60).returncode == 9
    if how == "write_over":
        assert target.read_bytes() == b"old"
    else:
        assert not target.exists()
    assert all(
        name.startswith(".loadglass-") for name in os.listdir(tmp_path) if name != target.name
    )


def test_who_is_quicker_keeps_the_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another process takes the name while ours still writes."""
    target, flush = tmp_path / "lotse.prg", os.fsync

    def taken_meanwhile(descriptor: int) -> None:
        target.write_bytes(b"theirs")
        flush(descriptor)

    monkeypatch.setattr(os, "fsync", taken_meanwhile)
    with pytest.raises(FileExistsError):
        write_new(target, b"ours")
    assert target.read_bytes() == b"theirs"
    assert os.listdir(tmp_path) == [target.name]


def test_a_new_file_has_the_usual_rights_and_an_old_one_keeps_its_own(tmp_path: Path) -> None:
    (tmp_path / "plain").touch()
    write_new(tmp_path / "new", b"new")
    assert rights(tmp_path / "new") == rights(tmp_path / "plain")
    (tmp_path / "new").chmod(0o604)
    write_over(tmp_path / "new", b"newer")
    assert rights(tmp_path / "new") == 0o604
    assert (tmp_path / "new").read_bytes() == b"newer"


def test_a_rename_to_a_dangling_link_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"a")
    (tmp_path / "link").symlink_to(tmp_path / "nowhere")
    with pytest.raises(FileExistsError):
        rename_to_new(str(tmp_path / "a"), str(tmp_path / "link"))


def rights(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)
