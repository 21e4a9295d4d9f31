"""Where each image goes on the card: names without clashes, in folders that are not too long.

Small computers' file browsers are slow with long folders. What is there already keeps its place
and its name; the same choice always gives the same names.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

from loadglass.card.candidates import Candidate
from loadglass.card.names import (
    clash_key,
    ending_for,
    names_to_try,
    plain_text,
    readable_name,
    safe_name,
)

ENTRIES_LIMIT = 100
PREFIX_LIMIT = 6
"""Letters of a title in the name of a folder."""
_MARKS = " .-(+#'"
NO_TAG = "Untagged"
DIGITS, NO_LETTER = "0-9", "Other"

Path = tuple[str, ...]
"""Folders on the way from the card's own folder; () is that folder itself."""


class Layout(StrEnum):
    FLAT = "flat"
    LETTER = "letter"
    TAG = "tag"


@dataclass(frozen=True)
class Arrangement:
    layout: Layout = Layout.FLAT
    entries_limit: int = ENTRIES_LIMIT
    """Images a folder at the most, or folders; 2 or more."""


@dataclass(frozen=True)
class Occupied:
    """Names on the card that are not to be used. Paths from the card's own folder, with `/`."""

    files: frozenset[str] = frozenset()
    folders: frozenset[str] = frozenset()
    """Images can be put into these, but no file can have their names."""


def arrange(
    candidates: Sequence[Candidate],
    arrangement: Arrangement,
    kept: Mapping[int, str],
    occupied: Occupied,
) -> list[str]:
    """The place of each image: a path from the card's own folder, with `/`.

    kept: the places of those that are there already, by position. The order of the candidates
    does not matter.
    """
    order = sorted(
        (i for i in range(len(candidates)) if i not in kept),
        key=lambda i: (
            readable_name(candidates[i]).upper(),
            candidates[i].sha256,
            candidates[i].path,
        ),
    )
    names = _unique_names(candidates, order, kept)
    folders = _folders(candidates, order, names, arrangement, kept)
    folders = _beside_files(folders, occupied)
    taken = {clash_key(path) for path in (*occupied.files, *occupied.folders, *kept.values())}
    taken |= {clash_key("/".join(path)) for path in folders.values()}
    targets = dict(kept)
    for i in order:
        ending = ending_for(candidates[i])
        targets[i] = _free_path(folders[i], names[i], ending, taken)
        taken.add(clash_key(targets[i]))
    return [targets[i] for i in range(len(candidates))]


def folders_above(target: str) -> Iterator[str]:
    """Every folder on the way to a file, the outermost first."""
    parts = target.split("/")[:-1]
    for depth in range(len(parts)):
        yield "/".join(parts[: depth + 1])


def _unique_names(
    candidates: Sequence[Candidate], order: Sequence[int], kept: Mapping[int, str]
) -> dict[int, str]:
    """A name for each, unlike all others' on the whole card and without its ending."""
    used = {clash_key(_stem(target)) for target in kept.values()}
    tried: Counter[str] = Counter()
    names = {}
    for i in order:
        base = readable_name(candidates[i])
        base_key = clash_key(base)
        for name in names_to_try(base, tried[base_key] + 1):
            tried[base_key] += 1
            if clash_key(name) not in used:
                names[i] = name
                used.add(clash_key(name))
                break
    return names


def _stem(target: str) -> str:
    return target.rpartition("/")[2].rpartition(".")[0]


def _free_path(folder: Path, name: str, ending: str, taken: set[str]) -> str:
    """A path that no file of someone else has."""
    paths = ("/".join((*folder, tried + ending)) for tried in names_to_try(name))
    return next(path for path in paths if clash_key(path) not in taken)


def _folders(
    candidates: Sequence[Candidate],
    order: Sequence[int],
    names: Mapping[int, str],
    arrangement: Arrangement,
    kept: Mapping[int, str],
) -> dict[int, Path]:
    """The folder of each image that is not there yet: beside its neighbours, or a new one."""
    limit = arrangement.entries_limit
    filled = Counter(_folder(target) for target in kept.values())
    neighbours: dict[str, list[tuple[str, Path]]] = defaultdict(list)
    for i, target in kept.items():
        group = _group(candidates[i], _stem(target), arrangement.layout)
        neighbours[group].append((_stem(target).upper(), _folder(target)))
    for each in neighbours.values():
        each.sort()
    placed: dict[int, Path] = {}
    rest: dict[str, list[int]] = defaultdict(list)
    for i in order:
        group = _group(candidates[i], names[i], arrangement.layout)
        folder = _beside(neighbours[group], names[i].upper(), filled, limit)
        if folder is None:
            rest[group].append(i)
        else:
            placed[i] = folder
            filled[folder] += 1
    placed.update(_new_folders(rest, names, arrangement, filled))
    return placed


def _folder(target: str) -> Path:
    return tuple(target.split("/")[:-1])


def _group(candidate: Candidate, name: str, layout: Layout) -> str:
    """The folder that the layout gives an image; empty in a flat one."""
    if layout is Layout.LETTER:
        first = name[:1].upper()
        return first if first.isalpha() else DIGITS if first.isdigit() else NO_LETTER
    if layout is Layout.TAG:
        return safe_name(plain_text(candidate.tags[0])) if candidate.tags else NO_TAG
    return ""


def _beside(
    neighbours: Sequence[tuple[str, Path]], key: str, filled: Counter[Path], limit: int
) -> Path | None:
    """The folder of the image before or after this one, if there is room."""
    at = bisect_left(neighbours, (key, ()))
    for _, folder in neighbours[max(at - 1, 0) : at + 1]:
        if filled[folder] < limit:
            return folder
    return None


def _new_folders(
    groups: Mapping[str, Sequence[int]],
    names: Mapping[int, str],
    arrangement: Arrangement,
    filled: Counter[Path],
) -> dict[int, Path]:
    """Folders for what has no neighbours, or more of them than a folder may hold."""
    limit = arrangement.entries_limit
    above = _spread(sorted(groups), limit)
    taken = {clash_key("/".join(path[:depth])) for path in filled for depth in range(len(path) + 1)}
    placed: dict[int, Path] = {}
    for (group, members), outer in zip(sorted(groups.items()), above, strict=True):
        top = (*outer, group) if group else ()
        members = sorted(members, key=lambda i: names[i].upper())
        inner = _spread([names[i].upper() for i in members], limit, full=filled[top] > 0)
        renamed: dict[Path, Path] = {(): top}
        for path in dict.fromkeys(inner):
            for depth in range(1, len(path) + 1):
                above_it, name = renamed[path[: depth - 1]], path[depth - 1]
                if path[:depth] not in renamed:
                    renamed[path[:depth]] = (*above_it, _free_name(above_it, name, taken))
        placed.update((i, renamed[path]) for i, path in zip(members, inner, strict=True))
    return placed


def _free_name(folder: Path, name: str, taken: set[str]) -> str:
    """A name for a folder that is not taken yet; takes it."""
    keys = ((tried, clash_key("/".join((*folder, tried)))) for tried in names_to_try(name))
    free, key = next((tried, key) for tried, key in keys if key not in taken)
    taken.add(key)
    return free


def _spread(keys: Sequence[str], limit: int, full: bool = False) -> list[Path]:
    """Of each key, in their order, the folders it goes into; full: the top one takes no more."""
    if not keys or (len(keys) <= limit and not full):
        return [()] * len(keys)
    capacity = limit
    while (parts := _parts(len(keys), capacity)) > limit:
        capacity *= limit
    if len(keys) > limit:
        parts = max(parts, 2)
    cuts = [0, *_cuts(keys, parts, capacity), len(keys)]
    paths: list[Path] = []
    labels: set[str] = set()
    for first, last in pairwise(cuts):
        label = _free_name((), _label(keys, first, last), labels)
        paths += [(label, *path) for path in _spread(keys[first:last], limit)]
    return paths


def _parts(length: int, capacity: int) -> int:
    """How many folders: with some room in each, so that they can be parted at a new letter."""
    return 1 if length <= capacity else -(-length * 10 // (capacity * 9))


def _cuts(keys: Sequence[str], parts: int, capacity: int) -> list[int]:
    """Where to part the keys: evenly, but rather where another letter begins."""
    cuts: list[int] = []
    start = 0
    for left in range(parts, 1, -1):
        ideal = start + round((len(keys) - start) / left)
        slack = len(keys) // parts // 6
        low = max(start + 1, len(keys) - capacity * (left - 1), ideal - slack)
        high = min(start + capacity, len(keys) - left + 1, ideal + slack)
        start = min(
            range(low, max(low, high) + 1),
            key=lambda cut: (_differing(keys[cut - 1], keys[cut]), abs(cut - ideal)),
        )
        cuts.append(start)
    return cuts


def _differing(one: str, other: str) -> int:
    """How many letters tell two keys apart."""
    return next(
        (i + 1 for i, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), len(one)
    )


def _label(keys: Sequence[str], first: int, last: int) -> str:
    """`A-D`, `E-K`: as much of the first and last key as tells them from what lies beside."""
    before = _differing(keys[first - 1], keys[first]) if first else 1
    after = _differing(keys[last - 1], keys[last]) if last < len(keys) else 1
    begins = keys[first][: min(before, PREFIX_LIMIT)].rstrip(_MARKS)
    ends = keys[last - 1][: min(after, PREFIX_LIMIT)].rstrip(_MARKS)
    return safe_name(begins if begins == ends else f"{begins}-{ends}")


def _beside_files(folders: Mapping[int, Path], occupied: Occupied) -> dict[int, Path]:
    """The same folders, renamed where someone's file has the name."""
    files = {clash_key(path) for path in occupied.files}
    renamed: dict[Path, Path] = {(): ()}
    for path in sorted(set(folders.values())):
        for depth in range(1, len(path) + 1):
            if path[:depth] not in renamed:
                above = renamed[path[: depth - 1]]
                renamed[path[:depth]] = (*above, _free_name(above, path[depth - 1], set(files)))
    return {i: renamed[path] for i, path in folders.items()}
