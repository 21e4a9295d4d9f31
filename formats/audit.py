"""audit(image) -> Audit: every file walked and judged, every block's owner, the verdict."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property

from formats.blockmap import BlockMap
from formats.chains import Chain
from formats.directory import PRG, Directory, Entry
from formats.files import FileFacts, Role
from formats.findings import Finding, Severity, Verdict, verdict_of
from formats.image import DiskImage
from formats.programs import load_address
from formats.rules import chains, content, directory, map, records
from formats.rules.facts import Facts, gather

RULES: tuple[Callable[[Facts], Iterable[Finding]], ...] = (
    directory.check,
    chains.check,
    records.check,
    content.check,
    map.check,
)


@dataclass(frozen=True)
class FileAudit:
    """One directory entry, walked and judged."""

    facts: FileFacts
    findings: tuple[Finding, ...]
    """Those about it, the worst first."""
    verdict: Verdict
    whole: bool
    """Can be read whole by name; never True of a decoration or a partition."""
    image: DiskImage

    @property
    def entry(self) -> Entry:
        return self.facts.entry

    @property
    def chain(self) -> Chain:
        return self.facts.chain

    @property
    def role(self) -> Role:
        return self.facts.role

    @property
    def walked_blocks(self) -> int:
        return self.facts.walked_blocks

    @cached_property
    def load_address(self) -> int | None:
        """Of a program with at least one block that can be read; otherwise None."""
        if self.entry.type_code != PRG or not self.chain.blocks or self.chain.size_bytes < 2:
            return None
        return load_address(self.image.block(self.chain.blocks[0])[2:4])

    @property
    def size_bytes(self) -> int:
        """Bytes that can be read, the load address included."""
        return self.chain.size_bytes if self.chain.blocks else 0

    @property
    def loadable(self) -> bool:
        """A program that loads whole by name."""
        return self.whole and self.entry.type_code == PRG and bool(self.chain.blocks)


@dataclass(frozen=True)
class Audit:
    image: DiskImage
    directory: Directory
    block_map: BlockMap
    has_directory: bool
    files: tuple[FileAudit, ...]
    """One for each entry in use, in slot order."""
    findings: tuple[Finding, ...]
    """All of them: the worst first, then by slot."""
    verdict: Verdict
    owner: list[int]
    """Of each block the slot of the file that owns it, or -1."""

    @cached_property
    def by_slot(self) -> dict[int, FileAudit]:
        return {file.entry.slot: file for file in self.files}

    @property
    def first_program(self) -> FileAudit | None:
        """What the machine loads first: the first program that can be read whole."""
        return next((file for file in self.files if file.loadable), None)

    @property
    def nothing_to_load(self) -> str:
        """Why there is no file to load from it, in words; empty where there is one."""
        if any(file.role is not Role.DECORATION for file in self.files):
            return ""
        if self.has_directory:
            return "no file in its directory"
        if self.image.blank.all():
            return "blank image, never written"
        return "raw blocks, no directory"


_ORDER = {severity: rank for rank, severity in enumerate(Severity)}


def audit(image: DiskImage) -> Audit:
    """Walk and judge an image. Raises nothing: whatever the bytes, there is an answer."""
    facts = gather(image)
    found = [finding for check in RULES for finding in check(facts)]
    found.sort(key=lambda item: (_ORDER[item.severity], -1 if item.slot is None else item.slot))
    by_slot: dict[int | None, list[Finding]] = defaultdict(list)
    for item in found:
        by_slot[item.slot].append(item)
    files: dict[int, FileAudit] = {}
    for file in facts.files:
        own = by_slot[file.entry.slot]
        original = files[file.alias_of] if file.alias_of is not None else None
        verdict = verdict_of(own)
        whole = file.chain.ended and file.role in (Role.FILE, Role.ALIAS)
        whole = whole and verdict is not Verdict.DAMAGED
        if original:  # the same blocks: as good as the file that it is an alias of
            verdict, whole = original.verdict, original.whole
        files[file.entry.slot] = FileAudit(file, tuple(own), verdict, whole, image)
    return Audit(
        image=image,
        directory=facts.directory,
        block_map=facts.block_map,
        has_directory=facts.has_directory,
        files=tuple(files.values()),
        findings=tuple(found),
        verdict=verdict_of(found),
        owner=facts.owner,
    )
