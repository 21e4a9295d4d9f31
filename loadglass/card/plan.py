"""The plan of a fill: what goes onto the card and where, what does not and why.

Making a plan changes nothing, neither on the card nor anywhere else.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from formats.audit import audit
from formats.errors import LoadglassError
from formats.findings import Verdict
from formats.geometry import LAYOUTS
from formats.mend import mend
from formats.visible import visible
from loadglass.card.candidates import Candidate
from loadglass.card.choose import Choice, LeftOut, Rules, choose, on_card_bytes
from loadglass.card.dest import refuse_shelf
from loadglass.card.device import Device, Room, sentences
from loadglass.card.folders import Arrangement, arrange
from loadglass.card.inventory import Inventory, take_inventory
from loadglass.card.manifest import Entry, is_as_put
from loadglass.card.totals import Waiting
from loadglass.opened import sector_hash
from loadglass.progress import Job
from loadglass.sources import GZIP_SUFFIX, Reader, place_image, source_of

ENTRY_BYTES = 700
"""Of the list, the new list beside it and the journal, and of the folder, for each file."""
FOLDERS_KEPT_FREE = 32
FILES_IN_FOLDER = 20
"""Clusters kept free for folders: so many, and one more for so many files."""


class State(StrEnum):
    NEW = "new"
    THERE = "there"
    """On the card as it was put there, by size and time; a fill reads and compares it."""
    OTHER = "other"
    """On the card in another version, which is to be replaced."""
    CHANGED = "changed"
    """Changed on the card since it was put there: kept, or replaced where that is wished."""


@dataclass(frozen=True)
class Pick:
    """One image on its way to the card."""

    candidate: Candidate
    entry: Entry
    """As the card's list will name it."""
    state: State


@dataclass(frozen=True)
class Plan:
    dest: str
    picks: tuple[Pick, ...]
    """By target."""
    left_out: tuple[LeftOut, ...]
    removals: tuple[Entry, ...]
    """Files of ours that are not picked any more and are to go."""
    changed: tuple[Entry, ...]
    """Those that would go too, and stay: they have changed on the card."""
    staying: tuple[Entry, ...]
    """Files of ours that are not picked any more and stay."""
    inventory: Inventory
    arrangement: Arrangement
    choice: Choice
    room: Room
    waiting: Waiting
    stock: str
    fast: str
    replace_changed: bool = False
    notes: tuple[str, ...] = ()

    def is_copied(self, pick: Pick) -> bool:
        """Whether a fill has to copy it."""
        if pick.state is State.CHANGED:
            return self.replace_changed
        return pick.state is not State.THERE

    @property
    def nothing_to_load(self) -> int:
        """Picks that have no file to load: blank, raw or empty."""
        return sum(bool(pick.candidate.why) for pick in self.picks)

    @property
    def bytes(self) -> int:
        """Of all picks."""
        return sum(pick.entry.bytes for pick in self.picks)

    @property
    def copied_bytes(self) -> int:
        """On the card, in whole clusters, of what a fill has to copy."""
        cluster = self.room.cluster_bytes
        return sum(
            on_card_bytes(pick.entry.bytes, cluster) for pick in self.picks if self.is_copied(pick)
        )


@dataclass(frozen=True)
class Wishes:
    """How the card is to be filled, beside the rules of the choice."""

    arrangement: Arrangement | None = None
    """None: as the card is already; flat if it is new."""
    remove_unpicked: bool = False
    mended: bool = False
    """Take a mended copy of a damaged image where mending helps."""
    replace_changed: bool = False
    """Put the shelf's image in the place of one that changed on the card."""


@dataclass(frozen=True, slots=True)
class _Measured:
    """An image as it will be on the card."""

    sha256: str
    bytes: int


class _Unfit(LoadglassError):
    """The image cannot be taken after all."""


def stock_rig_name(rules: Rules) -> str:
    """The rig that the savings are counted against: the stock loader on the same drive."""
    return f"stock-{rules.rig.drive}"


def make_plan(
    device: Device,
    candidates: Sequence[Candidate],
    rules: Rules,
    wishes: Wishes,
    *,
    surveyed: Iterable[str] = (),
    job: Job | None = None,
) -> Plan:
    """Plan a fill. Raises CardTrouble, Stopped.

    surveyed: folders on the shelf, which cannot be a card. Opens only images whose size or
    content the shelf cannot tell: packed ones, those with error bytes, those to be mended.
    """
    job = job or Job()
    refuse_shelf(device.dest, surveyed, _folders_of(candidates))
    with sentences(device.dest, "look at"):
        inventory = take_inventory(device)
        room = device.room()
    if wishes.mended:
        candidates = _with_mended(candidates, job)
    known = _entries_of(candidates, inventory)
    space = _space_bytes(inventory, room, known, wishes)
    choice, measured, unfit = _choose(candidates, rules, space, room, job)
    taken = choice.taken
    arrangement = wishes.arrangement or inventory.card_list.arrangement
    known = _entries_of(taken, inventory)
    kept = {i: entry.target for i, entry in known.items()}
    occupied = inventory.occupied_besides(frozenset(kept.values()))
    targets = arrange(taken, arrangement, kept, occupied)
    stock = stock_rig_name(rules)
    with sentences(device.dest, "look at"):
        picks = [
            Pick(
                candidate,
                _entry(candidate, target, measured[candidate.path], stock, rules.rig.name),
                _state(device, known.get(i), measured[candidate.path], job),
            )
            for i, (candidate, target) in enumerate(zip(taken, targets, strict=True))
        ]
        unpicked = _unpicked(inventory, picks)
        going = unpicked if wishes.remove_unpicked else ()
        changed = _changed(device, going, job)
    spared = {entry.target for entry in changed}
    return Plan(
        dest=device.dest,
        picks=tuple(sorted(picks, key=lambda pick: pick.entry.target)),
        left_out=(*choice.left_out, *unfit),
        removals=tuple(entry for entry in going if entry.target not in spared),
        changed=changed,
        staying=() if wishes.remove_unpicked else unpicked,
        inventory=inventory,
        arrangement=arrangement,
        choice=choice,
        room=room,
        waiting=_waiting(taken, stock, rules.rig.name),
        stock=stock,
        fast=rules.rig.name,
        replace_changed=wishes.replace_changed,
        notes=tuple(_notes(device, inventory)),
    )


def image_bytes(candidate: Candidate, reader: Reader) -> bytes:
    """The bytes for the card: unpacked, or of a mended copy. Raises LoadglassError."""
    source = source_of(candidate.path)
    data = reader.read(source).data
    if not candidate.mended:
        return data
    return mend(audit(place_image(source, data))).data


def _folders_of(candidates: Iterable[Candidate]) -> set[str]:
    """Folders on the computer that the images, or the archives of them, are in."""
    return {os.path.dirname(candidate.archive or candidate.path) for candidate in candidates}


# -- choosing, with sizes made sure of


def _choose(
    candidates: Sequence[Candidate], rules: Rules, space: int | None, room: Room, job: Job
) -> tuple[Choice, dict[str, _Measured], list[LeftOut]]:
    """The choice, once the size of all that is taken is certain."""
    measured: dict[str, _Measured] = {}
    unfit: dict[str, LeftOut] = {}
    with Reader() as reader:
        while True:
            left = [each for each in candidates if each.path not in unfit]
            choice = choose(left, rules, space, room.cluster_bytes)
            unsure = [each for each in choice.taken if each.path not in measured]
            if not unsure:
                return choice, measured, list(unfit.values())
            sizes: dict[str, int] = {}
            for done, candidate in enumerate(unsure):
                job.step(done, len(unsure), visible(candidate.path))
                try:
                    found = _measure(candidate, reader)
                except LoadglassError as error:
                    unfit[candidate.path] = LeftOut(candidate.path, str(error))
                    continue
                measured[candidate.path] = found
                sizes[candidate.path] = found.bytes
            candidates = [
                replace(each, size_bytes=sizes[each.path]) if each.path in sizes else each
                for each in candidates
            ]


def _measure(candidate: Candidate, reader: Reader) -> _Measured:
    """What the image will be on the card. Raises LoadglassError."""
    if not candidate.mended and _is_plain(candidate):
        return _Measured(candidate.sha256, candidate.size_bytes)
    source = source_of(candidate.path)
    data = reader.read(source).data
    image = place_image(source, data)
    if sector_hash(image) != candidate.sha256:
        raise _Unfit("it has changed since the survey: survey it again")
    if candidate.mended:
        data = mend(audit(image)).data
    return _Measured(hashlib.sha256(data).hexdigest(), len(data))


def _is_plain(candidate: Candidate) -> bool:
    """Whether the file is nothing but the sectors, whose hash the shelf knows."""
    layout = next(each for each in LAYOUTS if each.name == candidate.layout)
    if candidate.kind != candidate.layout or candidate.path.lower().endswith(GZIP_SUFFIX):
        return False
    try:
        return os.stat(candidate.path).st_size == layout.size_bytes == candidate.size_bytes
    except OSError:
        return False  # reading it says why


def _with_mended(candidates: Sequence[Candidate], job: Job) -> list[Candidate]:
    """Damaged images give way to their mended copies, where those are not damaged any more."""
    found = []
    with Reader() as reader:
        for done, candidate in enumerate(candidates):
            job.step(done, len(candidates), visible(candidate.path))
            found.append(_mended(candidate, reader) or candidate)
    return found


def _mended(candidate: Candidate, reader: Reader) -> Candidate | None:
    if candidate.verdict is not Verdict.DAMAGED or candidate.gone:
        return None
    try:
        source = source_of(candidate.path)
        mended = mend(audit(place_image(source, reader.read(source).data)))
    except LoadglassError:
        return None  # left out as damaged, or found out when it is read
    if mended.after.verdict in (Verdict.DAMAGED, Verdict.UNREADABLE):
        return None
    return replace(candidate, mended=True, verdict=mended.after.verdict)


# -- what is there already


def _entries_of(candidates: Sequence[Candidate], inventory: Inventory) -> dict[int, Entry]:
    """By position: the file on the card that is this image, or an older version of it."""
    by_image: dict[tuple[str, bool], list[Entry]] = {}
    by_source: dict[tuple[str, bool], Entry] = {}
    for entry in inventory.card_list.files:
        by_image.setdefault((entry.image_sha256, entry.mended), []).append(entry)
        by_source[entry.source, entry.mended] = entry
    known: dict[int, Entry] = {}
    used: set[str] = set()
    order = sorted(range(len(candidates)), key=lambda i: candidates[i].path)
    for i in order:
        candidate = candidates[i]
        alike = by_image.get((candidate.sha256, candidate.mended), [])
        own = [entry for entry in alike if entry.source == candidate.path] or alike
        if free := [entry for entry in own if entry.target not in used]:
            known[i] = free[0]
            used.add(free[0].target)
    for i in order:
        candidate = candidates[i]
        older = by_source.get((candidate.path, candidate.mended))
        if i not in known and older is not None and older.target not in used:
            known[i] = older
            used.add(older.target)
    return known


def _state(device: Device, entry: Entry | None, measured: _Measured, job: Job) -> State:
    if entry is None or device.status(entry.target) is None:
        return State.NEW
    job.step(0, None, entry.target)
    if not is_as_put(device, entry):
        return State.CHANGED
    return State.THERE if entry.sha256 == measured.sha256 else State.OTHER


def _changed(device: Device, entries: Iterable[Entry], job: Job) -> tuple[Entry, ...]:
    """Those that are on the card, and not as they were put there."""
    found = []
    for entry in entries:
        job.step(0, None, entry.target)
        if device.status(entry.target) is not None and not is_as_put(device, entry):
            found.append(entry)
    return tuple(found)


def _unpicked(inventory: Inventory, picks: Sequence[Pick]) -> tuple[Entry, ...]:
    targets = {pick.entry.target for pick in picks}
    return tuple(entry for entry in inventory.card_list.files if entry.target not in targets)


def _space_bytes(
    inventory: Inventory, room: Room, known: dict[int, Entry], wishes: Wishes
) -> int | None:
    """Room for images: what is free, and what ours take up that are asked for or may go."""
    if room.free_bytes is None:
        return None
    ours = inventory.card_list.files if wishes.remove_unpicked else tuple(known.values())
    there = [entry for entry in ours if entry.target in inventory.files]
    room_bytes = room.free_bytes + sum(on_card_bytes(e.bytes, room.cluster_bytes) for e in there)
    files = room_bytes // LAYOUTS[0].size_bytes + 1
    kept_free = (FOLDERS_KEPT_FREE + files // FILES_IN_FOLDER) * room.cluster_bytes
    return max(room_bytes - kept_free - files * ENTRY_BYTES, 0)


# -- what is shown


def _entry(candidate: Candidate, target: str, measured: _Measured, stock: str, fast: str) -> Entry:
    return Entry(
        target=target,
        sha256=measured.sha256,
        bytes=measured.bytes,
        image_sha256=candidate.sha256,
        source=candidate.path,
        title=candidate.title,
        verdict=candidate.verdict,
        mended=candidate.mended,
        stock_s=candidate.all_s.get(stock),
        fast_s=candidate.all_s.get(fast),
    )


def _waiting(taken: Sequence[Candidate], stock: str, fast: str) -> Waiting:
    pairs = [(each.all_s.get(stock), each.all_s.get(fast)) for each in taken]
    known = [(s, f) for s, f in pairs if s is not None and f is not None]
    return Waiting(sum(s for s, _ in known), sum(f for _, f in known), len(pairs) - len(known))


def _notes(device: Device, inventory: Inventory) -> Iterable[str]:
    if inventory.left is not None:
        yield "an earlier fill of this card did not come to its end: this one goes on from there"
    if device.is_same_device_as(os.path.expanduser("~")):
        yield (
            "the card's folder is on the same disk as your home: if it should be a card, "
            "see whether the card is mounted"
        )
