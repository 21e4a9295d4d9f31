"""The rules of the choice, one by one and against trying every choice there is."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.findings import Verdict
from loadglass.card.candidates import Candidate
from loadglass.card.choose import Choice, Rules, choose, on_card_bytes
from loadglass.timing.rig_files import built_in_rigs
from tests.examples import examples
from tests.loadglass.card.test_card_names import candidate

RIGS = built_in_rigs()
RULES = Rules(RIGS["fast-card"])


def disk(name: str, **changes: Any) -> Candidate:
    seconds = changes.pop("seconds", 10.0)
    file_name = changes.pop("file_name", f"{name}.d64")
    return candidate(file_name, path=name, all_s={"fast-card": seconds}, **changes)


def taken(choice: Choice) -> list[str]:
    return [each.path for each in choice.taken]


def reasons(choice: Choice) -> dict[str, str]:
    return {each.path: each.why for each in choice.left_out}


def test_sound_and_quirky_are_taken_and_damaged_only_if_asked_for() -> None:
    disks = [disk(verdict.value, verdict=verdict) for verdict in Verdict]
    choice = choose(disks, RULES)
    assert taken(choice) == ["sound", "quirky"]
    assert reasons(choice) == {"damaged": "damaged", "unreadable": "unreadable"}
    assert taken(choose(disks, replace(RULES, even_damaged=True))) == ["sound", "quirky", "damaged"]


def test_what_has_gone_or_cannot_be_mounted_is_left_out() -> None:
    disks = [disk("gone", gone=True), disk("big", kind="80-track"), disk("flat")]
    choice = choose(disks, Rules(RIGS["fast-spinning"]))
    assert taken(choice) == ["flat"]
    assert "no longer there" in reasons(choice)["gone"]
    assert "mounts no 80-track" in reasons(choice)["big"]


def test_at_most_so_many_seconds() -> None:
    disks = [disk("short", seconds=59.9), disk("long", seconds=60.1), disk("raw", seconds=None)]
    choice = choose(disks, replace(RULES, longest_s=60.0))
    assert taken(choice) == ["short"]
    assert "60.1 s" in reasons(choice)["long"]
    assert "load time" in reasons(choice)["raw"]
    assert taken(choose(disks, RULES)) == ["short", "long", "raw"]


def test_one_of_twins_the_soundest_then_the_best_named() -> None:
    twins = [
        disk("HRBRNGHT", file_name="HRBRNGHT.D64", twins="a"),
        disk("copy", file_name="Copy of Harbour Night.d64", twins="a"),
        disk("good", file_name="Harbour Night.d64", title="HARBOUR NIGHT", twins="a"),
        disk("quirky", file_name="Harbour Night!.d64", verdict=Verdict.QUIRKY, twins="a"),
        disk("alone"),
    ]
    choice = choose(twins, RULES)
    assert taken(choice) == ["good", "alone"]
    assert all("twin of good" in why for why in reasons(choice).values())
    assert len(choose(twins, replace(RULES, every_copy=True)).taken) == 5


def set_of(name: str, *parts: Candidate, size: int | None = None) -> list[Candidate]:
    return [
        replace(part, set_id=name, set_name=name, set_part=i + 1, set_parts=size or len(parts))
        for i, part in enumerate(parts)
    ]


SETS = replace(RULES, whole_sets=True)


def test_whole_sets_or_not_at_all() -> None:
    whole = set_of("pier", disk("p1"), disk("p2"))
    hurt = set_of("tide", disk("t1"), disk("t2", verdict=Verdict.DAMAGED))
    half = set_of("fog", disk("f1"), size=2)
    choice = choose([*whole, *hurt, *half, disk("alone")], SETS)
    assert taken(choice) == ["p1", "p2", "alone"]
    assert choice.titles == 2
    assert "cannot be taken whole" in reasons(choice)["t1"] and "damaged" in reasons(choice)["t1"]
    assert "1 of its disks" in reasons(choice)["f1"]


def test_a_copy_of_a_part_makes_a_set_whole() -> None:
    first, second = set_of("pier", disk("p1"), disk("p2", verdict=Verdict.DAMAGED))
    copy = replace(disk("p2 again"), set_id="pier", set_name="pier", set_part=2, set_parts=2)
    assert taken(choose([first, second, copy], SETS)) == ["p1", "p2 again"]


def test_a_twin_outside_stands_in_for_a_disk_of_a_set() -> None:
    one, two = set_of("pier", disk("PIER1", twins="a"), disk("pier two"))
    better = disk("The Long Pier", file_name="The Long Pier.d64", twins="a")
    assert taken(choose([one, two, better], SETS)) == ["pier two", "The Long Pier"]


def test_a_disk_on_its_own_is_not_lost_with_its_twins_broken_set() -> None:
    one, two = set_of("pier", disk("pier one", twins="a"), disk("p2", verdict=Verdict.DAMAGED))
    other = disk("P", file_name="P.D64", twins="a")
    assert taken(choose([one, two, other], SETS)) == ["pier one"]


def test_a_set_counts_as_one_title_and_is_paid_as_a_whole() -> None:
    big = set_of("big", *(disk(f"b{i}") for i in range(3)))
    small = [disk("s1"), disk("s2")]
    rules = replace(SETS, budget_bytes=3 * 174_848)
    choice = choose([*big, *small], rules)
    assert taken(choice) == ["s1", "s2"]
    assert choice.limited and choice.more_titles == 0
    assert "better use of the budget of 524,544 bytes" in reasons(choice)["b0"]


def test_ratings_count_before_titles() -> None:
    disks = [disk("a", seconds=30.0, rating=5), disk("b", seconds=10.0), disk("c", seconds=10.0)]
    by_titles = choose(disks, replace(RULES, budget_s=30.0))
    assert taken(by_titles) == ["b", "c"]
    by_rating = choose(disks, replace(RULES, budget_s=30.0, by_rating=True))
    assert taken(by_rating) == ["a"] and by_rating.rating == 5
    room = choose(disks, replace(RULES, budget_s=40.0, by_rating=True))
    assert room.titles == 2, "what is not rated still fills up"


def test_space_is_counted_in_clusters() -> None:
    disks = [disk(str(i)) for i in range(4)]
    assert on_card_bytes(174_848, 32_768) == 6 * 32_768
    assert on_card_bytes(0, 512) == 0 and on_card_bytes(1, 512) == 512
    assert len(choose(disks, RULES, space_bytes=4 * 174_848, cluster_bytes=1).taken) == 4
    assert len(choose(disks, RULES, space_bytes=4 * 174_848, cluster_bytes=32_768).taken) == 3
    choice = choose(disks, RULES, space_bytes=0)
    assert not choice.taken and "larger than the room for 0 bytes" in reasons(choice)["0"]


disks_of_all_kinds = st.lists(
    st.builds(
        lambda seconds, size, rating, verdict, twin, set_number: (
            seconds,
            size,
            rating,
            verdict,
            twin,
            set_number,
        ),
        st.sampled_from([None, 5.0, 7.5, 20.0]),
        st.integers(1, 5),
        st.sampled_from([None, 1, 3, 5]),
        st.sampled_from(list(Verdict)),
        st.sampled_from(["", "", "x", "y"]),
        st.sampled_from([0, 0, 1, 2]),
    ),
    max_size=8,
)


@examples(300)
@given(
    disks_of_all_kinds,
    st.sampled_from([None, 10.0, 30.0]),
    st.sampled_from([None, 4, 9]),
    st.booleans(),
)
def test_no_choice_by_the_rules_is_better(
    rows: list[tuple[Any, ...]], budget_s: float | None, budget: int | None, by_rating: bool
) -> None:
    """Every subset that keeps the rules, tried one by one."""
    disks = []
    for i, (seconds, size, rating, verdict, twin, number) in enumerate(rows):
        made = disk(str(i), seconds=seconds, size_bytes=size, rating=rating, verdict=verdict)
        members = [row for row in rows if row[5] == number]
        disks.append(
            replace(
                made,
                twins=twin,
                set_id=str(number or ""),
                set_part=i,
                set_parts=len(members) if number else 1,
            )
        )
    rules = replace(
        RULES,
        every_copy=True,
        whole_sets=True,
        budget_s=budget_s,
        budget_bytes=budget,
        by_rating=by_rating,
    )
    choice = choose(disks, rules)
    allowed = [
        each
        for each in disks
        if each.verdict in (Verdict.SOUND, Verdict.QUIRKY)
        and (budget_s is None or each.all_s["fast-card"] is not None)
    ]

    def worth(group: tuple[Candidate, ...]) -> tuple[int, int] | None:
        """Ratings and titles; None if a set in it is not whole or a budget is exceeded."""
        sets = {each.set_id for each in group if each.set_id}
        wanted = {each.path for each in disks if each.set_id in sets}
        if not wanted <= {each.path for each in group}:
            return None
        if budget is not None and sum(each.size_bytes for each in group) > budget:
            return None
        if budget_s is not None and sum(each.all_s["fast-card"] or 0 for each in group) > budget_s:
            return None
        alone = [each for each in group if not each.set_id]
        titles = len(alone) + len(sets)
        ratings = sum(each.rating or 0 for each in alone) + sum(
            max(each.rating or 0 for each in group if each.set_id == name) for name in sets
        )
        return (ratings if by_rating else 0, titles)

    best = max(
        found
        for length in range(len(allowed) + 1)
        for group in combinations(allowed, length)
        if (found := worth(group)) is not None
    )
    assert worth(choice.taken) == best
    assert (choice.more_titles, choice.more_rating) == (0, 0)
    assert len(choice.taken) + len(choice.left_out) == len(disks)


def test_ten_thousand_within_two_budgets() -> None:
    disks = [
        disk(str(i), seconds=5.0 + i * 7919 % 1000 / 10, rating=i % 6 or None)
        for i in range(10_000)
    ]
    rules = replace(RULES, budget_s=100_000.0, budget_bytes=10**9, by_rating=True)
    choice = choose(disks, rules, cluster_bytes=32_768)
    assert choice.more_rating <= 1
    assert sum(each.all_s["fast-card"] or 0 for each in choice.taken) <= 100_000.0
    assert sum(on_card_bytes(each.size_bytes, 32_768) for each in choice.taken) <= 10**9
    assert len(choice.taken) + len(choice.left_out) == 10_000


@pytest.mark.parametrize("rig", list(RIGS))
def test_every_rig_says_what_its_drive_mounts(rig: str) -> None:
    disks = [disk(layout, kind=layout) for layout in RIGS[rig].layouts]
    assert len(choose(disks, Rules(RIGS[rig])).taken) == len(disks)
