"""The bench log: the user's own readings, one JSON record a line, only ever added to.

A reading is on the disk before `add` returns. Whatever moment the machine stops at, the lines
before stay; a last line that was cut short is put into a file beside the log, and said so.
"""

from __future__ import annotations

import hashlib
import json
import os
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from formats.errors import LoadglassError
from formats.visible import visible
from loadglass.bench.reading import BadReading, Reading, now
from loadglass.bench.record import from_record, to_record
from loadglass.home import make_folder
from loadglass.whole_files import sync_folder

try:
    import fcntl
except ImportError:  # an operating system without it: one writer at a time is up to the user
    fcntl = None  # type: ignore[assignment]

READING, REMOVED = "reading", "removed"
PATIENCE_S = 10.0
HIGHEST_COUNTED_ID = 10**12
"""A higher one is a slip of somebody's pen: numbers go on from the others."""


class LogError(LoadglassError):
    """The bench log cannot be read or written, or has no such reading."""


@dataclass
class LogContents:
    """What a log holds."""

    readings: dict[int, Reading] = field(default_factory=dict)
    """By id, in the order in which they were added; without the removed ones."""
    problems: list[str] = field(default_factory=list)
    """One sentence for each line that could not be taken."""
    last_id: int = 0
    """The highest id ever given, removed readings' too."""


@dataclass(frozen=True)
class BenchLog:
    """The log in that file; nothing is made on disk before the first reading is added."""

    path: Path

    def read(self) -> LogContents:
        """All readings there are. Raises LogError if the file cannot be read."""
        if not self.path.exists():
            return LogContents()
        with self._held(writable=os.access(self.path, os.W_OK)) as held:
            return held.contents

    def add(self, readings: Sequence[Reading]) -> list[Reading]:
        """Add readings, all in one piece; returns them with their ids once they are on the disk.

        Raises LogError, and then none of them is in the log.
        """
        with self._held() as held:
            ids = range(held.contents.last_id + 1, held.contents.last_id + 1 + len(readings))
            added = [replace(reading, id=id_) for id_, reading in zip(ids, readings, strict=True)]
            held.append([{"record": READING, **to_record(reading)} for reading in added])
            return added

    def remove(self, id_: int) -> Reading:
        """Note that a reading counts no more; its line stays. Raises LogError if there is none."""
        with self._held() as held:
            if id_ not in held.contents.readings:
                raise LogError(
                    f"there is no reading {id_} in the bench log: `loadglass bench list` shows them"
                )
            held.append([{"record": REMOVED, "id": id_, "when": now()}])
            return held.contents.readings[id_]

    @contextmanager
    def _held(self, writable: bool = True) -> Iterator[_Held]:
        """The log open and read, and for this process alone as long as it is."""
        make_folder(self.path.parent)
        try:
            is_new = not self.path.exists()
            flags = os.O_RDWR | os.O_APPEND | os.O_CREAT if writable else os.O_RDONLY
            descriptor = os.open(self.path, flags | getattr(os, "O_BINARY", 0), 0o644)
        except OSError as error:
            raise self._cannot("open", error) from error
        try:
            self._lock(descriptor)
            if is_new:
                sync_folder(self.path.parent)
            held = _Held(self, descriptor)
            held.read()
            yield held
        except OSError as error:
            raise self._cannot("use", error) from error
        finally:
            os.close(descriptor)  # lets go of the lock, too

    def _lock(self, descriptor: int) -> None:
        if fcntl is None:
            return
        give_up = time.monotonic() + PATIENCE_S
        while True:
            try:
                fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
                return
            except BlockingIOError:
                if time.monotonic() > give_up:
                    raise LogError(
                        f"another loadglass has been writing to {visible(str(self.path))} for "
                        f"{PATIENCE_S:.0f} s: end it and try again"
                    ) from None
                time.sleep(0.02)

    def _cannot(self, verb: str, error: OSError) -> LogError:
        return LogError(
            f"cannot {verb} the bench log {visible(str(self.path))}: {error.strerror or error}"
        )


class _Held:
    """The open and locked log."""

    def __init__(self, log: BenchLog, descriptor: int) -> None:
        self.path = log.path
        self.contents = LogContents()
        self._descriptor = descriptor
        self._unended = b""

    def read(self) -> None:
        data = _read_all(self._descriptor)
        *lines, tail = data.split(b"\n")
        if _is_record(tail):  # only its line end is missing
            lines.append(tail)
            self._unended = tail
        for number, line in enumerate(lines, start=1):
            if line.strip():
                self._take(number, line)
        if tail and not self._unended:
            self._set_aside(tail, len(data) - len(tail))

    def append(self, records: Sequence[dict[str, Any]]) -> None:
        """On the disk when this returns, or nothing of it in the log."""
        if self._unended:
            self._write(b"\n", os.fstat(self._descriptor).st_size)
        lines = "".join(json.dumps(record) + "\n" for record in records)
        self._write(lines.encode("ascii"), os.fstat(self._descriptor).st_size)

    def _write(self, data: bytes, size_before: int) -> None:
        try:
            left = memoryview(data)
            while left:
                left = left[os.write(self._descriptor, left) :]
            os.fsync(self._descriptor)
        except OSError:
            with suppress(OSError):
                os.ftruncate(self._descriptor, size_before)
            raise

    def _take(self, number: int, line: bytes) -> None:
        try:
            self._take_record(_parse(line))
        except BadReading as why:
            self.contents.problems.append(
                f"line {number} of {visible(str(self.path))} is passed over ({why}); "
                "all other lines are read"
            )

    def _take_record(self, record: dict[str, Any]) -> None:
        contents = self.contents
        id_ = record.get("id")
        kind = record.pop("record", None)
        if kind == READING:
            if type(id_) is int and id_ <= HIGHEST_COUNTED_ID:
                contents.last_id = max(contents.last_id, id_)
            reading = from_record(record)
            if reading.id in contents.readings:
                raise BadReading(f"there is a reading {reading.id} before it")
            contents.readings[reading.id] = reading
        elif kind == REMOVED:
            if type(id_) is not int or id_ not in contents.readings:
                raise BadReading(
                    f"there is no reading {visible(str(id_))[:40]} that it could remove"
                )
            del contents.readings[id_]
        else:
            raise BadReading("it is no record that this loadglass knows")

    def _set_aside(self, tail: bytes, size_before: int) -> None:
        """Put a last line that was cut short into a file of its own, then take it off the log."""
        cut = f"the last line of {visible(str(self.path))} was cut short, probably by a crash"
        name = f"{self.path.stem}.torn-{hashlib.sha256(tail).hexdigest()[:8]}"
        try:
            with open(self.path.with_name(name), "wb") as file:
                file.write(tail)
                file.flush()
                os.fsync(file.fileno())
            sync_folder(self.path.parent)
            os.ftruncate(self._descriptor, size_before)
            os.fsync(self._descriptor)
        except OSError as error:
            self._unended = tail
            self.contents.problems.append(
                f"{cut}, and cannot be set aside ({error.strerror}); all other lines are read"
            )
        else:
            self.contents.problems.append(
                f"{cut}: its {len(tail)} bytes are now in {visible(name)} beside it, and all other "
                "lines are read"
            )


def _parse(line: bytes) -> dict[str, Any]:
    """A record of the log. Raises BadReading."""
    try:
        record = json.loads(line)
    except (ValueError, RecursionError):
        raise BadReading("it is no JSON") from None
    if not isinstance(record, dict):
        raise BadReading("it is no record")
    return record


def _is_record(line: bytes) -> bool:
    try:
        return _parse(line).get("record") in (READING, REMOVED)
    except BadReading:
        return False


def _read_all(descriptor: int) -> bytes:
    os.lseek(descriptor, 0, os.SEEK_SET)
    parts = []
    while part := os.read(descriptor, 1 << 20):
        parts.append(part)
    return b"".join(parts)
