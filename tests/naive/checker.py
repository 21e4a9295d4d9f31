"""A slow and obvious second opinion on an image: which files can be read whole.

Written from the pages DESIGN ("Sizes", section 5) and FACTS (sections 1 to 5) alone, and sharing
nothing with the package `formats`, so that the two can be held against each other. The yardstick is
the stock drive: a file is whole when reading it ends properly and every block of it can be read.
Where the pages leave a choice, and the team has made one afterwards, a comment says "decided".
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
    record_length: int
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
    def map_sectors(self) -> list[Place]:
        return {"70-track": [(53, 0)], "80-track": [(40, 1), (40, 2)]}.get(self.layout, [])

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
        if trouble:
            verdict.directory_reasons.add(trouble)
            return blocks
        verdict.directory_blocks.append(here)
        blocks.append(disk.block(here))
        here = disk.link(here)
        if here[0] == 0:
            return blocks


def directory_trouble(disk: Disk, here: Place, walked: list[Place]) -> str | None:
    if not disk.exists(here):
        return "directory-off-disk"
    if here in walked or here == disk.header or here in disk.map_sectors:
        return "directory-loop"  # decided: header and map are as good as its own blocks
    if disk.is_missing(here):
        return "image-short"
    if disk.read_fails(here):
        return "directory-bad-block"
    if is_blank(disk.block(here)) and disk.link(here)[0] != 0:
        return "directory-blank"  # decided: a finding of its own, and it holds no entries
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
        record_length=raw[0x17],
        stated_blocks=raw[0x1E] + 256 * raw[0x1F],
    )


def has_no_directory(disk: Disk) -> bool:
    """Neither the header block nor the first directory block is what it should be.

    Decided: a header that is right in both its signs needs a directory block that was written; one
    that is right in one sign counts only as far as the directory block makes sense as well.
    """
    first = disk.first_directory_block
    if not disk.can_be_read(disk.header) or not disk.can_be_read(first):
        return False
    header, block = disk.block(disk.header), disk.block(first)
    mark_right = header[2] == disk.format_mark
    link_right = pair(header, 0) == first
    if mark_right and link_right:
        return is_blank(block) and block[0] != 0
    if is_blank(block):
        return True
    link = pair(block, 0)
    link_leads_somewhere = link[0] == 0 or disk.exists(link)
    used = used_entries([block])
    if link_leads_somewhere and link_right:
        return False
    if link_leads_somewhere and mark_right and not used:
        return False
    if not link_leads_somewhere and not (mark_right or link_right):
        return True
    return not used or not mostly_sensible(disk, used)


def mostly_sensible(disk: Disk, used: list[Entry]) -> bool:
    sensible = [entry for entry in used if makes_sense(disk, entry)]
    return 2 * len(sensible) >= len(used)


def makes_sense(disk: Disk, entry: Entry) -> bool:
    """Decided: a file of a known type and place, or a line without blocks; bits 3 and 4 unused."""
    known_type = entry.low_type in REAL_TYPES | {DEL}
    if disk.layout == "80-track":
        known_type = known_type or entry.low_type == PARTITION
    leads_somewhere = entry.start[0] == 0 or disk.exists(entry.start)
    file_or_line = (known_type and leads_somewhere) or entry.stated_blocks == 0
    return file_or_line and entry.type_byte & 0b0001_1000 == 0


# --- following a chain --------------------------------------------------------------------------


@dataclass
class Walk:
    """The blocks that could be read, and the damage that ended the walk, if any."""

    places: list[Place]
    trouble: str | None


def walk_chain(disk: Disk, start: Place, owed: int, reserved: set[Place]) -> Walk:
    """Follow a file's chain; `owed` is how many blocks it should have.

    Blank blocks are first trusted to be data: if the chain then ends properly at exactly
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
    """Blank; trusted blocks lead on, so a block of 00s is never among them.

    Decided: 4B and 255 x 01 are trusted too, a block full of 01 before 75/1 of the 80-track layout.
    """
    return is_blank(block) and not (trusting and block[0] != 0)


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
        disk.block(place)[2] == number and list_is(disk.block(place)[0x04:0x10], places)
        for number, place in enumerate(places)
    )


def agree_with_chain(disk: Disk, side_sectors: list[Place], chain: list[Place]) -> bool:
    """Decided: nothing may stand behind the last pair, and a side sector too many may be empty."""
    if disk.layout == "80-track":
        side_sectors = side_sectors[1:]  # the super side sector lists no data blocks
    return list_is(b"".join(disk.block(place)[0x10:] for place in side_sectors), chain)


def list_is(data: bytes, places: list[Place]) -> bool:
    """Whether the pairs are these, and behind them there are none."""
    pairs = [pair(data, at) for at in range(0, len(data), 2)]
    behind = pairs[len(places) :]
    return pairs[: len(places)] == places and all(track == 0 for track, _ in behind)


# --- judging the files --------------------------------------------------------------------------


def read_file(disk: Disk, entry: Entry, reserved: set[Place]) -> None:
    side = SideSectors([], sound=True)
    if entry.low_type == REL:
        side = walk_side_sectors(disk, entry, reserved)
    owed = max(0, entry.stated_blocks - len(side.places))
    walk = Walk([], "entry-no-start")
    if disk.exists(entry.start):
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
    sectors = side.places[disk.layout == "80-track" :]
    if any(disk.block(place)[3] != entry.record_length for place in sectors):
        return False  # decided: they tell the records' length as the entry does
    return not entry.ends or agree_with_chain(disk, side.places, entry.walked)


def is_decoration(disk: Disk, entry: Entry, reserved: set[Place]) -> bool:
    """All of the definition but the entries of no real type: those may turn out to be files."""
    if entry.low_type == DEL:
        return True
    nowhere = not disk.exists(entry.start) or entry.start in reserved
    return entry.stated_blocks == 0 and nowhere


def judge_entries(disk: Disk, entries: list[Entry], reserved: set[Place]) -> None:
    """Decided: an alias counts earlier files only, neither decorations nor partitions."""
    files: dict[Place, Entry] = {}  # the first file that starts there
    judged: list[Entry] = []
    rows = [entry for entry in entries if is_row(entry, entries)]
    for entry in [entry for entry in entries if entry not in rows]:
        judge(disk, entry, reserved, files, judged)
    for entry in rows:
        judge_row(disk, entry, reserved, files, judged)
    blame_sharing(disk, [*judged, *(entry for entry in entries if entry.partition)])
    for entry in judged:
        finish(disk, entry)
    copy_to_aliases(entries)


def judge(
    disk: Disk,
    entry: Entry,
    reserved: set[Place],
    files: dict[Place, Entry],
    judged: list[Entry],
) -> None:
    entry.decoration = is_decoration(disk, entry, reserved)
    first = files.get(entry.start)
    if entry.decoration or first is not None:
        if first is not None and not entry.decoration:
            become_alias(disk, entry, first)
        return
    # Decided: a block that was never written promises nothing where no blocks are owed.
    if entry.stated_blocks == 0 and is_blank(disk.block(entry.start)):
        entry.decoration = True
        return
    entry.partition = disk.layout == "80-track" and entry.low_type == PARTITION
    if entry.partition:
        return
    entry.type_unknown = entry.low_type not in REAL_TYPES
    read_file(disk, entry, reserved)
    if entry.type_unknown and not entry.ends:
        call_it_decoration(entry)
        return
    judged.append(entry)
    if disk.exists(entry.start):
        files[entry.start] = entry


def become_alias(disk: Disk, entry: Entry, first: Entry) -> None:
    known = REAL_TYPES | ({PARTITION} if disk.layout == "80-track" else set())
    entry.type_unknown = entry.low_type not in known
    if entry.type_unknown and not first.ends:
        call_it_decoration(entry)
    else:
        entry.alias, entry.alias_of = True, first.slot


def is_row(entry: Entry, entries: list[Entry]) -> bool:
    """Decided: entries of no blocks that share their start are judged after all others.

    They decorate the directory, unless they start where an earlier file does (then they are its
    aliases), or a whole file that shares no block with others starts there (then the first of them
    is that file).
    """
    return entry.stated_blocks == 0 and sum(entry.start == other.start for other in entries) > 1


def judge_row(
    disk: Disk,
    entry: Entry,
    reserved: set[Place],
    files: dict[Place, Entry],
    judged: list[Entry],
) -> None:
    first = files.get(entry.start)
    if first is not None and (first.decoration or first.slot > entry.slot):
        call_it_decoration(entry)
        return
    taken = {place for file in files.values() for place in file.walked + file.side_sectors}
    judge(disk, entry, reserved, files, judged)
    if entry not in judged:
        return
    if entry.reasons or taken & {*entry.walked, *entry.side_sectors}:
        judged.remove(entry)
        call_it_decoration(entry)


def call_it_decoration(entry: Entry) -> None:
    """Of no real type, and no blocks that can be read: nothing can be loaded from it."""
    entry.decoration, entry.type_unknown = True, False
    entry.walked, entry.side_sectors, entry.reasons, entry.ends = [], [], set(), False


def blame_sharing(disk: Disk, files: list[Entry]) -> None:
    """Where chains run together: both files, unless exactly one has its stated length.

    Decided: a partition owns its run of blocks, and it has its stated length if the disk holds it.
    """
    owners: dict[Place, list[Entry]] = {}
    for file in files:
        if file.partition:
            walk_partition(disk, file)
        for place in set(file.walked + file.side_sectors):
            owners.setdefault(place, []).append(file)
    for sharers in owners.values():
        if len(sharers) < 2:
            continue
        right = [file for file in sharers if file.has_stated_length]
        for file in sharers:
            if not file.has_stated_length or len(right) > 1:
                file.reasons.add("chain-shared")


def walk_partition(disk: Disk, partition: Entry) -> None:
    if disk.exists(partition.start):
        first = disk.number[partition.start]
        run = range(first, first + partition.stated_blocks)
        partition.walked = [place for place, number in disk.number.items() if number in run]
        partition.ends = True


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
    reserved = {disk.header, *disk.map_sectors}  # decided: map sectors count like the header
    verdict.entries = used_entries(walk_directory(disk, verdict))
    verdict.directory_whole = not verdict.directory_reasons
    judge_entries(disk, verdict.entries, reserved | set(verdict.directory_blocks))
    return verdict
