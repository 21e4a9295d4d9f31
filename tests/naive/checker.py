"""A slow and obvious second opinion on an image: which files can be read whole.

Written from the pages DESIGN ("Sizes", section 5) and FACTS (sections 1 to 5) alone, and sharing
nothing with the package `formats`, so that the two can be held against each other. The yardstick is
the stock drive: a file is whole when reading it ends properly and every block of it can be read.
"""

from dataclasses import dataclass, field

BLOCK_BYTES = 256
READ_FAILS = {0x02, 0x03, 0x04, 0x05, 0x09, 0x0B, 0x0F}
NEVER_WRITTEN = b"\x4b" + b"\x01" * 255
DEL, REL, PARTITION = 0, 4, 5
REAL_TYPES = {1, 2, 3, REL}

Place = tuple[int, int]  # track, sector


# --- what is handed back ------------------------------------------------------------------------


@dataclass
class Entry:
    """One used directory entry, and what became of reading it.

    `whole` is None for decorations and partitions, of which nobody can say that they are whole.
    `walked` are the data blocks that could be read, in chain order; a REL file's side sectors stand
    in `side_sectors`. `reasons` are damage codes.
    """

    slot: int
    type_byte: int
    start: Place
    name: bytes
    side_start: Place
    stated_blocks: int
    whole: bool | None = None
    walked: list[Place] = field(default_factory=list)
    side_sectors: list[Place] = field(default_factory=list)
    data: bytes | None = None
    reasons: set[str] = field(default_factory=set)
    ends: bool = False  # the chain came to its proper end
    decoration: bool = False
    alias: bool = False
    alias_of: int | None = None  # slot of the file it is judged by
    partition: bool = False
    type_unknown: bool = False

    @property
    def low_type(self) -> int:
        return self.type_byte & 7

    @property
    def has_stated_length(self) -> bool:
        return self.ends and len(self.walked) + len(self.side_sectors) == self.stated_blocks


@dataclass
class Verdict:
    """The judgement on one image. `directory_whole` is None where there is no directory."""

    layout: str
    has_error_bytes: bool = False
    short: bool = False
    long: bool = False
    no_directory: bool = False
    directory_whole: bool | None = False
    directory_reasons: set[str] = field(default_factory=set)
    directory_blocks: list[Place] = field(default_factory=list)
    entries: list[Entry] = field(default_factory=list)


# --- layouts and sizes --------------------------------------------------------------------------

TRACKS_OF_LAYOUT = {"35-track": 35, "40-track": 40, "42-track": 42, "70-track": 70, "80-track": 80}


def sectors_on(layout: str, track: int) -> int:
    if layout == "80-track":
        return 40
    if layout == "70-track" and track > 35:
        track -= 35
    if track <= 17:
        return 21
    if track <= 24:
        return 19
    if track <= 30:
        return 18
    return 17


def places_of(layout: str) -> list[Place]:
    """Every block of a layout, in the order in which an image holds them."""
    tracks = range(1, TRACKS_OF_LAYOUT[layout] + 1)
    return [(track, sector) for track in tracks for sector in range(sectors_on(layout, track))]


PLACES = {layout: places_of(layout) for layout in TRACKS_OF_LAYOUT}
SIZES = {
    len(places) * (BLOCK_BYTES + error_byte): (layout, bool(error_byte))
    for layout, places in PLACES.items()
    for error_byte in (0, 1)
}
END_OF_TRACK_18 = PLACES["35-track"].index((19, 0)) * BLOCK_BYTES


def layout_by_size(size: int) -> tuple[str, bool] | None:
    fitting = [known for known in SIZES if known <= size]
    if fitting:
        return SIZES[max(fitting)]
    if size > END_OF_TRACK_18:
        return "35-track", False
    return None


class Disk:
    """The blocks of an image, as a drive would hand them out."""

    def __init__(self, image: bytes, layout: str, has_error_bytes: bool) -> None:
        places = PLACES[layout]
        end_of_blocks = len(places) * BLOCK_BYTES
        self.layout = layout
        self.image = image
        self.number = {place: number for number, place in enumerate(places)}
        self.error_bytes = image[end_of_blocks : end_of_blocks + len(places)]
        if not has_error_bytes:
            self.error_bytes = bytes(len(places))

    @property
    def header(self) -> Place:
        return (40, 0) if self.layout == "80-track" else (18, 0)

    @property
    def first_directory_block(self) -> Place:
        return (40, 3) if self.layout == "80-track" else (18, 1)

    @property
    def format_mark(self) -> int:
        return 0x44 if self.layout == "80-track" else 0x41

    def exists(self, place: Place) -> bool:
        return place in self.number

    def is_missing(self, place: Place) -> bool:
        return (self.number[place] + 1) * BLOCK_BYTES > len(self.image)

    def read_fails(self, place: Place) -> bool:
        return self.error_bytes[self.number[place]] in READ_FAILS

    def can_be_read(self, place: Place) -> bool:
        return self.exists(place) and not self.is_missing(place) and not self.read_fails(place)

    def block(self, place: Place) -> bytes:
        at = self.number[place] * BLOCK_BYTES
        return self.image[at : at + BLOCK_BYTES]

    def link(self, place: Place) -> Place:
        return pair(self.block(place), 0)


def pair(data: bytes, at: int) -> Place:
    return data[at], data[at + 1]


def pairs_until_zero(data: bytes) -> list[Place]:
    found: list[Place] = []
    for at in range(0, len(data), 2):
        if data[at] == 0:
            break
        found.append(pair(data, at))
    return found


def is_one_value(block: bytes) -> bool:
    return block == block[:1] * BLOCK_BYTES


def is_blank(block: bytes) -> bool:
    return is_one_value(block) or block == NEVER_WRITTEN


# --- the directory ------------------------------------------------------------------------------


def walk_directory(disk: Disk, verdict: Verdict) -> list[bytes]:
    """The directory's blocks, up to the first that cannot be had."""
    blocks: list[bytes] = []
    here = disk.first_directory_block
    if disk.read_fails(disk.header):
        verdict.directory_reasons.add("directory-bad-block")
    while True:
        trouble = directory_trouble(disk, here, verdict.directory_blocks)
        if disk.exists(here) and here not in verdict.directory_blocks:
            verdict.directory_blocks.append(here)
        if trouble:
            verdict.directory_reasons.add(trouble)
            return blocks
        blocks.append(disk.block(here))
        here = disk.link(here)
        if here[0] == 0:
            return blocks


def directory_trouble(disk: Disk, here: Place, walked: list[Place]) -> str | None:
    if not disk.exists(here):
        return "directory-off-disk"
    if here in walked:
        return "directory-loop"
    if disk.is_missing(here):
        return "image-short"
    if disk.read_fails(here):
        return "directory-bad-block"
    if is_blank(disk.block(here)) and disk.link(here)[0] != 0:
        return "directory-off-disk"  # no link stands there, so the drive is led astray
    return None


def used_entries(directory: list[bytes]) -> list[Entry]:
    entries: list[Entry] = []
    for position, block in enumerate(directory):
        for nth in range(8):
            raw = block[nth * 32 : nth * 32 + 32]
            if raw[2] != 0:
                entries.append(entry_from(8 * position + nth, raw))
    return entries


def entry_from(slot: int, raw: bytes) -> Entry:
    return Entry(
        slot=slot,
        type_byte=raw[2],
        start=pair(raw, 3),
        name=raw[0x05:0x15],
        side_start=pair(raw, 0x15),
        stated_blocks=raw[0x1E] + 256 * raw[0x1F],
    )


def has_no_directory(disk: Disk) -> bool:
    """Neither the header block nor the first directory block is what it should be."""
    first = disk.first_directory_block
    if not disk.can_be_read(disk.header) or not disk.can_be_read(first):
        return False
    return not is_header(disk) and not is_directory_block(disk, disk.block(first))


def is_header(disk: Disk) -> bool:
    block = disk.block(disk.header)
    return block[2] == disk.format_mark or pair(block, 0) == disk.first_directory_block


def is_directory_block(disk: Disk, block: bytes) -> bool:
    """Not blank, a link that leads somewhere, and most of its used entries make sense."""
    link = pair(block, 0)
    if is_blank(block) or not (link[0] == 0 or disk.exists(link)):
        return False
    used = used_entries([block])
    sensible = [entry for entry in used if makes_sense(disk, entry)]
    return 2 * len(sensible) >= len(used)


def makes_sense(disk: Disk, entry: Entry) -> bool:
    closed_and_plain = entry.type_byte & 0b1001_1000 == 0b1000_0000
    known_type = entry.low_type in REAL_TYPES | {DEL}
    leads_somewhere = entry.start[0] == 0 or disk.exists(entry.start)
    return closed_and_plain and known_type and leads_somewhere


# --- following a chain --------------------------------------------------------------------------


@dataclass
class Walk:
    """The blocks that could be read, and the damage that ended the walk, if any."""

    places: list[Place]
    trouble: str | None


def walk_chain(disk: Disk, start: Place, owed: int, reserved: set[Place]) -> Walk:
    """Follow a file's chain; `owed` is how many blocks it should have.

    Blocks of one value are first trusted to be data: if the chain then ends properly at exactly
    `owed` blocks, that is what they are. Otherwise they are blank.
    """
    trusting = follow(disk, start, owed, reserved, trusting=True)
    if trusting.trouble is None and len(trusting.places) == owed:
        return trusting
    return follow(disk, start, owed, reserved, trusting=False)


def follow(disk: Disk, start: Place, owed: int, reserved: set[Place], *, trusting: bool) -> Walk:
    places: list[Place] = []
    seen: set[Place] = set()
    here = start
    while True:
        trouble = trouble_with_place(disk, here, seen, reserved)
        if trouble is None and len(places) < owed and holds_nothing(disk.block(here), trusting):
            trouble = "chain-blank"
        if trouble:
            return Walk(places, trouble)
        places.append(here)
        seen.add(here)
        here = disk.link(here)
        if here[0] == 0:
            return Walk(places, None)


def trouble_with_place(
    disk: Disk, here: Place, seen: set[Place], reserved: set[Place]
) -> str | None:
    if not disk.exists(here):
        return "chain-off-disk"
    if here in seen:
        return "chain-loop"
    if here in reserved:
        return "chain-in-directory"
    if disk.is_missing(here):
        return "image-short"
    if disk.read_fails(here):
        return "chain-bad-block"
    return None


def holds_nothing(block: bytes, trusting: bool) -> bool:
    """Blank; trusted blocks of one value lead on, so a block of 00s is never among them."""
    if trusting and is_one_value(block) and block[0] != 0:
        return False
    return is_blank(block)


def file_bytes(disk: Disk, places: list[Place]) -> bytes:
    full = [disk.block(place)[2:] for place in places[:-1]]
    last = disk.block(places[-1])
    index_of_last_byte = last[1]
    return b"".join(full) + last[2 : index_of_last_byte + 1]


# --- REL files ----------------------------------------------------------------------------------

SIDE_SECTORS_IN_A_GROUP = 6
PAIRS_IN_A_SIDE_SECTOR = 120


@dataclass
class SideSectors:
    places: list[Place]
    sound: bool


def walk_side_sectors(disk: Disk, entry: Entry, reserved: set[Place]) -> SideSectors:
    if disk.layout == "80-track":
        return walk_groups(disk, entry.side_start, reserved)
    return walk_group(disk, entry.side_start, (0, 0), reserved)


def walk_groups(disk: Disk, start: Place, reserved: set[Place]) -> SideSectors:
    """The 80-track layout: a super side sector names the groups of side sectors."""
    if not disk.can_be_read(start) or start in reserved or disk.block(start)[2] != 0xFE:
        return SideSectors([], sound=False)
    places = [start]
    group_starts = pairs_until_zero(disk.block(start)[3:255])
    sound = bool(group_starts)
    next_starts = [*group_starts[1:], (0, 0)]
    for group_start, next_start in zip(group_starts, next_starts, strict=False):
        group = walk_group(disk, group_start, next_start, reserved | set(places))
        places += group.places
        full_or_last = next_start[0] == 0 or len(group.places) == SIDE_SECTORS_IN_A_GROUP
        sound = sound and group.sound and full_or_last
    return SideSectors(places, sound)


def walk_group(disk: Disk, start: Place, next_start: Place, reserved: set[Place]) -> SideSectors:
    """Up to six side sectors, which number themselves and name each other."""
    places: list[Place] = []
    here = start
    while len(places) < SIDE_SECTORS_IN_A_GROUP:
        if not disk.can_be_read(here) or here in reserved or here in places:
            return SideSectors(places, sound=False)
        places.append(here)
        here = disk.link(here)
        if here[0] == 0 or here == next_start:
            break
    ended = here[0] == 0 or here == next_start
    return SideSectors(places, ended and know_each_other(disk, places))


def know_each_other(disk: Disk, places: list[Place]) -> bool:
    return all(
        disk.block(place)[2] == number and pairs_until_zero(disk.block(place)[0x04:0x10]) == places
        for number, place in enumerate(places)
    )


def agree_with_chain(disk: Disk, side_sectors: list[Place], chain: list[Place]) -> bool:
    if disk.layout == "80-track":
        side_sectors = side_sectors[1:]  # the super side sector lists no data blocks
    listed = [pairs_until_zero(disk.block(place)[0x10:]) for place in side_sectors]
    steps = range(0, len(chain), PAIRS_IN_A_SIDE_SECTOR)
    return listed == [chain[at : at + PAIRS_IN_A_SIDE_SECTOR] for at in steps]


# --- judging the files --------------------------------------------------------------------------


def read_file(disk: Disk, entry: Entry, reserved: set[Place]) -> None:
    if not disk.exists(entry.start):
        entry.reasons.add("entry-no-start")
        return
    side = SideSectors([], sound=True)
    if entry.low_type == REL:
        side = walk_side_sectors(disk, entry, reserved)
    owed = max(0, entry.stated_blocks - len(side.places))
    walk = walk_chain(disk, entry.start, owed, reserved)
    entry.walked, entry.side_sectors = walk.places, side.places
    entry.ends = walk.trouble is None
    if walk.trouble:
        entry.reasons.add(walk.trouble)
    if entry.low_type == REL and not side_sectors_hold(disk, entry, side):
        entry.reasons.add("side-sector-broken")


def side_sectors_hold(disk: Disk, entry: Entry, side: SideSectors) -> bool:
    if not side.sound or set(side.places) & set(entry.walked):
        return False
    return not entry.ends or agree_with_chain(disk, side.places, entry.walked)


def is_decoration(disk: Disk, entry: Entry, reserved: set[Place]) -> bool:
    """All of the definition but the entries of no real type: those may turn out to be files."""
    if entry.low_type == DEL:
        return True
    nowhere = not disk.exists(entry.start) or entry.start in reserved
    return entry.stated_blocks == 0 and nowhere


def judge_entries(disk: Disk, entries: list[Entry], reserved: set[Place]) -> None:
    starts: set[Place] = set()
    files: dict[Place, Entry] = {}  # the first file that starts there
    judged: list[Entry] = []
    for entry in entries:
        entry.alias = entry.start in starts
        if disk.exists(entry.start):
            starts.add(entry.start)
        entry.decoration = is_decoration(disk, entry, reserved)
        entry.partition = disk.layout == "80-track" and entry.low_type == PARTITION
        if entry.decoration or entry.partition:
            continue
        entry.type_unknown = entry.low_type not in REAL_TYPES
        first = files.get(entry.start)
        if first is None:
            read_file(disk, entry, reserved)
        if entry.type_unknown and (first or entry).reasons:
            call_it_decoration(entry)
        elif first is not None:
            entry.alias_of = first.slot
        else:
            judged.append(entry)
            if disk.exists(entry.start):
                files[entry.start] = entry
    blame_sharing(judged)
    for entry in judged:
        finish(disk, entry)
    copy_to_aliases(entries)


def call_it_decoration(entry: Entry) -> None:
    """Of no real type, and no blocks that can be read: nothing can be loaded from it."""
    entry.decoration, entry.type_unknown = True, False
    entry.walked, entry.side_sectors, entry.reasons, entry.ends = [], [], set(), False


def blame_sharing(files: list[Entry]) -> None:
    """Where chains run together: both files, unless exactly one has its stated length."""
    owners: dict[Place, list[Entry]] = {}
    for file in files:
        for place in set(file.walked + file.side_sectors):
            owners.setdefault(place, []).append(file)
    for sharers in owners.values():
        if len(sharers) < 2:
            continue
        right = [file for file in sharers if file.has_stated_length]
        for file in sharers:
            if not file.has_stated_length or len(right) > 1:
                file.reasons.add("chain-shared")


def finish(disk: Disk, file: Entry) -> None:
    file.whole = not file.reasons
    if file.whole:
        file.data = file_bytes(disk, file.walked)


def copy_to_aliases(entries: list[Entry]) -> None:
    by_slot = {entry.slot: entry for entry in entries}
    for entry in entries:
        if entry.alias_of is not None:
            first = by_slot[entry.alias_of]
            entry.whole, entry.data, entry.ends = first.whole, first.data, first.ends
            entry.walked, entry.side_sectors = list(first.walked), list(first.side_sectors)


# --- the whole image ----------------------------------------------------------------------------


def check(image: bytes) -> Verdict:
    """Judge the bytes of an image; any bytes will do, and the time is bounded."""
    found = layout_by_size(len(image))
    if found is None:
        return Verdict("unreadable")
    layout, has_error_bytes = found
    verdict = Verdict(layout, has_error_bytes)
    verdict.short = len(image) < min(SIZES)
    verdict.long = len(image) not in SIZES and not verdict.short
    disk = Disk(image, layout, has_error_bytes)
    if has_no_directory(disk):
        verdict.no_directory, verdict.directory_whole = True, None
        return verdict
    verdict.entries = used_entries(walk_directory(disk, verdict))
    verdict.directory_whole = not verdict.directory_reasons
    judge_entries(disk, verdict.entries, {disk.header, *verdict.directory_blocks})
    return verdict
