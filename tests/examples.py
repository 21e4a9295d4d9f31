"""How many examples the hypothesis tests try: few each day, many to prove something."""

import os

import pytest
from hypothesis import HealthCheck, settings


def examples(count: int) -> settings:
    """Settings for `count` examples, or as many as LOADGLASS_EXAMPLES says."""
    return settings(
        max_examples=int(os.environ.get("LOADGLASS_EXAMPLES", count)),
        deadline=None,
        derandomize="LOADGLASS_EXAMPLES" not in os.environ,
        database=None,
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
    )


def few_or_all(few: int, full: int) -> pytest.MarkDecorator:
    """Runs a test that takes `count`: few examples in `make test`, all of them in `make proof`."""
    return pytest.mark.parametrize(
        "count",
        [pytest.param(few, id="few"), pytest.param(full, id="all", marks=pytest.mark.proof)],
    )
