"""A card that dies, fills up or stops answering at one chosen call."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from typing import Any

from loadglass.card.device import Device, Room

CHANGING = (
    "make_folder",
    "create",
    "write",
    "flush",
    "close",
    "date",
    "rename",
    "replace",
    "remove",
    "remove_folder",
    "flush_folder",
    "flush_all",
)
"""Every call of Device that changes the card or waits for it."""
LOOKING = ("still_there", "names", "digest", "read", "status", "is_file")
TRIVIAL_ROOM = Room(1 << 30, 4096)


class Killed(BaseException):
    """The process ends here: nothing that it still meant to do is done."""


class FaultyDevice(Device):
    """Counts the calls that change the card, and lets something happen at one of them.

    A write counts twice: before it, and when the first half of the bytes is there. Nothing is
    really flushed: what a killed process leaves is what the system has, flushed or not.
    """

    def __init__(
        self,
        dest: str,
        happens: Callable[[str], None] | None = None,
        at: int | None = None,
        also: tuple[str, ...] = (),
    ) -> None:
        super().__init__(dest)
        self.trace: list[tuple[str, str]] = []
        """The calls so far and what they were about."""
        self._happens = happens
        self._at = at
        for name in (*CHANGING, *also):
            setattr(self, name, self._counted(name, getattr(self, name)))

    def room(self) -> Room:
        return TRIVIAL_ROOM

    def _counted(self, name: str, call: Callable[..., Any]) -> Callable[..., Any]:
        def counted(*arguments: Any) -> Any:
            self._point(name, str(arguments[0]) if arguments else "")
            if name == "write":
                descriptor, data = arguments
                call(descriptor, data[: len(data) // 2])
                self._point("half a write", str(descriptor))
                return call(descriptor, data[len(data) // 2 :])
            if name in ("flush_folder", "flush_all"):
                return self.still_there()
            if name == "flush":
                return None
            return call(*arguments)

        return counted

    def _point(self, name: str, about: str) -> None:
        self.trace.append((name, about))
        if self._happens is not None and len(self.trace) - 1 == self._at:
            self._happens(name)


def kill(_call: str) -> None:
    raise Killed


def exit_at_once(_call: str) -> None:
    """As kill -9 does: no `finally` runs."""
    os._exit(9)


def failing(number: int) -> Callable[[str], None]:
    def fail(_call: str) -> None:
        raise OSError(number, os.strerror(number))

    return fail


class StaysBroken:
    """From one point on every call fails: a full card, or one that has turned read-only."""

    def __init__(self, number: int) -> None:
        self._number = number

    def device(self, dest: str, at: int) -> FaultyDevice:
        device = FaultyDevice(dest)

        def point(name: str, about: str) -> None:
            device.trace.append((name, about))
            if len(device.trace) > at and name in self._refused:
                raise OSError(self._number, os.strerror(self._number))

        device._point = point  # type: ignore[method-assign]
        return device

    @property
    def _refused(self) -> tuple[str, ...]:
        if self._number == errno.ENOSPC:  # a full card can still be tidied up
            return ("make_folder", "create", "write", "half a write")
        return (*(name for name in CHANGING if name != "close"), "half a write")
