"""Folders on the card: not too long, readable, and steady from one fill to the next."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loadglass.card.candidates import Candidate
from loadglass.card.folders import Arrangement, Layout, Occupied, arrange, folders_above
from loadglass.card.names import clash_key
from tests.examples import examples
from tests.loadglass.card.test_card_names import candidate

WORDS = [
    *("Anker", "Boje", "Deich", "Dock", "Ebbe", "Flut", "Fog", "Harbour", "Horn", "Jetty", "Kran"),
    *("Light", "Lotse", "Mole", "Nebel", "Night", "Pier", "Quay", "Regatta", "Storm", "Tide"),
]


def titles(count: int, seed: int = 1) -> list[Candidate]:
    random = Random(seed)
    return [
        candidate(
            f"{' '.join(random.sample(WORDS, 2))} {i}.d64",
            path=f"/club/{seed}/{i}.d64",
            sha256=f"{seed:032x}{i:032x}",
            tags=random.choice([(), ("demo",), ("game", "two")]),
        )
        for i in range(count)
    ]


def fresh(candidates: Sequence[Candidate], layout: Layout, limit: int = 100) -> list[str]:
    return arrange(candidates, Arrangement(layout, limit), {}, Occupied())


def lengths(targets: Sequence[str]) -> Counter[str]:
    return Counter(target.rpartition("/")[0] for target in targets)


def test_a_short_flat_card_has_no_folders() -> None:
    assert lengths(fresh(titles(100), Layout.FLAT)) == {"": 100}


def test_a_long_one_is_parted_evenly_with_readable_names() -> None:
    candidates = [candidate(f"{letter}-{i:02}.d64") for letter in "ABCDEFGHIJK" for i in range(20)]
    assert lengths(fresh(candidates, Layout.FLAT)) == {"A-D": 80, "E-G": 60, "H-K": 80}


@pytest.mark.parametrize("count", [101, 250, 999, 5_000])
@pytest.mark.parametrize("layout", list(Layout))
def test_no_folder_is_too_long(layout: Layout, count: int) -> None:
    targets = fresh(titles(count), layout)
    found = lengths(targets)
    assert max(found.values()) <= 100
    if layout is Layout.FLAT:
        assert min(found.values()) > 40, "evenly"
    below: dict[str, set[str]] = {}
    for target in targets:
        *above, _ = ["", *folders_above(target)]
        for outer, inner in zip(above, list(folders_above(target)), strict=False):
            below.setdefault(outer, set()).add(inner)
    assert max(map(len, below.values()), default=0) <= 100


def test_two_levels_where_one_would_be_too_long() -> None:
    targets = fresh(titles(500), Layout.FLAT, 6)
    assert max(lengths(targets).values()) <= 6
    assert len({target.split("/")[0] for target in targets}) <= 6


def test_by_letter() -> None:
    names = ["anchor", "Äther", "2 boats", "(x)", "Zoll"]
    targets = fresh([candidate(f"{name}.d64") for name in names], Layout.LETTER)
    assert targets == [
        "A/anchor.d64",
        "A/Ather.d64",
        "0-9/2 boats.d64",
        "Other/(x).d64",
        "Z/Zoll.d64",
    ]


def test_by_tag() -> None:
    tagged = [
        candidate("a.d64", tags=("demo", "old")),
        candidate("b.d64"),
        candidate("c.d64", tags=("aux",)),
    ]
    assert fresh(tagged, Layout.TAG) == ["demo/a.d64", "Untagged/b.d64", "aux-/c.d64"]


@pytest.mark.parametrize("layout", list(Layout))
def test_the_same_choice_gives_the_same_names(layout: Layout) -> None:
    candidates = titles(300)
    shuffled = list(enumerate(candidates))
    Random(5).shuffle(shuffled)
    first = fresh(candidates, layout)
    second = fresh([each for _, each in shuffled], layout)
    assert dict(zip((i for i, _ in shuffled), second, strict=True)) == dict(enumerate(first))


@examples(60)
@given(st.integers(1, 60), st.integers(0, 60), st.integers(0, 9), st.sampled_from(list(Layout)))
def test_a_refill_keeps_what_is_there(there: int, more: int, seed: int, layout: Layout) -> None:
    limit = 10
    before = titles(there, seed)
    placed = fresh(before, layout, limit)
    candidates = [*before[: there // 2], *titles(more, seed + 100)]
    kept = dict(enumerate(placed[: there // 2]))
    stay = frozenset(placed[there // 2 :])
    folders = frozenset(folder for target in placed for folder in folders_above(target))
    targets = arrange(candidates, Arrangement(layout, limit), kept, Occupied(stay, folders))
    assert targets[: there // 2] == placed[: there // 2]
    everything = [*targets, *stay]
    assert len({clash_key(target) for target in everything}) == len(everything)
    assert max(lengths(targets).values(), default=0) <= limit


def test_a_newcomer_goes_beside_its_neighbours() -> None:
    before = [candidate(f"{letter}-{i:02}.d64") for letter in "ABCDEFGHIJK" for i in range(20)]
    kept = dict(enumerate(fresh(before, Layout.FLAT)))
    new = [candidate("B-99.d64"), candidate("Zoll.d64")]
    targets = arrange([*before, *new], Arrangement(Layout.FLAT), kept, Occupied())
    assert targets[-2:] == ["A-D/B-99.d64", "H-K/Zoll.d64"]


def test_other_peoples_names_are_left_to_them() -> None:
    occupied = Occupied(
        frozenset({"F", "A/fog horn.D64", "H/HAFEN.d64"}), frozenset({"A", "H", "H/Hut.d64"})
    )
    names = ["A Boat", "Fog Horn", "Hafen", "Hut"]
    targets = arrange(
        [candidate(f"{name}.d64") for name in names], Arrangement(Layout.LETTER), {}, occupied
    )
    assert targets == ["A/A Boat.d64", "F (2)/Fog Horn.d64", "H/Hafen (2).d64", "H/Hut (2).d64"]
