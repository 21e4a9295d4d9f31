"""A load that hung after so many seconds: which block was on its way by then, on a rig."""

from __future__ import annotations

from dataclasses import dataclass

from formats.findings import Finding, Severity
from formats.geometry import DATA_BYTES, Place
from loadglass.bench.in_flight import NoSuchMoment
from loadglass.opened import Opened
from loadglass.timing.estimate import estimates
from loadglass.timing.loads import count_images
from loadglass.timing.motion import unpack_blocks
from loadglass.timing.places import ImagePlaces
from loadglass.timing.rig import Rig


@dataclass(frozen=True)
class InTurn:
    """A block by its turn in a load."""

    number: int
    """From 1 in the order in which the rig's loader takes them."""
    place: Place


@dataclass(frozen=True)
class HungAt:
    """Where a load stood after some seconds."""

    blocks: int
    """Of the chain, as far as it can be read."""
    likely: InTurn | None
    """By the rig's own figures; None if all had arrived by then."""
    first: InTurn | None
    """Nine loads of ten stood between this and `last`; None: all had arrived by then."""
    last: InTurn | None
    """None: all may have arrived by then."""
    findings: tuple[Finding, ...]
    """Of the audit, at these places or of the file."""
    says: tuple[str, ...]
    """Sentences for a person."""


def hung_at(opened: Opened, slot: int, rig: Rig, seconds: float) -> HungAt:
    """The block on its way so many seconds after RETURN, and the range in which it lies.

    The range is that of the rig's figures, as for every load time. Raises NoSuchMoment where the
    file has no block or the rig does not mount the image.
    """
    audit, geometry = opened.audit, opened.image.geometry
    file = audit.by_slot[slot]
    name = f'"{file.entry.text}"'
    if not file.chain.blocks:
        raise NoSuchMoment(f"{name} has no block that can be read: nothing arrives")
    if not rig.mounts(geometry):
        raise NoSuchMoment(f"{rig.name} does not mount {geometry.name} images: choose another rig")
    searched = audit.directory.search_blocks(slot)
    whole = ImagePlaces.of_file(geometry, searched, file.chain.blocks, DATA_BYTES)
    taken = unpack_blocks(whole.taken(rig.order).files[0].blocks)
    parts = [
        ImagePlaces.of_file(geometry, searched, taken[: end + 1], DATA_BYTES)
        for end in range(len(taken))
    ]
    ends = [each for each in estimates(count_images(geometry, parts).files, rig) if each]
    places = [geometry.place(block) for block in taken]
    if not file.chain.ended and file.chain.stopped_at is not None:
        places.append(geometry.place(file.chain.stopped_at))

    def in_turn(done: int) -> InTurn | None:
        return InTurn(done + 1, places[done]) if done < len(places) else None

    likely = in_turn(sum(end.seconds < seconds for end in ends))
    first = in_turn(sum(end.high < seconds for end in ends))
    last = in_turn(sum(end.low < seconds for end in ends))
    begins = first.number - 1 if first else len(places)
    near = set(places[begins : last.number if last else None])
    findings = tuple(
        finding
        for finding in audit.findings
        if finding.slot == slot or (finding.slot is None and finding.place in near)
    )
    looked_for_s = sum(ends[0].stages[stage] for stage in ("command", "setup", "spin_up", "find"))
    says = [f"{seconds:.1f} s after RETURN on {rig.name}:"]
    says += _says(likely, first, last, len(places), looked_for_s >= seconds)
    says += [finding.says for finding in findings]
    if first is not None and not any(each.severity is Severity.DAMAGE for each in findings):
        says.append("the image is whole here: look at the cartridge, the drive and the bus")
    return HungAt(len(taken), likely, first, last, findings, tuple(says))


def _says(
    likely: InTurn | None, first: InTurn | None, last: InTurn | None, blocks: int, too_early: bool
) -> list[str]:
    if first is None:
        return [
            "all of the file had arrived by then: it hung earlier than was noted, or it is the "
            "title that hangs and not the load"
        ]
    says = []
    if too_early:
        says.append("the load had hardly begun: the file was still being looked for")
    if likely is None:
        says.append("all of the file should have arrived by then")
    else:
        says.append(
            f"most likely block {likely.number} of {blocks}, at {likely.place}, was on its way"
        )
    if first != last:
        end = f"block {last.number} at {last.place}" if last else "the end"
        says.append(
            f"nine loads of ten are between block {first.number} at {first.place} and {end} by then"
        )
    return says
