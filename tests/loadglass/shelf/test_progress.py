"""What a survey says while it goes on."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from loadglass.progress import Job, Progress
from loadglass.shelf.index import Index
from loadglass.shelf.survey import survey
from loadglass.timing.rig import Rig
from tests.loadglass.shelf.club import image


def test_progress_knows_the_total_before_it_reads(
    club: Path, index: Index, rigs: Sequence[Rig]
) -> None:
    for i in range(30):
        (club / f"{i}.d64").write_bytes(image(f"DISK {i}"))
    said: list[Progress] = []
    survey(index, [str(club)], rigs, Job(said.append, interval_s=0), workers=0)
    walked = [each for each in said if each.total is None]
    read = [each for each in said if each.total is not None]
    assert walked
    assert {each.total for each in read} == {30}
    assert [each.done for each in read] == sorted(each.done for each in read)
    assert read[-1].done == 30
    assert all(each.what.isprintable() for each in said)
    assert any(each.what.endswith(".d64") for each in read)
