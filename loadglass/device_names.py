"""Names that are no files: some operating systems take them for a device, whatever their ending."""

from __future__ import annotations

_DEVICES = frozenset(
    [
        *("CON", "PRN", "AUX", "NUL", "CONIN$", "CONOUT$", "CLOCK$"),
        *(f"{port}{number}" for port in ("COM", "LPT") for number in range(10)),
    ]
)


def is_device_name(name: str) -> bool:
    """Whether a file's name, in letters of either case, means a device somewhere."""
    return name.partition(".")[0].rstrip().upper() in _DEVICES
