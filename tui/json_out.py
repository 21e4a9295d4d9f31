"""JSON on standard output: ASCII, one object a line, keys never renamed."""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from formats.petscii import to_text

if TYPE_CHECKING:  # a command that audits or clocks nothing loads neither
    from formats.audit import Audit, FileAudit
    from formats.findings import Finding
    from loadglass.timing.estimate import Estimate, Times

SECONDS_DIGITS = 6


def emit(record: Mapping[str, Any]) -> None:
    """Print one object on one line."""
    sys.stdout.write(json.dumps(record, ensure_ascii=True, allow_nan=False) + "\n")


def seconds(value: float) -> float:
    return round(value, SECONDS_DIGITS)


def finding(item: Finding, audit: Audit) -> dict[str, Any]:
    file = audit.by_slot.get(item.slot) if item.slot is not None else None
    return {
        "code": item.code,
        "severity": item.severity.value,
        "slot": item.slot,
        "file": file.entry.text if file else None,
        "track": item.place.track if item.place else None,
        "sector": item.place.sector if item.place else None,
        "says": item.says,
    }


def times(estimates: Times | None) -> dict[str, Any] | None:
    """By rig; None for a file that cannot be read whole."""
    if estimates is None:
        return None
    return {rig: range_of(estimate) for rig, estimate in estimates.items()}


def staged_times(estimates: Times | None) -> dict[str, Any] | None:
    """As times, with the stages."""
    if estimates is None:
        return None
    return {
        rig: None
        if estimate is None
        else {
            **(range_of(estimate) or {}),
            "stages": {stage: seconds(value) for stage, value in estimate.stages.items()},
        }
        for rig, estimate in estimates.items()
    }


def totals(estimates: Times) -> dict[str, float | None]:
    """Seconds alone by rig."""
    return {rig: seconds(e.seconds) if e else None for rig, e in estimates.items()}


def range_of(estimate: Estimate | None) -> dict[str, float] | None:
    """Seconds with their range; None on a rig that does not mount the image."""
    if estimate is None:
        return None
    return {
        "seconds": seconds(estimate.seconds),
        "low": seconds(estimate.low),
        "high": seconds(estimate.high),
    }


def file(item: FileAudit, estimates: Times | None) -> dict[str, Any]:
    entry = item.entry
    return {
        "slot": entry.slot,
        "name": entry.text,
        "name_hex": entry.name.hex(),
        "type": entry.kind,
        "closed": entry.closed,
        "locked": entry.locked,
        "blocks": entry.blocks,
        "blocks_walked": item.walked_blocks,
        "bytes": item.size_bytes,
        "track": entry.start.track,
        "sector": entry.start.sector,
        "load_address": item.load_address,
        "verdict": item.verdict.value,
        "times": times(estimates),
    }


def title(audit: Audit) -> dict[str, str]:
    directory = audit.directory
    return {"title": to_text(directory.title), "id": to_text(directory.disk_id)}
