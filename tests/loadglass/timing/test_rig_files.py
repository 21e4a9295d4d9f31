import dataclasses
import tomllib
from pathlib import Path

import pytest

from loadglass.timing.rig import FIGURES, RigError, RigFile
from loadglass.timing.rig_files import BUILT_IN, load_rigs, starting_file, to_toml


@pytest.fixture
def folder(tmp_path):
    """Writes a folder of rigs: file name to text."""

    def write(**files: str):
        for name, text in files.items():
            (tmp_path / f"{name}.toml").write_text(text, encoding="utf-8")
        return tmp_path

    return write


def derived(name: str, base: str) -> str:
    return f'name = "{name}"\nbased_on = "{base}"\n'


def test_the_four_come_first_and_in_order(folder):
    found = load_rigs(folder(z=derived("a-rig", "fast-card"), a=derived("z-rig", "a-rig")))
    assert list(found.rigs) == [*BUILT_IN, "a-rig", "z-rig"]
    assert found.problems == ()
    assert found.rigs["z-rig"].based_on == "a-rig"


def test_no_folder_is_no_problem(tmp_path):
    assert list(load_rigs(None).rigs) == list(BUILT_IN)
    assert load_rigs(tmp_path / "none").problems == ()


def test_other_files_and_folders_are_left_alone(folder):
    path = folder()
    (path / "notes.txt").write_text("?")
    (path / ".hidden.toml").write_text("?")
    (path / "folder.toml").mkdir()
    assert load_rigs(path).problems == ()


def test_a_file_in_place_of_the_folder_is_a_problem(tmp_path):
    path = tmp_path / "rigs"
    path.write_text("?")
    found = load_rigs(path)
    assert list(found.rigs) == list(BUILT_IN)
    assert "rigs in it cannot be read" in str(found.problems[0])


def test_a_folder_that_can_be_listed_but_not_entered_is_a_problem(folder, monkeypatch):
    path = folder(good=derived("good", "stock-card"))

    def refuse(self: Path, **_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "stat", refuse)
    monkeypatch.setattr(Path, "exists", lambda self: True)
    found = load_rigs(path)
    assert list(found.rigs) == list(BUILT_IN)
    assert "Permission denied" in str(found.problems[0])


def test_a_broken_rig_stops_no_other(folder):
    found = load_rigs(
        folder(
            broken="name = ",
            child=derived("child", "broken"),
            good=derived("good", "stock-card"),
        )
    )
    assert list(found.rigs) == [*BUILT_IN, "good"]
    assert [str(problem).split(":")[0] for problem in found.problems] == [
        "broken.toml",
        "child.toml",
    ]
    assert 'based_on is "broken", which is no rig' in str(found.problems[1])


def test_unknown_base_names_the_rigs_there_are(folder):
    (problem,) = load_rigs(folder(a=derived("mine", "fast-tape"))).problems
    assert str(problem).startswith('a.toml: based_on is "fast-tape", which is no rig')
    assert "stock-spinning, stock-card, fast-spinning, fast-card" in str(problem)


def test_a_base_that_cannot_be_used_is_told_of(folder):
    found = load_rigs(folder(a=derived("child", "parent"), b=derived("parent", "nothing")))
    assert list(found.rigs) == list(BUILT_IN)
    assert 'a.toml: based_on is "parent", which cannot be used itself (b.toml' in str(
        found.problems[0]
    )


@pytest.mark.parametrize("ring", [("a",), ("a", "b"), ("a", "b", "c")])
def test_rigs_based_on_each_other(folder, ring):
    files = {name: derived(name, ring[i - 1]) for i, name in enumerate(ring)}
    found = load_rigs(folder(**files))
    assert len(found.problems) == len(ring)
    assert all("based on each other" in str(problem) for problem in found.problems)


def test_a_very_long_row_of_rigs(folder):
    files = {f"r{i:04}": derived(f"r{i:04}", f"r{i + 1:04}") for i in range(1500)}
    found = load_rigs(folder(**files, r1500=derived("r1500", "fast-card")))
    assert "row of more than 20 rigs" in str(found.problems[0])


def test_names_are_taken_once(folder):
    found = load_rigs(
        folder(
            a=derived("stock-card", "fast-card"),
            b=derived("mine", "fast-card"),
            c=derived("mine", "stock-card"),
        )
    )
    assert found.rigs["stock-card"].loader == "stock"
    assert found.rigs["mine"].loader == "fast"
    assert [str(problem) for problem in found.problems] == [
        'a.toml: name is "stock-card", which is a rig we bring; choose another name and write '
        'based_on = "stock-card"',
        'c.toml: name is "mine", which b.toml has already; choose another name',
    ]


def test_named(folder):
    found = load_rigs(folder())
    assert found.named("fast-card").name == "fast-card"
    with pytest.raises(RigError, match='there is no rig "warp"; the rigs are stock-spinning'):
        found.named("warp")


@pytest.mark.parametrize("base", BUILT_IN)
def test_starting_file_is_a_rig_like_its_base(rigs, folder, base):
    found = load_rigs(folder(mine=starting_file("mine", rigs[base])))
    assert found.problems == ()
    mine = found.rigs["mine"]
    assert mine.based_on == base
    assert mine.figures == rigs[base].figures


def test_starting_file_shows_every_figure_ready_to_change(rigs):
    text = starting_file("mine", rigs["stock-spinning"])
    code = "\n".join(
        line.removeprefix("# ")
        if line.startswith(("# [", "# value =", "# spread =", "# source ="))
        else line
        for line in text.splitlines()
    )
    rig = RigFile.parse(code.encode(), "mine.toml").rig(rigs["stock-spinning"])
    assert {name: (f.value, f.spread) for name, f in rig.figures.items()} == {
        name: (f.value, f.spread) for name, f in rigs["stock-spinning"].figures.items()
    }
    assert all(FIGURES[name].says in text for name in rig.figures)


@pytest.mark.parametrize("name", ["", "My Rig", "a/b", "-a", "a--b", "x" * 41, 'a"', "a\n"])
def test_starting_file_refuses_a_name_that_is_none(rigs, name):
    with pytest.raises(RigError, match="is no name for a rig"):
        starting_file(name, rigs["fast-card"])


def test_starting_file_refuses_a_name_that_we_bring(rigs):
    with pytest.raises(RigError, match="is a rig we bring"):
        starting_file("stock-card", rigs["fast-card"])


def test_to_toml_is_exact_and_stands_alone(rigs):
    figures = {
        name: dataclasses.replace(
            figure,
            value=figure.value / 3,
            spread=figure.spread / 7,
            source='fit of 12 "reads" \\ ü',
        )
        for name, figure in rigs["stock-card"].figures.items()
    }
    rig = dataclasses.replace(
        rigs["stock-card"], name="fitted", figures=figures, based_on="stock-card"
    )
    text = to_toml(rig)
    assert tomllib.loads(text)["figures"]["byte"]["value"] == rig.value("byte")
    assert RigFile.parse(text.encode(), "f.toml").rig(None) == dataclasses.replace(
        rig, based_on=None
    )
    assert "stock-card" in text.splitlines()[0]
