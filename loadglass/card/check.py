"""A card compared with its own list, and with the shelf that it was filled from."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from formats.errors import LoadglassError
from formats.findings import Verdict
from formats.image import LONGEST_BYTES, DiskImage
from loadglass.card.device import Device, sentences
from loadglass.card.inventory import take_inventory
from loadglass.card.manifest import CardList, Entry, is_as_listed, no_list
from loadglass.card.names import clash_key
from loadglass.progress import Job

BAD = (Verdict.DAMAGED, Verdict.UNREADABLE)


@dataclass(frozen=True, slots=True)
class Original:
    """What the shelf says of an image that was put on the card."""

    sha256: str
    gone: bool


@dataclass(frozen=True, slots=True)
class Changed:
    """A file of ours that is no longer what was put there."""

    entry: Entry
    verdict: Verdict
    """Of what it is now."""
    says: str
    """The worst that the audit finds; empty if there is nothing."""


@dataclass
class Checked:
    card_list: CardList
    ok: list[Entry] = field(default_factory=list)
    missing: list[Entry] = field(default_factory=list)
    changed: list[Changed] = field(default_factory=list)
    foreign: list[str] = field(default_factory=list)
    """Files that we did not put there; they are never touched."""
    outdated: list[Entry] = field(default_factory=list)
    """The shelf has another version of the image now, or it has gone from there."""
    unfinished: bool = False
    """A fill did not come to its end; the next one goes on from there."""

    @property
    def damaged(self) -> list[Entry]:
        """What is on the card and cannot be read whole."""
        return [
            *(entry for entry in self.ok if entry.verdict in BAD),
            *(each.entry for each in self.changed if each.verdict in BAD),
        ]


def check_card(
    device: Device,
    original: Callable[[str], Original | None] = lambda _path: None,
    job: Job | None = None,
) -> Checked:
    """Read and compare every file of ours. Raises CardTrouble, Stopped; changes nothing.

    original: what the shelf says of a path; None where it does not know it.
    """
    job = job or Job()
    with sentences(device.dest, "read"):
        inventory = take_inventory(device)
        card_list = inventory.card_list
        if card_list == CardList() and inventory.left is None:
            raise no_list(device)
        checked = Checked(card_list, unfinished=inventory.left is not None)
        total = sum(entry.bytes for entry in card_list.files)
        done = 0
        for entry in card_list.files:
            job.step(done, total, entry.target)
            _compare(device, entry, checked)
            done += entry.bytes
        job.step(done, total, last=True)
    ours = {clash_key(entry.target) for entry in card_list.files}
    temporary = inventory.left.intent.temporary if inventory.left else None
    checked.foreign = sorted(
        name
        for name in inventory.files
        if clash_key(name) not in ours and name.rpartition("/")[2] != temporary
    )
    checked.outdated = [
        entry for entry in card_list.files if _is_outdated(entry, original(entry.source))
    ]
    return checked


def _compare(device: Device, entry: Entry, checked: Checked) -> None:
    if device.status(entry.target) is None:
        checked.missing.append(entry)
    elif is_as_listed(device, entry):
        checked.ok.append(entry)
    else:
        checked.changed.append(_judge(device, entry))


def _judge(device: Device, entry: Entry) -> Changed:
    from formats.audit import audit  # only for what has changed

    if not device.is_file(entry.target):
        return Changed(entry, Verdict.UNREADABLE, "it is no file any more, but a folder or a link")
    try:
        found = audit(DiskImage.from_bytes(device.read(entry.target, LONGEST_BYTES + 1)))
    except LoadglassError as error:
        return Changed(entry, Verdict.UNREADABLE, str(error))
    worst = found.findings[0].says if found.findings and found.verdict in BAD else ""
    return Changed(entry, found.verdict, worst)


def _is_outdated(entry: Entry, original: Original | None) -> bool:
    return original is not None and (original.gone or original.sha256 != entry.image_sha256)
