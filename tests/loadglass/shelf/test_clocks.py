"""Times in the index: right, and brought up to date without opening an image."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import pytest

from loadglass.opened import open_and_audit
from loadglass.progress import Job, Stopped
from loadglass.shelf.choices import open_choices
from loadglass.shelf.clocks import CLOCK_VERSION, fingerprint, reclock
from loadglass.shelf.index import Index
from loadglass.shelf.query import Shelf
from loadglass.shelf.survey import SurveyResult, survey
from loadglass.sources import Reader
from loadglass.timing.estimate import clock_image
from loadglass.timing.rig import Rig
from tests.loadglass.shelf.club import image, program

Survey = Callable[..., SurveyResult]


@pytest.fixture
def filled(club: Path, surveyed: Survey) -> Path:
    for i in range(7):
        files = [program(f"P{n}", bytes([n]) * (1 + 4_000 * n)) for n in range(i)]
        (club / f"{i}.d64").write_bytes(image(f"DISK {i}", *files))
    (club / "bad.d64").write_bytes(b"nothing")
    surveyed()
    return club


def starts(index: Index, rigs: Sequence[Rig], tmp_path: Path) -> dict[str, dict[str, float | None]]:
    shelf = Shelf(index, open_choices(tmp_path / "none"), rigs)
    found = {
        row.file_name: {
            rig: None if seconds is None else round(seconds, 6)
            for rig, seconds in row.start_s.items()
        }
        for row in shelf.rows()
    }
    shelf.close()
    return found


def test_the_index_has_the_times_of_the_clock(
    filled: Path, index: Index, rigs: Sequence[Rig], tmp_path: Path
) -> None:
    shelf = Shelf(index, open_choices(tmp_path / "none"), rigs)
    compared = 0
    for row in shelf.rows("-verdict:unreadable"):
        clocking = clock_image(open_and_audit(row.path).audit, rigs)
        for found, expected in ((row.start_s, clocking.start), (row.all_s, clocking.all)):
            for rig, estimate in expected.items():
                assert found[rig] == (pytest.approx(estimate.seconds) if estimate else None)
                compared += 1
    shelf.close()
    assert compared == 7 * 2 * len(rigs)


def test_every_file_is_clocked(filled: Path, index: Index, rigs: Sequence[Rig]) -> None:
    audit = open_and_audit(filled / "5.d64").audit
    with index.connected() as connection:
        (packed,) = connection.execute(
            "SELECT files_s FROM times JOIN images ON images.id = image_id "
            "JOIN rigs ON rigs.id = rig_id WHERE file_name = '5.d64' AND rigs.name = 'fast-card'"
        ).fetchone()
    expected = [
        times["fast-card"].seconds for times in clock_image(audit, rigs).files.values() if times
    ]
    assert np.frombuffer(packed, "<f4").tolist() == pytest.approx(expected, rel=1e-6)


def test_a_changed_rig_is_clocked_without_opening_an_image(
    filled: Path,
    index: Index,
    rigs: Sequence[Rig],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    before = starts(index, rigs, tmp_path)
    slower = rigs[1].with_values({"byte": 9.0})
    changed = [rigs[0], slower, *rigs[2:]]
    assert starts(index, changed, tmp_path)["5.d64"][slower.name] is None
    monkeypatch.setattr(Reader, "read", lambda *_: pytest.fail("an image was opened"))
    assert reclock(index, changed) == 7
    assert reclock(index, changed) == 0
    after = starts(index, changed, tmp_path)
    for name, times in after.items():
        for rig, seconds in times.items():
            if rig == slower.name and seconds is not None:
                assert seconds > before[name][rig]
            else:
                assert seconds == before[name][rig]
    assert survey(index, [str(filled)], rigs, workers=0).unchanged == 8
    assert starts(index, rigs, tmp_path) == before


def test_rigs_come_and_go(filled: Path, index: Index, rigs: Sequence[Rig], tmp_path: Path) -> None:
    before = starts(index, rigs, tmp_path)
    reclock(index, rigs[:1])
    with index.connected() as connection:
        assert connection.execute("SELECT count(*) FROM times").fetchone() == (7,)
    reclock(index, rigs)
    assert starts(index, rigs, tmp_path) == before


def test_clocking_goes_on_after_a_stop(
    filled: Path, index: Index, rigs: Sequence[Rig], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = starts(index, rigs, tmp_path)
    reclock(index, [])
    monkeypatch.setattr("loadglass.shelf.clocks.BATCH_IMAGES", 3)
    job = Job(report=lambda progress: job.stop(), interval_s=0)
    with pytest.raises(Stopped):
        reclock(index, rigs, job)
    assert reclock(index, rigs) == 4
    assert starts(index, rigs, tmp_path) == before


def test_a_survey_with_other_figures_meanwhile_leaves_no_wrong_times(
    filled: Path, index: Index, rigs: Sequence[Rig], tmp_path: Path
) -> None:
    """Two processes: while one surveys, the other has calibrated a rig."""
    slower = rigs[1].with_values({"byte": 9.0})
    changed = [rigs[0], slower, *rigs[2:]]
    (filled / "5.d64").write_bytes(image("DISK 5", program("NEU", b"n" * 9_000)))
    calls = 0

    def meanwhile(_: object) -> None:
        nonlocal calls
        calls += 1
        if calls == 1:
            reclock(index, changed)

    survey(index, [str(filled)], rigs, Job(report=meanwhile, interval_s=0), workers=0)
    assert calls
    assert starts(index, changed, tmp_path)["5.d64"][slower.name] is None
    assert reclock(index, changed) == 1
    right = starts(index, changed, tmp_path)
    reclock(index, [])
    reclock(index, changed)
    assert starts(index, changed, tmp_path) == right


def test_fingerprints_stand_for_figures(rigs: Sequence[Rig]) -> None:
    assert len({fingerprint(rig) for rig in rigs}) == len(rigs)
    assert fingerprint(rigs[0]) == fingerprint(rigs[0].with_values({}))
    assert fingerprint(rigs[0]) != fingerprint(rigs[0].with_values({"byte": 1.99}))


TIMES_OF_VERSION = {1: "ab434349e6692ad3"}
"""What the clock said when CLOCK_VERSION was last raised."""


def test_the_clock_version_grows_with_the_clock(
    filled: Path, index: Index, rigs: Sequence[Rig], tmp_path: Path
) -> None:
    said = [
        f"{name} {rig} {seconds and round(seconds, 3)}"
        for name, times in sorted(starts(index, rigs, tmp_path).items())
        for rig, seconds in sorted(times.items())
    ]
    stamp = hashlib.sha256("\n".join(said).encode()).hexdigest()[:16]
    assert stamp == TIMES_OF_VERSION[CLOCK_VERSION], (
        "the same figures give other times than before: raise CLOCK_VERSION, so that every "
        "index is clocked again, and note its times here"
    )
