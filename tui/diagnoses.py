"""What a reading far outside its range may mean, for commands and the screen."""

from __future__ import annotations

from collections.abc import Iterable

from formats.audit import Audit
from loadglass.bench.diagnose import CAUTION, diagnose
from loadglass.bench.reading import Reading
from loadglass.timing.rig import Rig, RigError


def diagnosis(reading: Reading, rigs: Iterable[Rig], audit: Audit | None = None) -> list[str]:
    """Sentences, the most urgent first; none for a reading as expected of a whole image.

    audit: of the image, if it is at hand.
    """
    try:
        found = diagnose(reading, rigs, audit)
    except RigError:  # nothing can be compared with a rig that is gone
        return []
    if found.meaning == "inside" and len(found.says) == 1:
        return []
    return [*found.says, *([CAUTION] if found.meaning == "other rig" else [])]
