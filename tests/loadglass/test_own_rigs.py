"""A rig of the user's own, written where it is found again, and nowhere else."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from loadglass.own_rigs import save_rig, set_rig_aside
from loadglass.saving import AlreadyThere
from loadglass.timing.rig import Rig, RigError
from loadglass.timing.rig_files import built_in_rigs, load_rigs, starting_file


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


def test_a_rig_is_set_aside_and_its_file_can_come_back(tmp_path: Path) -> None:
    path = save_rig(named("pier-four"), tmp_path)
    for times in range(3):
        aside = set_rig_aside("pier-four", tmp_path)
        assert "pier-four" not in load_rigs(tmp_path).rigs and load_rigs(tmp_path).problems == ()
        assert len([*aside.parent.iterdir()]) == times + 1
        path.write_bytes(aside.read_bytes())
        assert load_rigs(tmp_path).rigs["pier-four"] == named("pier-four")


def test_a_rig_is_found_whatever_its_file_is_called(tmp_path: Path) -> None:
    save_rig(named("pier-four"), tmp_path).rename(tmp_path / "other.toml")
    set_rig_aside("pier-four", tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["set-aside"]


@pytest.mark.parametrize("name", ["fast-card", "pier-four", "../pier"])
def test_a_rig_that_cannot_be_set_aside_is_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(RigError):
        set_rig_aside(name, tmp_path / "rigs")


def test_a_rig_that_another_is_based_on_stays(tmp_path: Path) -> None:
    path = save_rig(named("pier-four"), tmp_path)
    (tmp_path / "b.toml").write_text(starting_file("pier-five", named("pier-four")))
    with pytest.raises(RigError, match="pier-five is based on pier-four: remove that first"):
        set_rig_aside("pier-four", tmp_path)
    assert path.exists()


def test_a_calibrated_rig_knows_what_it_came_from(tmp_path: Path) -> None:
    for base, kept in [("fast-card", "fast-card"), ("pier-four", None)]:
        save_rig(replace(named("mine"), based_on=base), tmp_path, overwrite=True)
        assert load_rigs(tmp_path).rigs["mine"].based_on == kept
