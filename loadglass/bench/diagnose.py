"""What a reading far outside its range may mean, by comparing it with every rig."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import Literal

from formats.audit import Audit
from formats.findings import Severity
from formats.visible import visible
from loadglass.bench.reading import THUMB_S, Reading
from loadglass.timing.estimate import Estimate
from loadglass.timing.rig import Rig, RigError

CAUTION = (
    "Before you plug the cartridge in or out, switch the power of machine and drive off; for all "
    "else follow the cartridge's own instructions and the rules of the place you work in."
)
OFF_BY_S = 2 * THUMB_S
"""A reading is outside a range if no thumb explains it."""
FAR = 1.25
"""Outside by less than this factor, a rig is badly known rather than not the one in use."""

Meaning = Literal["inside", "near", "other rig", "between", "longer", "shorter"]


@dataclass(frozen=True)
class Diagnosis:
    """What a reading may mean."""

    meaning: Meaning
    matches: tuple[str, ...]
    """Other rigs that take such a time."""
    says: tuple[str, ...]
    """Sentences, the most urgent first."""


@dataclass(frozen=True)
class _Candidate:
    rig: Rig
    estimate: Estimate

    def holds(self, seconds: float) -> bool:
        return self.estimate.low - OFF_BY_S <= seconds <= self.estimate.high + OFF_BY_S

    @property
    def range(self) -> str:
        return f"{self.rig.name} takes {self.estimate.low:.1f} to {self.estimate.high:.1f} s"


def diagnose(reading: Reading, rigs: Iterable[Rig], audit: Audit | None = None) -> Diagnosis:
    """Compare a reading with the rigs there are, its own among them.

    audit: of the image, if it is at hand. Raises RigError if the reading's own rig is gone.
    """
    candidates = [
        _Candidate(rig, estimate)
        for rig in rigs
        if (estimate := reading.timed.estimate(rig)) is not None
    ]
    own = next((each for each in candidates if each.rig.name == reading.rig), None)
    if own is None:
        raise RigError(f"the rig {visible(reading.rig)} of this reading is not among the rigs")
    meaning, matches, sentence = _compared(reading.seconds, own, candidates)
    before, behind = _of_the_image(reading, audit, meaning) if audit else ([], [])
    return Diagnosis(
        meaning,
        tuple(each.rig.name for each in matches),
        (*before, f"{reading.seconds:.1f} s: {sentence}", *behind),
    )


def damage_of(audit: Audit, slots: Collection[int]) -> list[str]:
    """Why a load of these files may hang or go wrong, whatever the rig: look at this first."""
    return [
        f"look at the image first: {finding.says}"
        for finding in audit.findings
        if finding.severity is Severity.DAMAGE and (finding.slot is None or finding.slot in slots)
    ]


def _compared(
    seconds: float, own: _Candidate, candidates: list[_Candidate]
) -> tuple[Meaning, list[_Candidate], str]:
    low, high = own.estimate.low, own.estimate.high
    if own.holds(seconds):
        return "inside", [], f"as expected, for {own.range}"
    if low / FAR < seconds < high * FAR:
        return "near", [], f"{own.range}; calibrate it with readings of your own"
    matches = [each for each in candidates if each is not own and each.holds(seconds)]
    if matches:
        same_drive = [each for each in matches if each.rig.drive == own.rig.drive]
        best = min(same_drive or matches, key=lambda each: abs(each.estimate.seconds - seconds))
        return "other rig", matches, _says_match(own.rig, best)
    stock = _nearest(candidates, own, "stock", seconds)
    fast = _nearest(candidates, own, "fast", seconds)
    if stock and fast and fast.estimate.high < seconds < stock.estimate.low:
        return "between", [], _SAYS_BETWEEN.format(fast=fast.range, stock=stock.range)
    if seconds > high:
        return "longer", [], _SAYS_LONGER.format(range=(stock or own).range)
    return "shorter", [], _SAYS_SHORTER.format(range=own.range)


_SAYS_BETWEEN = (
    "{fast} and {stock}, so this is between the two: the title may switch to its own loader"
)
_SAYS_LONGER = (
    "this is longer than stock, for {range}: check the image, then the drive, which may be trying "
    "a bad sector again and again"
)
_SAYS_SHORTER = (
    "this is shorter than any rig, for {range}: make sure that this is the file that was loaded, "
    "and that the clock ran from RETURN to READY"
)


def _nearest(
    candidates: list[_Candidate], own: _Candidate, loader: str, seconds: float
) -> _Candidate | None:
    """The rig of that loader on the same drive whose time is nearest, the reading's own first."""
    if own.rig.loader == loader:
        return own
    alike = [
        each for each in candidates if each.rig.loader == loader and each.rig.drive == own.rig.drive
    ]
    return min(alike, key=lambda each: abs(each.estimate.seconds - seconds), default=None)


def _says_match(rig: Rig, match: _Candidate) -> str:
    other = match.rig
    if rig.loader == "fast" and other.loader == "stock":
        unknown = " or the SD-card drive does not know its loader" if rig.drive == "card" else ""
        return (
            f"this matches the stock loader ({match.range}): the cartridge may not be engaged"
            f"{unknown and ',' + unknown}"
        )
    if rig.loader == "stock" and other.loader == "fast":
        return f"this matches a fast loader ({match.range}): the cartridge may be engaged"
    return f"this matches another rig ({match.range}): make sure which drive was in use"


def _of_the_image(reading: Reading, audit: Audit, meaning: Meaning) -> tuple[list[str], list[str]]:
    """What the image itself has to say: damage first, other reasons last."""
    damage = damage_of(audit, [file.slot for file in reading.timed.places.files])
    own_loader = [
        f"of the image: {finding.says}"
        for finding in audit.findings
        if finding.code == "own-loader" and meaning in ("between", "longer")
    ]
    return damage, own_loader
