"""The built wheel carries all it needs: samples, rigs and styles."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import sysconfig
import venv
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


def _run(*command: object, cwd: Path) -> str:
    environment = {k: v for k, v in os.environ.items() if not k.startswith("PYTHON")}
    environment |= {"LOADGLASS_HOME": str(cwd / "home"), "PIP_NO_INDEX": "1"}
    done = subprocess.run(
        [str(word) for word in command],
        cwd=cwd,
        env=environment,
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    build = [sys.executable, "-m", "pip", "wheel", "--no-deps", "--no-build-isolation"]
    _run(*build, "-q", "-w", folder, ROOT, cwd=folder)
    (built,) = folder.glob("loadglass-*.whl")
    return built


@pytest.fixture(scope="module")
def fresh(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Scripts of an environment with the wheel, and this one's libraries but not its project."""
    folder = tmp_path_factory.mktemp("fresh")
    venv.create(folder / "env", with_pip=False)
    scheme = "nt" if os.name == "nt" else "venv"
    places = sysconfig.get_paths(
        scheme, {"base": str(folder / "env"), "platbase": str(folder / "env")}
    )
    site = Path(places["purelib"])
    # As a plain entry: its own .pth files, and so the editable project, are not followed.
    (site / "libraries.pth").write_text(sysconfig.get_paths()["purelib"] + "\n")
    target = ["--target", site, "--no-deps", "--no-index"]
    _run(sys.executable, "-m", "pip", "install", "-q", *target, wheel, cwd=folder)
    return Path(places["scripts"])


def test_the_wheel_holds_samples_rigs_and_styles(wheel: Path) -> None:
    names = set(zipfile.ZipFile(wheel).namelist())
    assert "loadglass/timing/rigs/stock-card.toml" in names
    assert any(name.startswith("tui/styles/") and name.endswith(".tcss") for name in names)
    samples = {path.name for path in (ROOT / "sample_images").glob("*.d64")}
    assert samples and {f"sample_images/{name}" for name in samples} <= names
    assert not any(name.startswith("tests/") for name in names)


def test_demo_runs_from_the_wheel_alone(fresh: Path, tmp_path: Path) -> None:
    python = fresh / "python"
    where = _run(python, "-c", "import tui; print(tui.__file__)", cwd=tmp_path)
    assert str(fresh.parent) in where
    records = [
        json.loads(line)
        for line in _run(python, "-m", "tui", "demo", "--json", cwd=tmp_path).splitlines()
    ]
    assert len(records) == len({record["path"] for record in records}) >= 12
    assert {record["verdict"] for record in records} == {"sound", "quirky", "damaged"}
    assert "GRAUHAVEN FOG" in _run(python, "-m", "tui", "demo", cwd=tmp_path)
