"""Which images go onto the card: the rules, then the best choice within the budgets."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from formats.findings import Verdict
from formats.visible import visible
from loadglass.card.candidates import Candidate, soundest_then_best_named
from loadglass.card.knapsack import Best, best_choice
from loadglass.timing.rig import Rig

MICROSECONDS = 1_000_000
"""Times are weighed in whole microseconds."""


@dataclass(frozen=True)
class Rules:
    """What the user wants on the card; limits of None mean: no limit."""

    rig: Rig
    """The drive that the card is for, and the loader that counts."""
    even_damaged: bool = False
    longest_s: float | None = None
    """At most so many seconds of `all` an image."""
    every_copy: bool = False
    """Otherwise one of each content: the soundest, then the best named."""
    whole_sets: bool = False
    """All disks of a set or none; such a set counts as one title."""
    budget_bytes: int | None = None
    """On the card, rounded up to clusters."""
    budget_s: float | None = None
    """Total of `all` on the rig."""
    by_rating: bool = False
    """The highest sum of ratings, and then of titles; otherwise the most titles."""


@dataclass(frozen=True, slots=True)
class LeftOut:
    path: str
    why: str


@dataclass(frozen=True)
class Choice:
    """What is taken, what is left out and why, and how good that is."""

    taken: tuple[Candidate, ...]
    """In the order in which they were given."""
    left_out: tuple[LeftOut, ...]
    titles: int
    """A whole set counts as one."""
    rating: int
    """Sum of the ratings; of a whole set its best one."""
    more_titles: int
    """No choice within the budgets has more titles than this beyond `titles` (of the same sum
    of ratings, where that is what counts)."""
    by_rating: bool
    limited: bool
    """A budget, or the card's room, has left something out."""
    more_rating: int
    """No choice within the budgets has a sum of ratings higher by more than this."""


@dataclass(frozen=True, slots=True)
class _Unit:
    """What is taken or left as one: an image, or a whole set."""

    members: tuple[int, ...]
    bytes: int
    wait_us: int
    rating: int


def choose(
    candidates: Sequence[Candidate],
    rules: Rules,
    space_bytes: int | None = None,
    cluster_bytes: int = 1,
) -> Choice:
    """Apply the rules one after another; space_bytes: room for images, with that of clusters.

    An image that is already on the card needs its space like any other.
    """
    why: dict[int, str] = {}
    for i, candidate in enumerate(candidates):
        if reason := next(filter(None, (rule(candidate, rules) for rule in _RULES)), None):
            why[i] = reason
    standing_for = {} if rules.every_copy else _twins(candidates, why)
    units = _units(candidates, rules, why, standing_for, cluster_bytes)
    limits = _Limits.of(rules, space_bytes)
    best = _best_units(units, rules, limits)
    taken = {i for unit in best.units for i in unit.members}
    for unit in units:
        why.update({i: limits.reason(unit) for i in unit.members if i not in taken})
    return Choice(
        taken=tuple(candidates[i] for i in sorted(taken)),
        left_out=tuple(LeftOut(candidates[i].path, why[i]) for i in sorted(why)),
        titles=len(best.units),
        rating=best.rating,
        by_rating=rules.by_rating,
        limited=len(best.units) < len(units),
        more_titles=best.more_titles,
        more_rating=best.more_rating,
    )


def on_card_bytes(size_bytes: int, cluster_bytes: int) -> int:
    """What a file takes up: whole clusters."""
    return -(-size_bytes // cluster_bytes) * cluster_bytes


# -- rules that look at one image


def _is_there(candidate: Candidate, _rules: Rules) -> str | None:
    return "it is no longer there" if candidate.gone else None


def _can_be_read(candidate: Candidate, rules: Rules) -> str | None:
    if candidate.verdict is Verdict.UNREADABLE:
        return f"unreadable: {visible(candidate.why)}" if candidate.why else "unreadable"
    if candidate.verdict is Verdict.DAMAGED and not rules.even_damaged:
        return "damaged"
    return None


def _can_be_mounted(candidate: Candidate, rules: Rules) -> str | None:
    if candidate.layout in rules.rig.layouts:
        return None
    return (
        f"the drive of {rules.rig.name} mounts no {candidate.layout} images "
        f"(only {', '.join(rules.rig.layouts)})"
    )


def _is_of_use(candidate: Candidate, _rules: Rules) -> str | None:
    """A blank disk of a set is not left out: its title may save there."""
    if candidate.named or not candidate.why or candidate.set_id:
        return None
    return f"nothing to load: {visible(candidate.why)}; it goes if you pick it"


def _is_quick(candidate: Candidate, rules: Rules) -> str | None:
    if rules.longest_s is None and rules.budget_s is None:
        return None
    seconds = candidate.all_s.get(rules.rig.name)
    if seconds is None:
        return "nothing on it has a load time, and a time limit is set"
    if rules.longest_s is not None and seconds > rules.longest_s:
        return f"takes {seconds:.1f} s on {rules.rig.name}, more than {rules.longest_s:g} s"
    return None


_RULES: tuple[Callable[[Candidate, Rules], str | None], ...] = (
    _is_there,
    _can_be_read,
    _can_be_mounted,
    _is_of_use,
    _is_quick,
)


# -- rules that look at several


def _twins(candidates: Sequence[Candidate], why: dict[int, str]) -> dict[int, int]:
    """Of each image that passed the rules so far, the twin that stands for it, maybe itself.

    Those that another stands for get their reason.
    """
    groups: dict[str, list[int]] = defaultdict(list)
    for i, candidate in enumerate(candidates):
        if candidate.twins and i not in why:
            groups[candidate.twins].append(i)
    standing_for = {}
    for group in groups.values():
        first = min(group, key=lambda i: soundest_then_best_named(candidates[i]))
        for i in group:
            standing_for[i] = first
            if i != first:
                why[i] = f"a twin of {visible(candidates[first].path)}, which goes before it"
    return standing_for


def _units(
    candidates: Sequence[Candidate],
    rules: Rules,
    why: dict[int, str],
    standing_for: dict[int, int],
    cluster_bytes: int,
) -> list[_Unit]:
    """What is left, in units; images of sets that are not whole get their reason."""
    if rules.whole_sets:
        groups = _whole_sets(candidates, why, standing_for)
    else:
        groups = [[i] for i in range(len(candidates)) if i not in why]
    return [_unit(candidates, group, rules, cluster_bytes) for group in groups]


def _whole_sets(
    candidates: Sequence[Candidate], why: dict[int, str], standing_for: dict[int, int]
) -> list[list[int]]:
    """Images that go together: sets, and those that share a disk by its twin."""
    sets: dict[str, list[int]] = defaultdict(list)
    for i, candidate in enumerate(candidates):
        if candidate.set_id:
            sets[candidate.set_id].append(i)
    standing = [standing_for.get(i, i) for i in range(len(candidates))]
    in_no_set = {
        standing[i]
        for i, candidate in enumerate(candidates)
        if not candidate.set_id and standing[i] not in why
    }
    whole: list[list[int]] = []
    broken: dict[int, str] = {}
    for members in sets.values():
        name = candidates[members[0]].set_name
        there = {candidates[i].set_part for i in members if standing[i] not in why}
        lost = [i for i in members if candidates[i].set_part not in there]
        missing = candidates[members[0]].set_parts - len({candidates[i].set_part for i in members})
        disks = sorted({standing[i] for i in members} - why.keys())
        if lost or missing > 0:
            broken.update(dict.fromkeys(disks, _set_reason(name, candidates, lost, why, missing)))
        else:
            whole.append(disks)
    together = _joined(whole)
    wanted = {i for group in together for i in group}
    why.update({i: broken[i] for i in broken.keys() - wanted - in_no_set})
    alone = [[i] for i in range(len(candidates)) if i not in why and i not in wanted]
    return sorted([*together, *alone])


def _set_reason(
    name: str, candidates: Sequence[Candidate], lost: Sequence[int], why: dict[int, str], more: int
) -> str:
    if lost:
        return (
            f'the set "{visible(name)}" cannot be taken whole: '
            f"{visible(candidates[lost[0]].file_name)} is left out ({why[lost[0]]})"
        )
    return (
        f'the set "{visible(name)}" cannot be taken whole: {more} of its disks were not asked for'
    )


def _joined(groups: Iterable[list[int]]) -> list[list[int]]:
    """Groups that share something become one."""
    parts: dict[int, set[int]] = {}
    for group in groups:
        together = set(group).union(*(parts[i] for i in group if i in parts))
        parts.update(dict.fromkeys(together, together))
    return [sorted(part) for part in {id(part): part for part in parts.values()}.values()]


def _unit(
    candidates: Sequence[Candidate], members: list[int], rules: Rules, cluster_bytes: int
) -> _Unit:
    seconds = [candidates[i].all_s.get(rules.rig.name) or 0.0 for i in members]
    return _Unit(
        members=tuple(members),
        bytes=sum(on_card_bytes(candidates[i].size_bytes, cluster_bytes) for i in members),
        wait_us=sum(round(each * MICROSECONDS) for each in seconds),
        rating=max(candidates[i].rating or 0 for i in members),
    )


# -- the budgets


@dataclass(frozen=True, slots=True)
class _Limits:
    """The budgets, and what they are called; None: no limit."""

    bytes: int | None
    bytes_words: str
    wait_us: int | None
    wait_words: str

    @classmethod
    def of(cls, rules: Rules, space_bytes: int | None) -> _Limits:
        budget, budget_s = rules.budget_bytes, rules.budget_s
        wait_us = None if budget_s is None else round(budget_s * MICROSECONDS)
        wait_words = f"the budget of {budget_s or 0:g} s of waiting"
        if budget is not None and (space_bytes is None or budget < space_bytes):
            return cls(budget, f"the budget of {budget:,} bytes", wait_us, wait_words)
        words = f"the room for {space_bytes or 0:,} bytes on the card"
        return cls(space_bytes, words, wait_us, wait_words)

    def reason(self, unit: _Unit) -> str:
        """Why something that the rules let through is left out."""
        if self.bytes is not None and unit.bytes > self.bytes:
            return f"larger than {self.bytes_words}"
        if self.wait_us is not None and unit.wait_us > self.wait_us:
            return f"takes longer than {self.wait_words}"
        named = [
            words
            for limit, words in ((self.bytes, self.bytes_words), (self.wait_us, self.wait_words))
            if limit is not None
        ]
        return f"others make better use of {' and '.join(named)}"


@dataclass(frozen=True, slots=True)
class _Best:
    units: tuple[_Unit, ...]
    more_titles: int
    more_rating: int

    @property
    def rating(self) -> int:
        return sum(unit.rating for unit in self.units)


def _best_units(units: Sequence[_Unit], rules: Rules, limits: _Limits) -> _Best:
    """The best units within the budgets, and how much better others can be at most."""

    def best(values: list[int]) -> Best:
        weights = [unit.bytes for unit in units], [unit.wait_us for unit in units]
        return best_choice(values, *weights, limits.bytes, limits.wait_us)

    def chosen(found: Best) -> tuple[_Unit, ...]:
        return tuple(units[position] for position in found.chosen)

    if not rules.by_rating:
        found = best([1] * len(units))
        return _Best(chosen(found), found.at_most - found.value, 0)
    # By ratings alone the bound is tight; titles behind them settle what is equal.
    scale = len(units) + 1
    ratings = best([unit.rating for unit in units])
    both = best([unit.rating * scale + 1 for unit in units])
    ways = [_Best(chosen(both), both.at_most - both.value, 0), _Best(chosen(ratings), scale, 0)]
    better = max(ways, key=lambda way: (way.rating, len(way.units)))
    most_more_titles = min(better.more_titles, len(units) - len(better.units))
    return _Best(better.units, most_more_titles, ratings.at_most - better.rating)
