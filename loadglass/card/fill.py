"""Filling a card: whatever ends it, whole files only, and nothing lost that was not ours.

A file is written under a name drawn by lot, flushed, read back and compared, and only then gets
its own name. Before anything is done the journal says what will be; so the next fill knows what
an ended one has left.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace

from formats.errors import LoadglassError
from formats.visible import visible
from loadglass.card.choose import LeftOut
from loadglass.card.device import CardTrouble, Device, sentences
from loadglass.card.folders import folders_above
from loadglass.card.journal import (
    Intent,
    Journal,
    folders_to_make,
    leftovers,
    read_journal,
    recover,
    settled,
)
from loadglass.card.manifest import (
    JOURNAL,
    LOCK,
    CardList,
    Entry,
    clear_own,
    is_as_listed,
    read_list,
    ready_folder,
    sorted_entries,
    write_list,
)
from loadglass.card.plan import Pick, Plan, image_bytes
from loadglass.progress import Job, Stopped
from loadglass.sources import Reader


@dataclass
class Filled:
    """What a fill has done."""

    copied: list[Entry] = field(default_factory=list)
    there: list[Entry] = field(default_factory=list)
    """On the card already, and as they were put there."""
    removed: list[Entry] = field(default_factory=list)
    changed: list[Entry] = field(default_factory=list)
    """Changed on the card since they were put there: kept as they are."""
    kept: list[LeftOut] = field(default_factory=list)
    """Picks in whose place a changed file stays."""
    left_out: list[LeftOut] = field(default_factory=list)
    """Picks that could not be taken after all."""
    safe_to_remove: bool = False
    """Everything has been flushed to the card."""

    @property
    def on_card(self) -> list[Entry]:
        """Picks that are on the card now."""
        return sorted([*self.copied, *self.there], key=lambda entry: entry.target)


class FillStopped(Stopped):
    """A fill was asked to stop; what it had finished is on the card."""

    def __init__(self, filled: Filled) -> None:
        super().__init__()
        self.filled = filled


def fill(device: Device, plan: Plan, job: Job | None = None) -> Filled:
    """Carry a plan out. Raises CardTrouble, CardInUse, FillStopped."""
    with sentences(device.dest, "write to"):
        ready_folder(device)
        with device.locked(LOCK):
            before = read_list(device)
            left = read_journal(device)
            if settled(device, before, left) != plan.inventory.card_list:
                raise CardTrouble(
                    f"the card {visible(device.dest)} has been filled since this was planned: "
                    "plan it again"
                )
            known = recover(device, before, left)
            return _Filling(device, plan, known, job or Job()).run()


class _Filling:
    def __init__(self, device: Device, plan: Plan, known: CardList, job: Job) -> None:
        self._device = device
        self._plan = plan
        self._known = known
        self._job = job
        self._entries = dict(known.by_target)
        """What will be in the list."""
        self._temporary = f"lg-{secrets.token_hex(8)}.tmp"
        self._replaced: set[str] = set()
        """Files of ours that are to be overwritten."""
        self._unflushed: set[str] = set()
        """Folders that files were taken out of."""
        self._filled = Filled()

    def run(self) -> Filled:
        try:
            to_put = self._look_at_picks()
            to_remove = self._look_at_removals()
            made = folders_to_make(self._device, [pick.entry for pick in to_put])
            intent = Intent(
                self._known.generation,
                self._temporary,
                tuple(pick.entry for pick in to_put),
                tuple(entry.target for entry in to_remove),
                made,
            )
            with self._journal(intent) as journal:
                self._remove(to_remove)
                for folder in made:
                    self._device.make_folder(folder)
                    self._device.flush_folder(_above(folder))
                self._put(to_put, journal)
        except Stopped:
            raise FillStopped(self._filled) from None
        self._device.flush_all()
        self._filled.safe_to_remove = True
        return self._filled

    @contextmanager
    def _journal(self, intent: Intent) -> Iterator[Journal]:
        """The journal while the card is being changed; then the list takes its place.

        If the card fails, the list is written if that can still be done: the journal tells
        what is missing in it.
        """
        journal = Journal(self._device, intent)
        try:
            yield journal
        except (OSError, LoadglassError):
            with suppress(OSError, LoadglassError):
                journal.close()
                self._finish(intent)
            raise
        except Stopped:
            journal.close()
            self._finish(intent)
            self._device.flush_all()
            raise
        journal.close()
        self._finish(intent)

    # -- what is on the card

    def _look_at_picks(self) -> list[Pick]:
        """Which picks have to be copied; the others are sorted into what was done."""
        to_put = []
        total = sum(pick.entry.bytes for pick in self._plan.picks)
        done = 0
        self._job.begin()
        for pick in self._plan.picks:
            self._job.step(done, total, f"checking {pick.entry.target}")
            if self._has_to_be_put(pick):
                to_put.append(pick)
            done += pick.entry.bytes
        return to_put

    def _has_to_be_put(self, pick: Pick) -> bool:
        target = pick.entry.target
        listed = self._known.by_target.get(target)
        if self._device.status(target) is None:
            return True
        if listed is None:
            self._leave_out(pick, f"a file that is not ours is called {target} on the card")
            return False
        is_unchanged = is_as_listed(self._device, listed)
        if is_unchanged and listed.sha256 == pick.entry.sha256:
            self._filled.there.append(pick.entry)
            self._entries[target] = self._dated(pick.entry, target)
            return False
        if is_unchanged or self._plan.replace_changed:
            self._replaced.add(target)
            return True
        self._filled.changed.append(listed)
        says = f"{target} has changed on the card since it was put there: kept"
        self._filled.kept.append(LeftOut(pick.candidate.path, says))
        return False

    def _look_at_removals(self) -> list[Entry]:
        to_remove = []
        for entry in (*self._plan.removals, *self._plan.changed):
            self._job.step(0, None, f"checking {entry.target}")
            if self._device.status(entry.target) is None:
                del self._entries[entry.target]
            elif is_as_listed(self._device, entry):
                to_remove.append(entry)
            else:
                self._filled.changed.append(entry)
        return to_remove

    def _dated(self, entry: Entry, name: str) -> Entry:
        """With the time of a file on the card, whatever it is called yet."""
        status = self._device.status(name)
        return replace(entry, mtime_ns=status.st_mtime_ns if status else None)

    def _leave_out(self, pick: Pick, why: str) -> None:
        self._filled.left_out.append(LeftOut(pick.candidate.path, why))

    # -- changing it

    def _remove(self, entries: list[Entry]) -> None:
        for entry in entries:
            self._device.remove(entry.target)
            del self._entries[entry.target]
            self._unflushed.add(_above(entry.target))
            self._filled.removed.append(entry)

    def _put(self, picks: list[Pick], journal: Journal) -> None:
        total = sum(pick.entry.bytes for pick in picks)
        done = 0
        self._job.begin()
        with Reader() as reader:
            for pick in picks:
                self._job.step(done, total, pick.entry.target)
                self._put_one(pick, reader, journal)
                done += pick.entry.bytes
        self._job.step(done, total, last=True)

    def _put_one(self, pick: Pick, reader: Reader, journal: Journal) -> None:
        entry = pick.entry
        try:
            data = image_bytes(pick.candidate, reader)
        except LoadglassError as error:
            self._leave_out(pick, str(error))
            return
        if hashlib.sha256(data).hexdigest() != entry.sha256:
            self._leave_out(pick, "it has changed since the survey: survey it again")
            return
        folder = _above(entry.target)
        temporary = f"{folder}/{self._temporary}".lstrip("/")
        try:
            self._write(temporary, data, entry)
            dated = self._dated(entry, temporary)
            if entry.target in self._replaced:
                self._device.replace(temporary, entry.target)
            else:
                self._device.rename(temporary, entry.target)
        except FileExistsError:
            self._device.remove(temporary)
            self._leave_out(pick, f"a file that is not ours is called {entry.target} on the card")
            return
        except (OSError, LoadglassError):
            with suppress(OSError):
                self._device.remove(temporary)
            raise
        self._entries[entry.target] = dated
        self._device.flush_folder(folder)
        journal.placed(entry.target)
        self._filled.copied.append(entry)

    def _write(self, name: str, data: bytes, entry: Entry) -> None:
        """A new file, on the card itself, read back and compared."""
        descriptor = self._device.create(name)
        try:
            self._device.write(descriptor, data)
            self._device.flush(descriptor)
        finally:
            self._device.close(descriptor)
        self._device.date(name)
        if self._device.digest(name).sha256 != entry.sha256:
            raise CardTrouble(
                f"the card {visible(self._device.dest)} gives back other bytes than were written "
                f"({entry.target}): it is worn out, or smaller than it says; use another one"
            )

    def _finish(self, intent: Intent) -> None:
        """Write the list, and take away what only an unfinished fill needs."""
        for name in leftovers(self._device, intent):
            self._device.remove(name)
        entries = sorted_entries(self._entries.values())
        folders = {*self._known.folders, *intent.folders} - self._without_empty_folders(intent)
        plan = self._plan
        write_list(
            self._device,
            replace(
                self._known,
                files=entries,
                folders=tuple(sorted(folders)),
                generation=self._known.generation + 1,
                stock=plan.stock,
                fast=plan.fast,
                arrangement=plan.arrangement,
            ),
        )
        for folder in sorted(self._unflushed):
            if self._device.status(folder) is not None:
                self._device.flush_folder(folder)
        clear_own(self._device, JOURNAL)

    def _without_empty_folders(self, intent: Intent) -> set[str]:
        """Remove folders of ours that nothing is in; which ones are gone."""
        used = {folder for target in self._entries for folder in folders_above(target)}
        gone = set()
        for folder in sorted({*self._known.folders, *intent.folders} - used, reverse=True):
            if self._device.status(folder) is None:
                gone.add(folder)
            elif not self._device.names(folder):
                self._device.remove_folder(folder)
                gone.add(folder)
        return gone


def _above(target: str) -> str:
    return target.rpartition("/")[0]
