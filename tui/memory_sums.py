"""Sums to compare with what the machine adds up in its memory, in words."""

from __future__ import annotations

from loadglass.bench.memory_check import MemoryCheck


def sums_lines(check: MemoryCheck) -> list[str]:
    """What to type, what it should print, what to mind; empty lines between."""
    lines = []
    for each in check.sums:
        lines += [
            f"{each.first:04X}–{each.last:04X}: type",
            f"  {each.line}",
            f"after about {duration(each.takes_s)} it should print {each.total}",
        ]
        if each.caution:
            lines.append(f"caution: {each.caution}")
        lines.append("")
    return [*lines, *check.notes, f"the sum of all its bytes in memory is {check.total}"]


def compared(check: MemoryCheck, printed: int) -> str:
    """What it means that the machine printed this."""
    same = [each for each in check.sums if each.total == printed]
    if same:
        where = " and ".join(f"{each.first:04X}–{each.last:04X}" for each in same)
        return f"the same: what lies at {where} is, by its sum, what is on the disk"
    return (
        f"{printed} is none of these sums: what lies there is not what is on the disk, or the "
        "line was typed otherwise, or the title has run since"
    )


def duration(seconds: float) -> str:
    """`35 s`, `3 min 24 s`."""
    minutes, rest = divmod(max(round(seconds), 1), 60)
    return f"{minutes} min {rest} s" if minutes else f"{rest} s"
