"""Every row of the table of findings has a small image, with exactly what is found in it."""

import pytest

from formats.findings import TABLE, Count, finding
from tests.formats.builders import Disk, noise, program
from tests.formats.findings import damage, everyday, notes, oddities  # noqa: F401
from tests.formats.findings.case import CASES, Case, files_in_words, in_words


@pytest.mark.parametrize("case", CASES, ids=str)
def test_exactly_these_findings(case: Case) -> None:
    judged = case.build().audit
    assert tuple(map(in_words, judged.findings)) == case.findings
    assert files_in_words(judged) == case.files
    assert judged.verdict == case.verdict
    if case.says:
        assert judged.findings[0].says == case.says


def test_every_row_has_an_image() -> None:
    shown = {case.code for case in CASES if case.code in {f.split()[0] for f in case.findings}}
    assert TABLE.keys() - shown == set()


GARBAGE = (1, 0)
BLANK = (35, 0)
MIDDLE_OF_THE_PROGRAM = (17, 10)
NOWHERE = [(0, 0), (18, 0), (18, 1), (18, 4), (36, 0), (255, 255)]


@pytest.mark.parametrize("kind", [0x82, 0x02, 0xC2, 0x81, 0x83, 0x84, 0x86, 0x87, 0x07, 0x80])
@pytest.mark.parametrize("start", [*NOWHERE, GARBAGE, BLANK, MIDDLE_OF_THE_PROGRAM])
@pytest.mark.parametrize("garbage_link", [(0xEE, 0xEE), (1, 0), (17, 10), (18, 1)])
def test_dozens_of_lines_are_decorations(
    kind: int, start: tuple[int, int], garbage_link: tuple[int, int]
) -> None:
    """A directory of three sectors: one program, and 23 lines of zero blocks at one place."""
    disk = Disk(program(3), *(program(1, name=b"%d" % slot) for slot in range(1, 24)))
    disk.put(GARBAGE, bytes(garbage_link) + noise(254, 7))
    disk.rows(range(1, 24), kind, start)
    judged = disk.audit
    assert files_in_words(judged) == "sound" + " decoration" * 23
    assert judged.verdict == "sound"
    per_file = [item for item in judged.findings if item.slot is not None]
    assert [item.code for item in per_file] == ["decoration"] * 23


def test_sentences_are_whole() -> None:
    """No row leaves a brace unfilled, in a sentence or in what the drive does."""
    for row in TABLE.values():
        assert not set("{}") & set(row.drive + row.mends)
    for case in CASES:
        for item in case.build().audit.findings:
            assert item.says.isprintable() and not set("{}") & set(item.says)


def test_unknown_codes_are_refused() -> None:
    with pytest.raises(KeyError):
        finding("chain-knot")


@pytest.mark.parametrize(
    ("count", "words"), [(0, "0 blocks"), (1, "1 block"), (2, "2 blocks"), (1366, "1,366 blocks")]
)
def test_counting_in_words(count: int, words: str) -> None:
    assert f"{Count(count):block}" == words
