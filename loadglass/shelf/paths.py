"""Paths of images, put together from what the index keeps as bytes."""

from __future__ import annotations

import os

from loadglass.sources import Source


def image_source(folder: bytes, name: bytes, member: bytes) -> Source:
    """The source of an image; `member` is empty where the file itself is the image."""
    file = os.fsdecode(os.path.join(folder, name))
    if not member:
        return Source(file, file)
    inside = member_text(member)
    return Source(f"{file}/{inside}", file, inside)


def member_bytes(member: str) -> bytes:
    """A name inside an archive as the index keeps it; such a name may hold any character."""
    return member.encode("utf-8", "surrogatepass")


def member_text(member: bytes) -> str:
    return member.decode("utf-8", "surrogatepass")
