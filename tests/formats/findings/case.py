"""A small image and all that an audit finds in it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from formats.audit import Audit
from formats.files import Role
from formats.findings import TABLE, Finding
from tests.formats.builders import Disk

CASES: list[Case] = []


@dataclass(frozen=True)
class Case:
    code: str
    """The finding that it shows, or a word for what must be found harmless."""
    build: Callable[[], Disk]
    findings: tuple[str, ...]
    """Each as code, slot and place, `-` where it has none: `chain-loop 0 17/0`."""
    files: str
    """The verdict of each entry in slot order, with its role unless that is a file."""
    verdict: str
    says: str

    def __str__(self) -> str:
        return f"{self.code}: {self.build.__name__}"


def case(
    code: str, *findings: str, verdict: str, files: str = "", says: str = ""
) -> Callable[[Callable[[], Disk]], Callable[[], Disk]]:
    """Register an image: what it shows, all findings in order, verdicts, the first sentence."""

    def register(build: Callable[[], Disk]) -> Callable[[], Disk]:
        CASES.append(Case(code, build, findings, files, verdict, says))
        return build

    return register


def in_words(item: Finding) -> str:
    slot = "-" if item.slot is None else str(item.slot)
    words = f"{item.code} {slot} {item.place or '-'}"
    return words if item.severity is TABLE[item.code].severity else f"{words} {item.severity}"


def files_in_words(judged: Audit) -> str:
    roles = {Role.FILE: "", Role.ALIAS: "alias-", Role.PARTITION: "partition-"}
    return " ".join(
        "decoration" if file.role is Role.DECORATION else roles[file.role] + file.verdict
        for file in judged.files
    )
