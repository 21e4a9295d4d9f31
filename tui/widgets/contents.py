"""What a file or a block holds, made ready for showing: listing, bytes, text."""

from __future__ import annotations

from dataclasses import dataclass

from formats import programs
from formats.audit import FileAudit
from formats.chains import read_bytes
from formats.directory import PRG
from formats.geometry import BLOCK_BYTES, DATA_BYTES
from formats.image import DiskImage
from loadglass.opened import Opened
from tui.widgets.lettering import Lettering
from tui.wording import count_text

LISTING, BYTES, TEXT, BLOCK = "listing", "bytes", "text", "block"
HEXADECIMAL = frozenset({BYTES, BLOCK})
"""Forms whose lines are made when they show."""
RETURN = 0x0D
"""The machine's end of a line."""


@dataclass(frozen=True)
class Contents:
    """One thing to look into."""

    title: str
    about: str
    """One sentence on what it is."""
    forms: dict[str, list[str] | None]
    """Lines of each form by name; None of those in HEXADECIMAL."""
    data: bytes = b""
    address: int = 0
    """Of the first byte: in the machine's memory, or in the file or block."""
    digits: int = 4
    """Of an address."""


def file_contents(opened: Opened, file: FileAudit, lettering: Lettering) -> Contents:
    """Listing, bytes and text of a file, as far as it can be read."""
    data = read_bytes(opened.image, file.chain)
    title = f'"{lettering.text(file.entry.name)}"'
    if not file.chain.blocks:
        return Contents(title, "there is nothing to read", {})
    is_program = file.entry.type_code == PRG and len(data) > 2
    about = programs.describe(data) if is_program else "data"
    about += f" · {count_text(len(data), 'byte')}"
    if not file.whole:
        about += f" · only {count_text(len(file.chain.blocks), 'block')} can be read"
    start = programs.load_address(data) if is_program else None
    body = data if start is None else data[2:]
    forms: dict[str, list[str] | None] = {}
    if is_program and programs.is_basic(data):
        lines = programs.basic_listing(data, lettering.charset)
        forms[LISTING] = [lettering.drawn(str(line)) for line in lines]
    if not is_program and _reads_as_text(data):
        forms[TEXT] = text_lines(body, lettering)
    forms[BYTES] = None
    forms.setdefault(TEXT, text_lines(body, lettering))
    return Contents(title, about, forms, body, start or 0)


def block_contents(image: DiskImage, block: int, lettering: Lettering) -> Contents:
    """All 256 bytes of a block, its link first."""
    place = image.geometry.place(block)
    data = image.block(block)
    about = "never written" if image.blank[block] else "link, then the data"
    if block >= image.present_blocks:
        about = "missing from the image; shown as zeros"
    return Contents(
        f"block {place}", f"{about} · {BLOCK_BYTES} bytes", {BLOCK: None}, data, digits=2
    )


def text_lines(data: bytes, lettering: Lettering) -> list[str]:
    """The bytes as text in lines that RETURN ends."""
    lines = data.removesuffix(bytes([RETURN])).split(bytes([RETURN]))
    return [lettering.text(line) for line in lines]


def hex_row(contents: Contents, row: int, width: int, lettering: Lettering) -> tuple[str, str]:
    """A row of `width` bytes: its address; the bytes in hexadecimal and as characters."""
    part = contents.data[row * width : (row + 1) * width]
    at = (contents.address + row * width) % 0x10000
    groups = [part[i : i + 8].hex(" ").upper() for i in range(0, len(part), 8)]
    spelled = "  ".join(groups)
    full = width * 3 - 1 + (width - 1) // 8
    return f"{at:0{contents.digits}X}", f"  {spelled:<{full}}  {lettering.text(part)}"


def bytes_in_row(cells: int, digits: int = 4) -> int:
    """Bytes of a row that fit so many cells: 16, 8 or 4."""
    for width in (16, 8):
        if digits + 2 + width * 3 - 1 + (width - 1) // 8 + 2 + width <= cells:
            return width
    return 4


def _reads_as_text(data: bytes) -> bool:
    """Whether a file is mostly characters that can be typed."""
    sample = data[: 4 * DATA_BYTES]
    typed = sum(byte == RETURN or 0x20 <= byte < 0x60 or 0xC0 <= byte < 0xDB for byte in sample)
    return typed * 10 >= len(sample) * 9
