"""What goes wrong with disks, done on purpose to the bytes of an image.

Each function takes an image's bytes and gives new ones. Files go by name, the first of that name.
"""

from collections.abc import Sequence

from formats.blockmap import MAP_OFFSET, read_map, write_map
from formats.chains import follow
from formats.compose import CLOSED, NewFile
from formats.directory import ENTRIES_IN_SECTOR, ENTRY_BYTES, Entry, read_directory
from formats.geometry import BLOCK_BYTES
from formats.image import GOOD, DiskImage
from sample_images.placing import add_file

TYPE_AT = 0x02
LENGTH_AT = 0x1E
MAP_ENTRY_BYTES = 4


def loop_chain(data: bytes, name: bytes, position: int) -> bytes:
    """The file's last block links back to the one at a position of its own chain."""
    image, chain = _chain(data, name)
    return _patched(data, chain[-1] * BLOCK_BYTES, bytes(image.geometry.place(chain[position])))


def save_over(data: bytes, victim: bytes, kept_blocks: int, file: NewFile) -> bytes:
    """Another file is saved where a wrong map calls all but the victim's first blocks free."""
    _, chain = _chain(data, victim)
    return add_file(_mark(data, chain[kept_blocks:], free=True), file)


def interrupt_save(data: bytes, name: bytes) -> bytes:
    """The power fails before the file is closed: the entry has no length, the map no blocks."""
    _, chain = _chain(data, name)
    at, entry = _entry(data, name)
    data = _patched(data, at + TYPE_AT, bytes([entry.type_byte & ~CLOSED]))
    return _mark(_patched(data, at + LENGTH_AT, bytes(2)), chain, free=True)


def miscount(data: bytes, track: int, free_blocks: int) -> bytes:
    """The map's free count of a track no longer agrees with its bits."""
    header = DiskImage.from_bytes(data).geometry.header_block
    at = header * BLOCK_BYTES + MAP_OFFSET + MAP_ENTRY_BYTES * (track - 1)
    return _patched(data, at, bytes([free_blocks]))


def fail_read(data: bytes, name: bytes, position: int, error_byte: int) -> bytes:
    """The image gets error bytes: that of the block at a position of a file, all others good."""
    image, chain = _chain(data, name)
    errors = bytearray([GOOD]) * image.geometry.blocks
    errors[chain[position]] = error_byte
    return data + errors


def scratch(data: bytes, name: bytes) -> bytes:
    """Scratch a file as the drive does: its type becomes 00 and its blocks free."""
    _, chain = _chain(data, name)
    at, _ = _entry(data, name)
    return _mark(_patched(data, at + TYPE_AT, bytes(1)), chain, free=True)


def _entry(data: bytes, name: bytes) -> tuple[int, Entry]:
    """A file's entry and where in the image it stands."""
    directory = read_directory(DiskImage.from_bytes(data))
    entry = next(entry for entry in directory.entries if entry.name == name)
    sector, place = divmod(entry.slot, ENTRIES_IN_SECTOR)
    return directory.blocks[sector] * BLOCK_BYTES + place * ENTRY_BYTES, entry


def _chain(data: bytes, name: bytes) -> tuple[DiskImage, Sequence[int]]:
    image = DiskImage.from_bytes(data)
    _, entry = _entry(data, name)
    return image, follow(image, image.geometry.index(*entry.start), entry.blocks).blocks


def _mark(data: bytes, blocks: Sequence[int], free: bool) -> bytes:
    image = DiskImage.from_bytes(data)
    sectors, marks = bytearray(data), read_map(image).free.copy()
    marks[blocks] = free
    write_map(image.geometry, sectors, marks)
    return bytes(sectors)


def _patched(data: bytes, at: int, new: bytes) -> bytes:
    return data[:at] + new + data[at + len(new) :]
