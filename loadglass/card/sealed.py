"""JSON records with a checksum in them: what a torn or changed one says is never believed."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

MARK = b'{"loadglass": "'
"""Every record of ours begins so."""


def seal(kind: str, body: Mapping[str, Any], *, indent: int | None = None) -> bytes:
    """A record as ASCII JSON, its kind and checksum first, with a line's end behind it."""
    record = {"loadglass": kind, "sum": _sum(kind, body), **body}
    text = json.dumps(record, ensure_ascii=True, indent=indent)
    return b'{"' + text.encode("ascii").lstrip(b'{\n "') + b"\n"


def unseal(kind: str, data: bytes) -> dict[str, Any] | None:
    """What a record holds; None if it is not of that kind, or not whole."""
    try:
        record = json.loads(data)
    except (ValueError, RecursionError):
        return None
    if not isinstance(record, dict) or record.pop("loadglass", None) != kind:
        return None
    return record if record.pop("sum", None) == _sum(kind, record) else None


def is_ours(data: bytes) -> bool:
    """Whether a record, whole or cut short anywhere, can only be one of ours."""
    return data.startswith(MARK) or MARK.startswith(data)


def _sum(kind: str, body: Mapping[str, Any]) -> str:
    text = json.dumps({"loadglass": kind, **body}, ensure_ascii=True, sort_keys=True)
    return hashlib.sha256(text.encode("ascii")).hexdigest()
