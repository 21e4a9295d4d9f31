"""How well disks of one title are found by their names: python -m tests.benchmarks.bench_sets"""

import json

from loadglass.shelf.sets import group
from tests.loadglass.shelf.set_names import labelled, score

if __name__ == "__main__":
    result = score(group((disk for _, disk in labelled()), {}))
    print(json.dumps(result._asdict(), indent=1, ensure_ascii=False))
