"""The table of findings: code, severity, what it says, what the drive does, what mends it.

Adding a finding is one row here, one rule in `rules/`, and one small image in the tests.
`says` is filled in by the rule that finds it; a part in braces is a value of that image, and
`{count:block}` counts: 1 block, 2 blocks.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from numbers import Integral
from typing import Any

from formats.geometry import Place

AUDIT_VERSION = 2
"""Grows whenever an audit may say something else of an image than before: indexes read again."""


class Severity(StrEnum):
    DAMAGE = "damage"
    ODDITY = "oddity"
    NOTE = "note"


class Verdict(StrEnum):
    """From best to worst."""

    SOUND = "sound"
    QUIRKY = "quirky"
    DAMAGED = "damaged"
    UNREADABLE = "unreadable"


@dataclass(frozen=True, slots=True)
class Row:
    """One kind of finding."""

    code: str
    severity: Severity
    says: str
    drive: str
    """What the hardware does when it meets it."""
    mends: str


@dataclass(frozen=True, slots=True)
class Finding:
    code: str
    severity: Severity
    says: str
    slot: int | None = None
    """The entry it is about; None: the image as a whole."""
    place: Place | None = None
    """The block to look at first."""

    @property
    def row(self) -> Row:
        return TABLE[self.code]


def _rows(*rows: Row) -> dict[str, Row]:
    return {row.code: row for row in rows}


_D, _O, _N = Severity.DAMAGE, Severity.ODDITY, Severity.NOTE
_NOTHING = "Nothing needs mending."
_CUT = "mend ends the chain at its last good block; the rest has to come from another copy."

TABLE: dict[str, Row] = _rows(
    Row(
        "chain-loop",
        _D,
        "the chain comes back to its own block {place} after {walked} of {stated:block}",
        "The drive reads the same blocks again and again: the load never ends.",
        _CUT,
    ),
    Row(
        "chain-off-disk",
        _D,
        "block {place} links to {link}, which does not exist; {walked} of {stated:block} read",
        "The drive stops with error 66, illegal track or sector.",
        _CUT,
    ),
    Row(
        "chain-shared",
        _D,
        "its chain and that of {other} run together at {place}",
        "The load ends, but a part of the file is the other file's bytes.",
        "mend copies the shared blocks for the second file where there is room; "
        "the right content has to come from another copy.",
    ),
    Row(
        "chain-in-directory",
        _D,
        "the chain runs into the directory at {place} after {walked} of {stated:block}",
        "The drive hands over the directory as if it were the file.",
        _CUT,
    ),
    Row(
        "chain-bad-block",
        _D,
        "block {place} cannot be read: {meaning} (error {status}); {walked} of {stated:block} "
        "before it",
        "The drive tries several times, then stops with that error.",
        "mend ends the chain before the block; error bytes are never cleared. "
        "The rest has to come from another copy.",
    ),
    Row(
        "chain-blank",
        _D,
        "the chain runs into the never written block {place} after {walked} of {stated:block}",
        "The drive takes the filling for data and a link, and then stops, loops or goes astray.",
        _CUT,
    ),
    Row(
        "entry-no-start",
        _D,
        "the entry states {stated:block} but starts at {link}, which does not exist",
        "The drive stops with error 66, illegal track or sector.",
        "Only another copy has this file; mend leaves the entry as it is.",
    ),
    Row(
        "directory-loop",
        _D,
        "the directory comes back to its own sector {place}",
        "Listing the directory never ends; files that are not found hang the drive.",
        "mend ends the directory at its last good sector.",
    ),
    Row(
        "directory-off-disk",
        _D,
        "directory sector {place} links to {link}, which does not exist",
        "The drive stops with error 66; files in the sectors before it still load.",
        "mend ends the directory at its last good sector.",
    ),
    Row(
        "directory-bad-block",
        _D,
        "{what} {place} cannot be read: {meaning} (error {status})",
        "The drive stops with that error; files named in it or behind it cannot be found.",
        "mend ends the directory before that sector; error bytes are never cleared.",
    ),
    Row(
        "directory-blank",
        _D,
        "the directory runs into the never written sector {place}",
        "The listing shows garbage from there on, and may never end.",
        "mend ends the directory at its last good sector.",
    ),
    Row(
        "side-sector-broken",
        _D,
        "REL side sectors: {trouble}",
        "Records are found wrongly or not at all; reading from the start may still work.",
        "Only another copy, or copying record by record on the machine.",
    ),
    Row(
        "image-short",
        _D,
        "the image stops after {present} of {total:block}; what comes later is missing{hit}",
        "What mounts the image reads garbage or fails there.",
        "Only a whole copy of the image. Files whose blocks are all there stay whole.",
    ),
    Row(
        "count-differs",
        _O,
        "the entry states {stated:block}, the file has {walked}",
        "It loads all the same: the drive follows the chain and never counts.",
        "mend writes the walked length.",
    ),
    Row(
        "end-byte-odd",
        _O,
        "the last block {place} ends at byte {byte}, which the stock drive never writes",
        "A byte or two too many may be read, or a whole block of filling.",
        "Loading and saving it again on the machine.",
    ),
    Row(
        "entry-unclosed",
        _O,
        "the file was never properly closed (shown with * in the listing)",
        "The stock loader refuses it as a write file that is still open.",
        "mend closes it if its chain is whole.",
    ),
    Row(
        "type-unknown",
        _O,
        "type {type} is none that the drive knows, but it can be read: {walked:block}",
        "The listing shows a wrong type; the file cannot be loaded by name as it is.",
        "Setting the type on the machine, or with a disk editor.",
    ),
    Row(
        "name-twin",
        _O,
        "a file of the same name stands before it: only that one can be loaded by name",
        "The drive takes the first that matches.",
        "Renaming one of the two on the machine.",
    ),
    Row(
        "map-frees-used",
        _O,
        "{count:block} in use but marked free in the map, the first {place}",
        "Loading works; the next save would overwrite them.",
        "mend marks them used.",
    ),
    Row(
        "map-count-differs",
        _O,
        "free counts and bits of the map disagree on {count:track}, the first {track}",
        "Blocks free is shown wrongly; a save may stop with disk full, or skip free blocks.",
        "mend counts the bits anew.",
    ),
    Row(
        "header-odd",
        _O,
        "the header has {trouble}",
        "The stock drive reads it; with a wrong format mark it refuses to write (error 73).",
        "mend leaves it: some titles do it on purpose.",
    ),
    Row(
        "past-35",
        _O,
        "{walked:block} of it past track 35, the first {place}",
        "The stock drive refuses these tracks with error 66; a speed-up system or an SD-card "
        "drive may read them.",
        "Copying the file to a disk with room below track 36.",
    ),
    Row(
        "program-wraps",
        _O,
        "loads from {load} and would run past FFFF",
        "The load goes on at 0000 and overwrites the machine's own work space: it crashes.",
        "Only another copy, if this one is wrong; some titles do it on purpose.",
    ),
    Row(
        "image-long",
        _O,
        "more than the {layout} layout holds: {count:byte} at the end",
        "What mounts the image passes over them, or refuses the size.",
        "mend leaves them.",
    ),
    Row(
        "no-directory",
        _N,
        "{what}",
        "Listing the directory fails or shows garbage; raw blocks some title reads itself.",
        _NOTHING,
    ),
    Row("alias", _N, "starts at the same block as {other}", "It loads the same bytes.", _NOTHING),
    Row(
        "decoration",
        _N,
        "decorates the directory: there is nothing to load",
        "The line shows in the listing; loading it fails or finds nothing.",
        _NOTHING,
    ),
    Row(
        "own-loader",
        _N,
        "{count:block} written but of no file, the first {place}: the title probably loads "
        "such blocks itself, so its time is a lower bound and the cartridge may not help",
        "Nothing odd: the title's own code reads these blocks past the directory.",
        _NOTHING,
    ),
    Row(
        "map-strands",
        _N,
        "{count:block} marked used but of no file, the first {place}",
        "They are room lost for saving; loading is not touched.",
        "mend --free-strands frees them.",
    ),
    Row(
        "deleted-remains",
        _N,
        "a scratched file of {walked:block} is still whole at {place}",
        "The drive no longer shows it; the next save may overwrite it.",
        "mend --restore brings it back.",
    ),
    Row(
        "error-bytes",
        _N,
        "{count:block} with error bytes outside every file, the first {place}{tracks}",
        "A title that checks for them may refuse to run from a card that does not show them.",
        "Error bytes are never cleared.",
    ),
    Row(
        "tracks-extra",
        _N,
        "{count:block} written past track 35 but of no file, the first {place}",
        "The stock drive cannot reach them; a title's own code may.",
        _NOTHING,
    ),
    Row(
        "name-awkward",
        _N,
        'its name holds {characters}: hard to load by typing; use ? in its place or "*"',
        "The machine or the drive takes these characters as orders.",
        "Renaming it on the machine.",
    ),
    Row(
        "address-tight",
        _N,
        "loads to {load}–{end}, {why}",
        "It loads, but a cartridge that uses the same memory may be in the way.",
        _NOTHING,
    ),
    Row(
        "record-index",
        _N,
        "a desktop's indexed file: its first block names {count:record chain}",
        "Only the desktop program can load it whole; a load by name gives its index block.",
        _NOTHING,
    ),
    Row(
        "partition",
        _N,
        "a partition of {stated:block} from {place}; its inside is not looked at",
        "The drive enters it with its own command.",
        _NOTHING,
    ),
)


class Count(int):
    """A number that a sentence counts with: `{count:block}` is 1 block or 2 blocks."""

    def __format__(self, unit: str) -> str:
        number = f"{int(self):,}"
        return f"{number} {unit}{'' if self == 1 else 's'}" if unit else number


def finding(
    code: str, slot: int | None = None, place: Place | None = None, **values: Any
) -> Finding:
    """A finding of the table with its sentence filled in. Raises KeyError on an unknown code."""
    row = TABLE[code]
    severity: Severity = values.pop("severity", row.severity)
    counts = {name: Count(value) for name, value in values.items() if isinstance(value, Integral)}
    says = row.says.format(place=place, **values | counts)
    return Finding(code, severity, says, slot, place)


def verdict_of(findings: list[Finding]) -> Verdict:
    """What findings come to: the worst severity counts."""
    severities = {item.severity for item in findings}
    if Severity.DAMAGE in severities:
        return Verdict.DAMAGED
    return Verdict.QUIRKY if Severity.ODDITY in severities else Verdict.SOUND
