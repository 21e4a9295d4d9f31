"""Coverage-guided fuzzing of image, audit, mend and programs with atheris.

Atheris is none of the project's dependencies. In an environment of its own that has it, construct
and numpy:

    PYTHONPATH=. python tests/proofs/fuzz_audit.py CORPUS -runs=10000 -timeout=5
    PYTHONPATH=. python tests/proofs/fuzz_audit.py CORPUS -runs=10000 -len_control=0 -max_len=400
    PYTHONPATH=. python tests/proofs/fuzz_audit.py --memory CORPUS 20000

The first two stop at an input that raises or takes longer than the timeout, and keep it in a file;
put its bytes into test_regressions.py. The first lets inputs grow from short ones, the second
tries long scripts of edits at once, and has found what the first did not. Atheris'
instrumentation itself holds on to what is compared (some 0.1 MB an input), so run them again and
again with the same corpus. The third runs the corpus and changes of it without atheris, and tells
the growth of memory.
"""

from __future__ import annotations

import resource
import sys
import time
from pathlib import Path
from random import Random

WARM_UP_INPUTS = 2000
REPORT_EVERY = 2000


class Watch:
    """What the run has cost so far."""

    def __init__(self) -> None:
        self.inputs = 0
        self.slowest_s = 0.0
        self.started = time.monotonic()
        self.warm_kb = 0

    def run(self, data: bytes) -> None:
        from tests.proofs.inputs import examine, image_of

        image = image_of(data)
        begun = time.process_time()
        examine(image)
        self.slowest_s = max(self.slowest_s, time.process_time() - begun)
        self.inputs += 1
        if self.inputs == WARM_UP_INPUTS:
            self.warm_kb = _memory_kb()
        if self.inputs % REPORT_EVERY == 0:
            print(self.report(), file=sys.stderr, flush=True)

    def report(self) -> str:
        grown_kb = _memory_kb() - self.warm_kb
        return (
            f"{self.inputs} inputs in {time.monotonic() - self.started:.0f} s, "
            f"the slowest {self.slowest_s * 1000:.0f} ms of computing; "
            f"peak memory {_memory_kb() / 1024:.0f} MB, "
            f"{grown_kb / 1024:+.1f} MB since the first {WARM_UP_INPUTS}"
        )


def _memory_kb() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def fuzz(arguments: list[str]) -> None:
    import atheris

    with atheris.instrument_imports(include=["formats"]):
        import tests.proofs.inputs  # noqa: F401  (loads what is to be watched)
    atheris.Setup(arguments, Watch().run)
    atheris.Fuzz()


def watch_memory(corpus: Path, inputs: int) -> None:
    """Run so many changes of the corpus, each with up to eight bytes changed or added."""
    seeds = [path.read_bytes() for path in sorted(corpus.iterdir())] or [b""]
    random, watch = Random(0), Watch()
    for _ in range(inputs):
        data = bytearray(random.choice(seeds))
        for _ in range(random.randrange(9)):
            at = random.randrange(len(data) + 1)
            data[at : at + random.randrange(2)] = random.randbytes(1)
        watch.run(bytes(data))


if __name__ == "__main__":
    if sys.argv[1:2] == ["--memory"]:
        watch_memory(Path(sys.argv[2]), int(sys.argv[3]))
    else:
        fuzz(sys.argv)
