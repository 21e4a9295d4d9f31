"""The injector: one way, or several, to make every finding of the table true of a composed disk.

`inject` spoils a scene in one place and gives the `Fault`: the finding that the audit owes, and
what it may cost. Every row of formats.findings.TABLE has an injector.

A fault *hides* another where the drive never comes to that one (`hides`):

- a directory without a header and a first sector hides all that hangs on entries and map;
- a directory that breaks hides the entries past the break, and a break further on;
- an entry that is made an alias, a decoration or a scratched one hides all about that file;
- a chain that breaks hides what lies further along it, and whatever takes the whole file to see;
- a file of unknown type whose chain breaks is a decoration: both are hidden, and so it is with
  one of no stated length that starts nowhere;
- a header with one thing odd counts for nothing where the directory behind it makes no sense
  either: that is a store of raw blocks;
- what is written over is gone; an image cut short has neither error bytes nor what lies past it.

Two faults are *tangled* where one of them is about how files lie to each other (shared blocks,
aliases, twins, scratched files), or to the directory, and the other one touches one of these:
what is to blame then depends on both, and only the naive checker's opinion counts.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace

from formats.findings import TABLE
from formats.geometry import (
    BLOCK_BYTES,
    TRACKS_35,
    TRACKS_80,
    Geometry,
    Place,
)
from formats.image import ERROR_MEANINGS, FAILING_ERROR_BYTES, SHORTEST_BYTES
from tests.proofs.scene import (
    CLOSED,
    NAME,
    PRG,
    REL,
    SIDE,
    START,
    STOCK_FILLING,
    STRETCHED,
    STRUCTURE,
    TYPE,
    USR,
    Choose,
    File,
    Scene,
    Unfit,
    is_blank,
)

AT_ENTRY, WHOLE = -1.0, 1e9
"""Depths: seen in the entry; seen only when the whole file has been read."""
DISK_WIDE = {
    "map-frees-used",
    "map-count-differs",
    "own-loader",
    "map-strands",
    "error-bytes",
    "tracks-extra",
}
"""One finding for the whole disk, at the first block concerned."""
ON_A_STORE = {"image-long", "image-short", "error-bytes", "tracks-extra"}
"""What can be found where there is no directory."""
ABOUT_SEVERAL = {
    "chain-shared",
    "alias",
    "name-twin",
    "deleted-remains",
    "image-short",
    "record-index",
    "past-35",
}
DEPENDENT = (
    {"count-differs", "chain-blank"},
    {"count-differs", "type-unknown"},
    {"map-frees-used", "type-unknown"},
)
"""What a file owes and what is its own hangs on its length and type."""
NEEDS_SIZE = {"program-wraps", "address-tight"}
NEEDS_TYPE = {"side-sector-broken", *NEEDS_SIZE}


@dataclass(frozen=True)
class Fault:
    code: str
    slot: int | None = None
    place: Place | None = None
    """Slot and place that the finding must have."""
    also: tuple[tuple[str, int], ...] = ()
    """Code and slot of what else is then found."""
    file: int | None = None
    """Slot of the file that the drive must come to."""
    depth: float = AT_ENTRY
    """Blocks of that file that are read before the fault shows."""
    breaks: bool = False
    """The file is read no further."""
    changes_role: bool = False
    touches: frozenset[int] = frozenset()
    """Slots of the files that it may make unreadable, or other files."""
    about: frozenset[int] = frozenset()
    """Slots of files that the finding depends on, and that suffer nothing."""
    directory: int | None = None
    """Position in the directory's chain of the sector that breaks it."""
    lost: frozenset[int] = frozenset()
    """Slots that no drive finds any more."""
    written: frozenset[int] = field(default=frozenset(), repr=False)
    """Offsets of the bytes that it changed."""
    cuts_at: int | None = None
    """The image's bytes end here."""

    @property
    def involved(self) -> frozenset[int]:
        own = frozenset() if self.file is None else frozenset({self.file})
        return self.touches | self.about | own


def hides(one: Fault, other: Fault, *, later: bool) -> bool:
    """Whether `one`, made earlier or later, keeps the drive from coming to `other`."""
    if one.code == "no-directory":
        return other.code not in ON_A_STORE
    if later and one.written & other.written:
        return True
    if one.cuts_at is not None and any(at >= one.cuts_at for at in other.written):
        return True
    if one.directory is not None:
        if other.code in ("own-loader", "map-strands"):
            return True  # the blocks may be those of the files whose entries are lost
        if other.directory is not None and one.directory <= other.directory:
            return True
        if other.involved & one.lost:
            return True
    if one.file is None or one.file != other.file:
        return False
    return (
        one.changes_role
        or (one.breaks and one.depth <= other.depth)
        or (one.code == "side-sector-broken" and other.depth == WHOLE)
        or (one.code == "type-unknown" and (other.breaks or other.code in NEEDS_TYPE))
        or (one.code == "end-byte-odd" and other.code in NEEDS_SIZE)
        or (one.code == "count-differs" and other.breaks and other.depth == AT_ENTRY)
    )


def tangled(one: Fault, other: Fault) -> bool:
    codes = {one.code, other.code}
    hangs_on_directory = codes & {"chain-in-directory", "map-frees-used"}
    if hangs_on_directory and any(code.startswith("directory-") for code in codes):
        return True
    both_start = one.breaks and other.breaks and one.depth == other.depth == AT_ENTRY
    if both_start and one.place == other.place:
        return True  # one is the other's alias now
    if codes == {"deleted-remains", "image-short"}:
        return True
    about_several = codes & ABOUT_SEVERAL or codes in DEPENDENT
    return bool(about_several and one.involved & other.involved)


def make_decoration(faults: Sequence[Fault]) -> set[int]:
    """Slots of files of unknown type that cannot be read, or of no length and a blank start."""
    unknown = {fault.file for fault in faults if fault.code == "type-unknown"}
    broken = {fault.file for fault in faults if fault.breaks}
    counted = {fault.file for fault in faults if fault.code == "count-differs"}
    blank = {fault.file for fault in faults if fault.code == "chain-blank"}
    return {slot for slot in unknown & broken | counted & blank if slot is not None}


def make_store(faults: Sequence[Fault]) -> bool:
    """Whether a half right header may count for nothing, for want of a directory that makes sense.

    Only then may several faults together make a disk look like a store of raw blocks.
    """
    senseless = ("header-odd", "type-unknown", "entry-no-start", "decoration")
    signs = [f for f in faults if f.code in senseless or f.code.startswith("directory-")]
    return len(signs) > 1 and any(fault.code == "header-odd" for fault in faults)


Injector = Callable[[Scene, Choose], Fault]
INJECTORS: dict[str, list[Injector]] = {code: [] for code in TABLE}
ONLY_ON: dict[str, tuple[Geometry, ...]] = {
    "image-short": (TRACKS_35,),
    "past-35": STRETCHED,
    "tracks-extra": STRETCHED,
    "partition": (TRACKS_80,),
}


def injects(code: str) -> Callable[[Injector], Injector]:
    def register(injector: Injector) -> Injector:
        INJECTORS[code].append(injector)
        return injector

    return register


def inject(scene: Scene, code: str, choose: Choose) -> Fault:
    """Spoil the scene so that the audit must find `code`. Raises Unfit where it cannot be."""
    if scene.is_store and code not in ON_A_STORE:
        raise Unfit
    scene.written.clear()
    before = bytes(scene.sectors)
    fault = choose(INJECTORS[code])(scene, choose)
    for block in {at // BLOCK_BYTES for at in scene.written}:
        was = before[block * BLOCK_BYTES : (block + 1) * BLOCK_BYTES]
        by_chance = is_blank(scene.block(block)) and not is_blank(was)
        if by_chance and code not in ("chain-blank", "directory-blank"):
            raise Unfit  # it looks never written now: another fault than meant
    return replace(fault, written=frozenset(scene.written))


def _file(
    scene: Scene, choose: Choose, wanted: Callable[[File], object] = lambda file: True
) -> File:
    files = [file for _, file in sorted(scene.files.items()) if wanted(file)]
    if not files:
        raise Unfit
    return choose(files)


def _on_file(code: str, file: File, place: Place | None, depth: float, **more: object) -> Fault:
    """A fault that its own file suffers."""
    touches = frozenset({file.slot})
    return Fault(code, file.slot, place, file=file.slot, depth=depth, touches=touches, **more)  # type: ignore[arg-type]


def _off_disk(geometry: Geometry, choose: Choose) -> Place:
    """A track that is not 0, and yet no place of the disk."""
    track = choose((geometry.tracks + 1, 0xFF, choose(range(1, geometry.tracks + 1))))
    sectors = geometry.sectors[track - 1] if track <= geometry.tracks else 0
    return Place(track, choose((sectors, 0xFF)))


def _link_in(file: File, choose: Choose) -> tuple[list[int], int, float]:
    """A chain of the file, a position in it, and the depth of the link that stands there."""
    lists = file.lists
    nth = choose(range(len(lists)))
    position = choose(range(len(lists[nth])))
    return lists[nth], position, sum(map(len, lists[:nth])) + position + 0.5


# --- chains


@injects("chain-loop")
def _loop(scene: Scene, choose: Choose) -> Fault:
    file = _file(scene, choose)
    chain, position, depth = _link_in(file, choose)
    back = scene.place(chain[choose(range(position + 1))])
    scene.link(chain[position], back)
    return _on_file("chain-loop", file, back, depth, breaks=True)


@injects("chain-off-disk")
def _chain_off_disk(scene: Scene, choose: Choose) -> Fault:
    file = _file(scene, choose)
    chain, position, depth = _link_in(file, choose)
    scene.link(chain[position], _off_disk(scene.geometry, choose))
    return _on_file("chain-off-disk", file, scene.place(chain[position]), depth, breaks=True)


@injects("chain-off-disk")
def _record_off_disk(scene: Scene, choose: Choose) -> Fault:
    file = _file(scene, choose, lambda file: file.records)
    index, nth = file.chain[0], choose(range(len(file.records)))
    at = 2 + 2 * nth
    scene.put(index, choose((_off_disk(scene.geometry, choose), Place(0, 1))), at)
    depth = sum(map(len, file.lists[: nth + 1])) - 0.45
    return _on_file("chain-off-disk", file, scene.place(index), depth, breaks=True)


@injects("chain-shared")
def _shared(scene: Scene, choose: Choose) -> Fault:
    """A file's link, or its start, is bent to a block of another file."""
    file = _file(scene, choose)
    other = _file(scene, choose, lambda other: other is not file)
    target = choose([b for b in other.blocks if b != other.info])
    tail = scene.walk_truth(target)
    chain, position, depth = _link_in(file, choose)
    movable = not file.records and file.slot not in scene.aliased and target != other.chain[0]
    at_start = movable and choose((False, False, True))
    if at_start:
        scene.set_field(file.slot, START, scene.place(target))
        depth, walked = AT_ENTRY, len(tail) + len(file.sides)
    else:
        scene.link(chain[position], scene.place(target))
        walked = len(file.blocks) - (len(chain) - position - 1) + len(tail)
        if file.records and chain is file.chain:  # an index that leads on is none any more
            walked = 1 + len(tail)
            walked += walked + 1 == file.stated  # the info block, where the length tells of one
    also = []
    if walked == file.stated:  # both have their stated length: nobody knows whose blocks these are
        also.append(("chain-shared", other.slot))
    if file.sides:
        also.append(("side-sector-broken", file.slot))
    return Fault(
        "chain-shared",
        file.slot,
        scene.place(target),
        also=tuple(also),
        file=file.slot,
        depth=depth,
        breaks=True,
        touches=frozenset({file.slot, other.slot} if walked == file.stated else {file.slot}),
        about=frozenset({other.slot}),
    )


@injects("chain-in-directory")
def _into_directory(scene: Scene, choose: Choose) -> Fault:
    file = _file(scene, choose)
    into = scene.place(choose(scene.system))
    chain, position, depth = _link_in(file, choose)
    if file.slot not in scene.aliased and choose((False, False, True)):
        scene.set_field(file.slot, START, into)
        depth = AT_ENTRY
    else:
        scene.link(chain[position], into)
    return _on_file("chain-in-directory", file, into, depth, breaks=True)


@injects("chain-bad-block")
def _bad_block(scene: Scene, choose: Choose) -> Fault:
    file = _file(scene, choose)
    chain, position, depth = _link_in(file, choose)
    scene.error(chain[position], choose(sorted(FAILING_ERROR_BYTES)))
    place = scene.place(chain[position])
    return _on_file("chain-bad-block", file, place, depth - 0.9, breaks=True)


@injects("chain-bad-block")
def _bad_info_block(scene: Scene, choose: Choose) -> Fault:
    """The desktop that alone can load an indexed file cannot do so without its info block."""
    file = _file(scene, choose, lambda file: file.info is not None)
    assert file.info is not None
    scene.error(file.info, choose(sorted(FAILING_ERROR_BYTES)))
    return _on_file("chain-bad-block", file, scene.place(file.info), WHOLE, breaks=True)


@injects("chain-blank")
def _never_written(scene: Scene, choose: Choose) -> Fault:
    file = _file(scene, choose)
    chain, position, depth = _link_in(file, choose)
    filling = _filling(choose)
    if depth > file.stated - len(file.sides) or _reads_on(scene, file, position, filling):
        raise Unfit
    scene.put(chain[position], filling)
    return _on_file("chain-blank", file, scene.place(chain[position]), depth - 0.8, breaks=True)


def _filling(choose: Choose) -> bytes:
    value = choose((0, 0xFF, 0x4B, 0x01, choose(range(256))))
    return STOCK_FILLING if value == 0x4B else bytes([value]) * BLOCK_BYTES


def _reads_on(scene: Scene, file: File, position: int, filling: bytes) -> bool:
    """Whether a block of one value, read as a link, leads to an end at the stated length."""
    if not filling[0] or filling == STOCK_FILLING or not scene.geometry.exists(*filling[:2]):
        return False
    after = scene.walk_truth(scene.geometry.index(*filling[:2]))
    return position + 1 + len(after) == file.stated - len(file.sides)


@injects("entry-no-start")
def _no_start(scene: Scene, choose: Choose) -> Fault:
    file = _file(scene, choose, lambda file: file.stated and file.slot not in scene.aliased)
    nowhere = (Place(0, 0), Place(0, choose(range(256))), _off_disk(scene.geometry, choose))
    scene.set_field(file.slot, START, choose(nowhere))
    return _on_file("entry-no-start", file, None, AT_ENTRY, breaks=True)


@injects("count-differs")
def _count(scene: Scene, choose: Choose) -> Fault:
    file = _file(scene, choose)
    wrong = choose((0, 1, file.stated - 1, file.stated + 1, file.stated + 5, 0xFFFF))
    if wrong == file.stated or not 0 <= wrong <= 0xFFFF:
        raise Unfit
    if not wrong and file.slot in scene.aliased:
        raise Unfit  # then the alias is the file, and this a line that decorates
    file.stated = wrong
    scene.set_length(file.slot, wrong)
    return _on_file("count-differs", file, scene.place(file.chain[0]), WHOLE)


@injects("end-byte-odd")
def _end_byte(scene: Scene, choose: Choose) -> Fault:
    file = _file(scene, choose)
    last = file.chain[-1]
    if scene.sectors[last * BLOCK_BYTES]:
        raise Unfit  # the chain does not end here any more
    scene.put(last, [choose((0, 1))], at=1)
    return _on_file("end-byte-odd", file, scene.place(last), WHOLE)


# --- side sectors

SIDES_IN_GROUP, PAIRS = 6, 120


def _side_fault(file: File, place: Place | None, depth: float = 0, **more: object) -> Fault:
    return _on_file("side-sector-broken", file, place, depth, **more)


def _relative(scene: Scene, choose: Choose) -> tuple[File, list[int]]:
    """A REL file and its side sectors, without a super side sector."""
    file = _file(scene, choose, lambda file: file.sides)
    return file, file.sides[scene.geometry is TRACKS_80 :]


def _other_byte(scene: Scene, block: int, at: int, choose: Choose) -> None:
    """Change a byte of a block to another value."""
    offset = block * BLOCK_BYTES + at
    scene.write(offset, [scene.sectors[offset] ^ choose(range(1, 256))])


@injects("side-sector-broken")
def _side_field(scene: Scene, choose: Choose) -> Fault:
    """Its own number, the record length, or a place in the list of side sectors."""
    file, sides = _relative(scene, choose)
    block = choose(sides)
    _other_byte(scene, block, choose((2, 3, *range(4, 4 + 2 * len(sides[:6])))), choose)
    return _side_fault(file, scene.place(block))


@injects("side-sector-broken")
def _side_record_length(scene: Scene, choose: Choose) -> Fault:
    file, sides = _relative(scene, choose)
    at = scene.entry_at(file.slot) + STRUCTURE
    scene.write(at, [scene.sectors[at] ^ choose(range(1, 256))])
    return _side_fault(file, scene.place(sides[0]))


@injects("side-sector-broken")
def _side_pair(scene: Scene, choose: Choose) -> Fault:
    """One of the pairs that name the data blocks, or one too many."""
    file, sides = _relative(scene, choose)
    nth = choose(range(len(sides)))
    pair = choose(range(PAIRS))
    offset = sides[nth] * BLOCK_BYTES + 0x10 + 2 * pair
    old = tuple(scene.sectors[offset : offset + 2])
    new = choose((Place(0, 0), _off_disk(scene.geometry, choose), scene.geometry.header))
    if old == new or (new == (0, 0) and not old[0]):
        raise Unfit
    scene.write(offset, new)
    position = min(nth * PAIRS + pair, len(file.chain) - 1)
    return _side_fault(file, scene.place(file.chain[position]), WHOLE)


@injects("side-sector-broken")
def _side_link(scene: Scene, choose: Choose) -> Fault:
    file, sides = _relative(scene, choose)
    nth = choose(range(len(sides)))
    block = sides[nth]
    back = scene.place(sides[choose(range(nth + 1))])
    into = scene.place(choose(scene.system))
    places: list[tuple[Place, Place]] = [
        (_off_disk(scene.geometry, choose), scene.place(block)),
        (back, back),
        (into, into),
    ]
    if nth + 1 < len(sides):
        first_of_group = sides[nth // SIDES_IN_GROUP * SIDES_IN_GROUP]
        places.append((Place(0, 0xFF), scene.place(first_of_group)))
    link, place = choose(places)
    scene.link(block, link)
    return _side_fault(file, place)


@injects("side-sector-broken")
def _side_start(scene: Scene, choose: Choose) -> Fault:
    file, _ = _relative(scene, choose)
    start, place = choose(
        (
            (_off_disk(scene.geometry, choose), None),
            (Place(0, 0), None),
            (scene.geometry.header, scene.geometry.header),
        )
    )
    scene.set_field(file.slot, SIDE, start)
    return _side_fault(file, place)


@injects("side-sector-broken")
def _side_bad(scene: Scene, choose: Choose) -> Fault:
    file, _ = _relative(scene, choose)
    block = choose(file.sides)
    scene.error(block, choose(sorted(FAILING_ERROR_BYTES)))
    return _side_fault(file, scene.place(block))


@injects("side-sector-broken")
def _super(scene: Scene, choose: Choose) -> Fault:
    """The super side sector's mark, or the place of a group."""
    file, _ = _relative(scene, choose)
    if scene.geometry is not TRACKS_80:
        raise Unfit
    block, header = file.sides[0], scene.geometry.header
    if choose((False, True)):
        _other_byte(scene, block, 2, choose)
        return _side_fault(file, scene.place(block))
    nowhere = _off_disk(scene.geometry, choose)
    group, place = choose(((nowhere, scene.place(block)), (header, header)))
    scene.put(block, group, at=3)
    return _side_fault(file, place)


# --- the directory


def _directory_position(scene: Scene, choose: Choose) -> int:
    if not scene.directory:
        raise Unfit
    return choose(range(len(scene.directory)))


def _directory_fault(
    scene: Scene, code: str, position: int, place: Place, *, first_lost: int
) -> Fault:
    lost = frozenset(slot for slot in scene.slots() if slot // 8 >= first_lost)
    scene.lose(lost)
    scene.kept |= set(scene.directory[first_lost:])
    scene.directory = scene.directory[:first_lost]
    return Fault(code, None, place, touches=lost, directory=position, lost=lost)


@injects("directory-loop")
def _directory_loop(scene: Scene, choose: Choose) -> Fault:
    position = _directory_position(scene, choose)
    block = scene.directory[position]
    back = choose((*scene.geometry.system_blocks, *scene.directory[: position + 1]))
    scene.link(block, scene.place(back))
    return _directory_fault(
        scene, "directory-loop", position, scene.place(back), first_lost=position + 1
    )


@injects("directory-off-disk")
def _directory_off_disk(scene: Scene, choose: Choose) -> Fault:
    position = _directory_position(scene, choose)
    block = scene.directory[position]
    scene.link(block, _off_disk(scene.geometry, choose))
    place = scene.place(block)
    return _directory_fault(scene, "directory-off-disk", position, place, first_lost=position + 1)


@injects("directory-bad-block")
def _directory_bad_block(scene: Scene, choose: Choose) -> Fault:
    block = choose(scene.system)
    scene.error(block, choose(sorted(FAILING_ERROR_BYTES)))
    place = scene.place(block)
    if block not in scene.directory:
        return Fault("directory-bad-block", None, place)
    position = scene.directory.index(block)
    return _directory_fault(scene, "directory-bad-block", position, place, first_lost=position)


@injects("directory-blank")
def _directory_blank(scene: Scene, choose: Choose) -> Fault:
    """Not the first sector (that is a store of raw blocks), and not zeros (they end it well)."""
    if len(scene.directory) < 2:
        raise Unfit
    position = choose(range(1, len(scene.directory)))
    block = scene.directory[position]
    filling = _filling(choose)
    if not filling[0]:
        raise Unfit
    scene.put(block, filling)
    place = scene.place(block)
    return _directory_fault(scene, "directory-blank", position, place, first_lost=position)


@injects("no-directory")
def _no_directory(scene: Scene, choose: Choose) -> Fault:
    header, first = scene.geometry.header_block, scene.geometry.directory_block
    if scene.errors is not None and max(scene.errors[header], scene.errors[first]) > 1:
        raise Unfit  # what cannot be read is damaged, and no store
    scene.put(first, choose((b"\xe5" * BLOCK_BYTES, STOCK_FILLING, b"\xff" + bytes(255))))
    scene.put(header, bytes([choose((0, 0x12, 0xFF)), 0xEE, 0x20]))
    lost = frozenset(scene.slots())
    scene.lose(lost)
    scene.kept |= {header, *scene.directory}
    scene.is_store = True
    return Fault("no-directory", None, scene.geometry.header, touches=lost, lost=lost)


@injects("header-odd")
def _header(scene: Scene, choose: Choose) -> Fault:
    header = scene.geometry.header_block
    at = choose((0, 1, 2))
    offset = header * BLOCK_BYTES + at
    scene.write(offset, [scene.sectors[offset] ^ choose(range(1, 256))])
    return Fault("header-odd", None, scene.geometry.header)


# --- entries


@injects("entry-unclosed")
def _unclosed(scene: Scene, choose: Choose) -> Fault:
    file = _file(scene, choose)
    _set_type(scene, file, file.type_code)
    return _on_file("entry-unclosed", file, scene.place(file.chain[0]), AT_ENTRY)


def _set_type(scene: Scene, file: File, type_byte: int) -> None:
    if scene.sectors[scene.entry_at(file.slot) + TYPE] == type_byte:
        raise Unfit
    scene.set_field(file.slot, TYPE, [type_byte])


@injects("type-unknown")
def _unknown(scene: Scene, choose: Choose) -> Fault:
    file = _file(scene, choose)
    codes = (6, 7) if scene.geometry is TRACKS_80 else (5, 6, 7)
    _set_type(scene, file, CLOSED | choose(codes))
    return _on_file("type-unknown", file, scene.place(file.chain[0]), WHOLE)


@injects("name-twin")
def _twin(scene: Scene, choose: Choose) -> Fault:
    first = _file(scene, choose)
    second = _file(scene, choose, lambda file: file.slot > first.slot)
    scene.set_field(second.slot, NAME, scene.name_of(first.slot))
    return Fault("name-twin", second.slot, None, file=second.slot, about=frozenset({first.slot}))


@injects("name-awkward")
def _awkward(scene: Scene, choose: Choose) -> Fault:
    file = _file(scene, choose)
    scene.set_field(file.slot, NAME + choose(range(5)), choose((b'"', b"*", b"?", b",", b":")))
    return Fault("name-awkward", file.slot, None, file=file.slot)


@injects("alias")
def _alias(scene: Scene, choose: Choose) -> Fault:
    first = _file(scene, choose)
    second = _file(
        scene, choose, lambda file: file.slot > first.slot and file.slot not in scene.aliased
    )
    scene.aliased.add(first.slot)
    start = scene.place(first.chain[0])
    scene.set_field(second.slot, START, start)
    scene.kept |= set(second.blocks)
    del scene.files[second.slot]
    return Fault(
        "alias",
        second.slot,
        start,
        file=second.slot,
        changes_role=True,
        touches=frozenset({second.slot}),
        about=frozenset({first.slot}),
    )


@injects("alias")
def _new_alias(scene: Scene, choose: Choose) -> Fault:
    """A title of several names."""
    first = _file(scene, choose)
    scene.aliased.add(first.slot)
    start = scene.place(first.chain[0])
    slot = _new_entry(scene, CLOSED | PRG, start, choose((0, first.stated)), choose)
    if slot < first.slot:
        raise Unfit
    about = frozenset({first.slot})
    return Fault("alias", slot, start, file=slot, touches=frozenset({slot}), about=about)


def _new_entry(scene: Scene, type_byte: int, start: Place, blocks: int, choose: Choose) -> int:
    slot = scene.new_slot()
    name = b"AUSHANG %d" % slot
    scene.set_field(slot, TYPE, bytes([type_byte, *start]) + name.ljust(16, b"\xa0"))
    scene.set_length(slot, blocks)
    return slot


@injects("decoration")
def _decoration(scene: Scene, choose: Choose) -> Fault:
    """A line of the directory, beside the files or in place of one."""
    system = scene.place(choose(scene.system))
    nowhere = choose((system, Place(0, 0), _off_disk(scene.geometry, choose)))
    type_byte = choose((0x80, 0x80 | PRG, 0x80 | REL, 0x87, 0x01))
    slot = _new_entry(scene, type_byte, nowhere, 0, choose)
    return Fault("decoration", slot, None, file=slot, touches=frozenset({slot}))


@injects("decoration")
def _deleted_type(scene: Scene, choose: Choose) -> Fault:
    file = _file(scene, choose, lambda file: file.slot not in scene.aliased)
    _set_type(scene, file, CLOSED)
    return _gone(scene, Fault("decoration", file.slot), file)


def _gone(scene: Scene, fault: Fault, file: File) -> Fault:
    """The file is none any more; what is left of it stays where it is."""
    scene.kept |= set(file.blocks)
    del scene.files[file.slot]
    touches = frozenset({file.slot})
    return replace(fault, file=file.slot, changes_role=True, touches=touches)


@injects("deleted-remains")
def _scratched(scene: Scene, choose: Choose) -> Fault:
    """As the drive scratches; of a REL file it leaves more than a chain, which nobody looks at."""
    file = _file(scene, choose, lambda file: not file.sides and file.info is None)
    if file.stated != len(file.chain) or file.slot in scene.aliased:
        raise Unfit
    scene.set_field(file.slot, TYPE, [0])
    for block in file.blocks:
        if scene.mapped(block):
            scene.mark(block, free=True)
    place = scene.place(file.chain[0])
    return _gone(scene, Fault("deleted-remains", file.slot, place), file)


@injects("record-index")
def _record_index(scene: Scene, choose: Choose) -> Fault:
    """A file becomes a desktop's: its blocks are index, info block and record chains."""
    file = _file(
        scene,
        choose,
        lambda file: not file.sides and not file.records and len(file.chain) > 2,
    )
    if file.stated != len(file.chain):
        raise Unfit
    index, info, *rest = file.chain
    cut = choose(range(len(rest)))
    records = [part for part in (rest[:cut], rest[cut:]) if part]
    pairs = [scene.place(record[0]) for record in records]
    deleted = choose((Place(0, 0xFF), Place(0, 0)))
    content = bytes([0, 0xFF]) + b"".join(map(bytes, [*pairs, deleted]))
    scene.put(index, content.ljust(BLOCK_BYTES, b"\0"))
    for record in records:
        scene.link(record[-1], (0, 0xFF))
    scene.set_field(file.slot, TYPE, [CLOSED | USR])
    scene.set_field(file.slot, SIDE, (*scene.place(info), 1, choose(range(1, 16))))
    file.type_code, file.chain, file.records, file.info = USR, [index], records, info
    place = scene.place(index)
    return _on_file("record-index", file, place, 1)


@injects("partition")
def _partition(scene: Scene, choose: Choose) -> Fault:
    free = set(scene.free_blocks())
    length = choose((1, 40, 120))
    starts = [b for b in sorted(free) if all(b + step in free for step in range(length))]
    if not starts:
        raise Unfit
    start = choose(starts)
    for block in range(start, start + length):
        scene.mark(block, free=False)
        scene.kept.add(block)
    slot = _new_entry(scene, CLOSED | 5, scene.place(start), length, choose)
    return Fault("partition", slot, scene.place(start), file=slot, touches=frozenset({slot}))


# --- what files hold and where they lie


def _load(scene: Scene, file: File, address: int) -> None:
    scene.put(file.chain[0], address.to_bytes(2, "little"), at=2)


def _content_bytes(scene: Scene, file: File) -> int:
    """Bytes of a program behind its load address."""
    last = scene.block(file.chain[-1])
    return 254 * (len(file.chain) - 1) + max(last[1] - 1, 0) - 2


@injects("program-wraps")
def _wraps(scene: Scene, choose: Choose) -> Fault:
    file = _file(
        scene,
        choose,
        lambda file: file.type_code == PRG and _content_bytes(scene, file) > 1,
    )
    most = min(_content_bytes(scene, file) - 1, 0xFFFF)
    _load(scene, file, 0x10000 - choose(range(1, most + 1)))
    return _on_file("program-wraps", file, scene.place(file.chain[0]), WHOLE)


@injects("address-tight")
def _tight(scene: Scene, choose: Choose) -> Fault:
    file = _file(
        scene,
        choose,
        lambda file: file.type_code == PRG and 0 < _content_bytes(scene, file) < 0x2000,
    )
    _load(scene, file, choose((0x0000, 0x03FF, 0x8000, 0x9FFF, 0xA000, 0xD000, 0xDFFF)))
    return _on_file("address-tight", file, scene.place(file.chain[0]), WHOLE)


@injects("past-35")
def _past_35(scene: Scene, choose: Choose) -> Fault:
    """A block of a file moves to a track that the stock drive refuses."""
    limit = scene.geometry.first_block[35]
    file = _file(scene, choose, lambda file: not any(b >= limit for b in file.blocks))
    if file.sides or file.records or file.slot in scene.aliased:
        raise Unfit
    to = choose([b for b in scene.outside() if b >= limit] or [None])
    if to is None:
        raise Unfit
    position = choose(range(len(file.chain)))
    old = file.chain[position]
    scene.put(to, scene.block(old))
    if position:
        scene.link(file.chain[position - 1], scene.place(to))
    else:
        scene.set_field(file.slot, START, scene.place(to))
    scene.mark(old, free=True)
    file.chain[position] = to
    # The same file of the same bytes, but moved: what is at odds with it is found at its old place.
    return Fault("past-35", file.slot, scene.place(to), file=file.slot, depth=WHOLE)


# --- the map, and blocks of no file


@injects("map-frees-used")
def _frees_used(scene: Scene, choose: Choose) -> Fault:
    owners = {b: file.slot for file in scene.files.values() for b in file.blocks}
    used = [b for b in (*sorted(owners), *scene.system) if scene.mapped(b)]
    block = choose(used)
    if scene.is_free(block):
        raise Unfit
    scene.mark(block, free=True)
    slot = owners.get(block)
    depth = WHOLE
    if slot is not None:
        content = [b for part in scene.files[slot].lists for b in part]
        depth = content.index(block) if block in content else WHOLE
    return Fault("map-frees-used", slot, scene.place(block), file=slot, depth=depth)


@injects("map-count-differs")
def _map_count(scene: Scene, choose: Choose) -> Fault:
    track = choose(range(1, scene.geometry.map_tracks + 1))
    count, _, _ = scene.map_bit(scene.geometry.index(track, 0))
    scene.write(count, [scene.sectors[count] ^ choose(range(1, 256))])
    return Fault("map-count-differs", None, scene.place(count // BLOCK_BYTES))


def _use_free(scene: Scene, choose: Choose, *, blank: bool) -> list[int]:
    free = [b for b in scene.free_blocks() if is_blank(scene.block(b))]
    if not free:
        raise Unfit
    first = choose(range(len(free)))
    blocks = free[first : first + choose((1, 5, 100))]
    for block in blocks:
        scene.mark(block, free=False)
        if not blank:
            scene.put(block, bytes(range(256)))
    scene.kept |= set(blocks)
    return blocks


@injects("own-loader")
def _own_loader(scene: Scene, choose: Choose) -> Fault:
    blocks = _use_free(scene, choose, blank=False)
    return Fault("own-loader", None, scene.place(blocks[0]))


@injects("map-strands")
def _strands(scene: Scene, choose: Choose) -> Fault:
    blocks = _use_free(scene, choose, blank=True)
    return Fault("map-strands", None, scene.place(blocks[0]))


@injects("error-bytes")
def _error_bytes(scene: Scene, choose: Choose) -> Fault:
    outside = scene.outside()
    if not outside:
        raise Unfit
    block = choose(outside)
    scene.kept.add(block)
    scene.error(block, choose(sorted(ERROR_MEANINGS)[2:]))
    return Fault("error-bytes", None, scene.place(block))


@injects("tracks-extra")
def _tracks_extra(scene: Scene, choose: Choose) -> Fault:
    limit = scene.geometry.first_block[35]
    blocks = [b for b in scene.outside() if b >= limit]
    if not blocks:
        raise Unfit
    block = choose(blocks)
    scene.put(block, bytes(range(256)))
    scene.kept.add(block)
    return Fault("tracks-extra", None, scene.place(block))


# --- the image's size


@injects("image-short")
def _short(scene: Scene, choose: Choose) -> Fault:
    if scene.errors is not None or scene.extra:
        raise Unfit
    size = choose(range(SHORTEST_BYTES, len(scene.sectors)))
    scene.present_bytes = size
    present = size // BLOCK_BYTES
    also: list[tuple[str, int]] = []
    hit = set()
    for file in scene.files.values():
        if any(b >= present for b in file.blocks):
            hit.add(file.slot)
            chains = [b for part in file.lists for b in part]
            if any(b >= present for b in chains) or (file.info or 0) >= present:
                also.append(("image-short", file.slot))
            if any(b >= present for b in file.sides):
                also.append(("side-sector-broken", file.slot))
    return Fault("image-short", None, None, also=tuple(also), touches=frozenset(hit), cuts_at=size)


@injects("image-long")
def _long(scene: Scene, choose: Choose) -> Fault:
    if scene.extra or scene.present_bytes < len(scene.sectors):
        raise Unfit
    scene.extra = bytes([1, 2]) + bytes([choose(range(256))]) * choose(range(200))
    return Fault("image-long", None, None)


def names(faults: Iterable[Fault]) -> str:
    return ", ".join(f"{f.code} in {f.slot} at {f.place}" for f in faults)
