"""What the screen remembers."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loadglass.home import NoHome
from tui.card_order import RULES, CardOrder, order_of
from tui.settings import CHOICES, NotSaved, Settings, load_settings, save_settings


def test_nothing_kept_yet_is_no_problem(tmp_path: Path) -> None:
    assert load_settings(tmp_path / "settings.toml") == (Settings(), [])


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=400), st.booleans(), st.sampled_from(["fog", "chalk"]))
def test_what_is_saved_comes_back(
    tmp_path_factory: pytest.TempPathFactory, text: str, flag: bool, theme: str
) -> None:
    path = tmp_path_factory.mktemp("home") / "deeper" / "settings.toml"
    saved = Settings(theme=theme, filter=text, descending=flag)
    save_settings(saved, path)
    loaded, problems = load_settings(path)
    assert problems == []
    assert (loaded.theme, loaded.descending) == (theme, flag)
    if text.isprintable() and text.isascii():
        assert loaded.filter == text
    save_settings(loaded, path)
    assert load_settings(path) == (loaded, [])


@pytest.mark.parametrize(
    "content",
    [b"theme = \n", b"\xff\xfe\x00", b"[[[", b"theme = 'fog'\ntheme = 'fog'", b'a = "' + b"x" * 99],
)
def test_a_broken_file_costs_only_itself(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "settings.toml"
    path.write_bytes(content)
    loaded, problems = load_settings(path)
    assert loaded == Settings()
    assert len(problems) == 1 and "settings.toml" in problems[0]


def test_a_value_that_makes_no_sense_costs_only_itself(tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    path.write_text('theme = "pink"\nglyphs = "plain"\npreview = 3\nfuture = true\n')
    loaded, problems = load_settings(path)
    assert loaded == Settings(glyphs="plain")
    assert len(problems) == 2
    assert "theme may be" in problems[0] and "preview" in problems[1]


def test_a_rule_of_the_card_that_makes_no_sense_costs_only_itself(tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    path.write_text(
        'card_damaged = "thrown away"\ncard_longest = "soon"\ncard_entries = "1"\n'
        'card_budget_bytes = "2 GB"\ncard_layout = ""\ncard_every_copy = true\n'
    )
    loaded, problems = load_settings(path)
    assert loaded == Settings(card_budget_bytes="2 GB", card_every_copy=True)
    assert [problem.split()[1] for problem in problems] == [
        *("card_damaged", "card_longest", "card_entries")
    ]


def test_every_rule_is_remembered_with_what_it_usually_is() -> None:
    assert order_of(Settings()) == replace(CardOrder(), rig=Settings().card_rig)
    for rule in RULES:
        allowed = CHOICES.get(f"card_{rule.name}")
        assert allowed is None or set(allowed) == set(rule.values)


def test_a_folder_in_its_place_is_said_and_nothing_else_is_left_behind(tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    path.mkdir()
    assert load_settings(path)[0] == Settings()
    with pytest.raises(NotSaved, match="cannot be written"):
        save_settings(Settings(), path)
    assert list(tmp_path.iterdir()) == [path]


def test_a_home_that_cannot_be_made_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(NoHome):
        save_settings(Settings(), tmp_path / "file" / "settings.toml")


def test_the_file_is_toml_that_a_person_can_read(tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    save_settings(Settings(filter='title:"FOG" x<3'), path)
    assert tomllib.loads(path.read_text())["filter"] == 'title:"FOG" x<3'
