"""Every row of the table of findings has a small image, with exactly what is found in it."""

import pytest

from formats.findings import TABLE
from tests.formats.findings import damage  # noqa: F401
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
