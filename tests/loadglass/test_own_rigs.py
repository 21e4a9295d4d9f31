"""A rig of the user's own, written where it is found again, and nowhere else."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from loadglass.own_rigs import save_rig
from loadglass.saving import AlreadyThere
from loadglass.timing.rig import Rig, RigError
from loadglass.timing.rig_files import built_in_rigs, load_rigs


def named(name: str) -> Rig:
    return replace(built_in_rigs()["fast-card"], name=name)


def test_a_saved_rig_is_found_again(tmp_path: Path) -> None:
    path = save_rig(named("pier-four"), tmp_path / "rigs")
    assert path == tmp_path / "rigs" / "pier-four.toml"
    found = load_rigs(tmp_path / "rigs")
    assert found.problems == ()
    assert found.rigs["pier-four"] == named("pier-four")


@pytest.mark.parametrize("name", ["fast-card", "../pier", "Pier", ""])
def test_a_name_that_can_be_no_own_rigs_is_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(RigError):
        save_rig(named(name), tmp_path / "rigs")
    assert list(tmp_path.iterdir()) == []


def test_a_name_is_taken_once_whatever_the_file(tmp_path: Path) -> None:
    save_rig(named("pier-four"), tmp_path)
    with pytest.raises(AlreadyThere):
        save_rig(named("pier-four"), tmp_path)
    (tmp_path / "pier-four.toml").rename(tmp_path / "other.toml")
    with pytest.raises(AlreadyThere, match="in another file"):
        save_rig(named("pier-four"), tmp_path, overwrite=True)


def test_the_user_may_overwrite_his_rig(tmp_path: Path) -> None:
    save_rig(named("pier-four"), tmp_path)
    faster = named("pier-four").with_values({"byte": 0.1})
    save_rig(faster, tmp_path, overwrite=True)
    assert load_rigs(tmp_path).rigs["pier-four"] == faster
