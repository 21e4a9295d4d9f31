"""What the shelf shows of an image, and where such rows come from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from formats.findings import Verdict


@dataclass(frozen=True, slots=True)
class ShelfRow:
    """One image on the shelf. All texts are harmless for a terminal, but not for markup."""

    id: int
    """Of the image in its index; stays the same while the image stays."""
    path: str
    """As opened again: `source_of(path)`; may hold any bytes a file name can."""
    file_name: str
    title: str
    verdict: Verdict
    kind: str
    tracks: int
    files: int
    blocks: int
    """Blocks of all its files together."""
    sha256: str
    start_s: Mapping[str, float | None]
    """By rig: seconds of the first loadable program; None where there is none."""
    all_s: Mapping[str, float | None]
    """By rig: seconds of every loadable program in a row."""
    gone: bool = False
    off: bool = False
    """The user took it off the shelf."""
    rating: int | None = None
    tags: tuple[str, ...] = ()
    picked: bool = False
    programs: int = 0
    """Files that load whole as programs."""
    why: str = ""
    """Nothing can be loaded from it: the sentence of an unreadable image, or a few words."""
    own_loader: bool = False
    """Blocks that no file owns hold code of its own: what that loads is not in the times."""

    def is_bound(self, load: str) -> bool:
        """Whether times of `start` or `all` are lower bounds; what is damaged is not in them."""
        return self.own_loader or (load == "all" and self.verdict is Verdict.DAMAGED)

    @property
    def shown_title(self) -> str:
        return shown_title(self.title, self.file_name)


def shown_title(title: str, file_name: str) -> str:
    """A disk's title; where it has none the name of its file, in brackets."""
    return title if title.strip() else f"({file_name})"


class ShelfView(Protocol):
    """Rows by page: what a table on screen needs, from an index of any size."""

    def count(self, filter_text: str) -> int:
        """Rows that the filter lets through. Raises FilterError, pointing at the place."""

    def page(
        self, filter_text: str, sort: str, descending: bool, offset: int, limit: int
    ) -> Sequence[ShelfRow]:
        """Rows offset to offset + limit in that order. Raises FilterError.

        sort: one of `title file files blocks verdict rating` or `start:RIG`, `all:RIG`,
        `saved:RIG` (seconds that RIG saves against the stock loader on the same drive, all
        programs in a row).
        """
