"""The records on the disk, as construct declarations and nothing else.

Offsets as in drive manuals and programmer's references of the 1980s, from memory.
Every declaration parses and builds; the modules beside this one give them meaning.
"""

from construct import Byte, Bytes, Const, Int16ul, Struct

Link = Bytes(2)
"""Track and sector: the first two bytes of a block, and wherever a record names another block."""

Entry = Struct(
    "link" / Link,  # in the first entry of a sector only
    "type" / Byte,
    "start" / Link,
    "name" / Bytes(16),
    "side" / Link,  # REL: first side sector; desktop files: the info block
    "record_length" / Byte,  # REL; desktop files: the structure (1: an index of records)
    "unused" / Bytes(4),
    "replacement" / Link,  # start of the new version while it is being replaced
    "blocks" / Int16ul,
)
"""One of the eight entries of a directory sector: 32 bytes."""

Header = Struct(
    "directory" / Link,
    "format_mark" / Byte,
    "double_sided" / Byte,
    "map" / Bytes(35 * 4),  # a track: free count, 3 bytes of bits, lowest bit = sector 0, 1 = free
    "title" / Bytes(16),
    "pad_title" / Bytes(2),
    "disk_id" / Bytes(2),
    "pad_id" / Bytes(1),
    "format_name" / Bytes(2),
    "pad_format" / Bytes(4),
    "unused" / Bytes(0xDD - 0xAB),
    "second_side_counts" / Bytes(35),  # double-sided only: free counts of tracks 36-70
)
"""The header and map sector of the zoned layouts, 18/0."""

SecondSideMap = Struct("bits" / Bytes(35 * 3), "unused" / Bytes(256 - 35 * 3))
"""53/0 of a double-sided disk: three bytes of bits for each of tracks 36-70."""

Header80 = Struct(
    "directory" / Link,
    "format_mark" / Byte,
    "zero" / Byte,
    "title" / Bytes(16),
    "pad_title" / Bytes(2),
    "disk_id" / Bytes(2),
    "pad_id" / Bytes(1),
    "format_name" / Bytes(2),
    "pad_format" / Bytes(2),
    "unused" / Bytes(256 - 0x1D),
)
"""The header of the 80-track layout, 40/0."""

Map80 = Struct(
    "link" / Link,
    "format_mark" / Byte,
    "format_complement" / Byte,
    "disk_id" / Bytes(2),
    "io_byte" / Byte,
    "auto_start" / Byte,
    "unused" / Bytes(8),
    "map" / Bytes(40 * 6),  # a track: free count, 5 bytes of bits
)
"""40/1 (tracks 1-40) and 40/2 (tracks 41-80) of the 80-track layout."""

SideSector = Struct(
    "link" / Link,
    "number" / Byte,
    "record_length" / Byte,
    "side_sectors" / Bytes(6 * 2),
    "data_blocks" / Bytes(120 * 2),
)
"""One of the up to six side sectors of a REL file; places as pairs of track and sector."""

SuperSideSector = Struct(
    "link" / Link,
    "mark" / Const(0xFE, Byte),
    "groups" / Bytes(126 * 2),
    "unused" / Bytes(1),
)
"""80-track: names the first side sector of each group of six."""

RecordIndex = Struct("link" / Link, "records" / Bytes(127 * 2))
"""First block of a desktop's indexed file: 00/00 none, 00/FF deleted."""
