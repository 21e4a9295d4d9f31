"""How many examples the hypothesis tests try: few each day, many to prove something."""

import os

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
