"""The bench disk: files on which a fast-load cartridge shows its faults."""

from itertools import cycle, islice

from formats.compose import NewFile, compose
from formats.programs import BASIC_START, checksum
from sample_images import machine_code
from sample_images.parts import CODE_AT, basic, prg
from sample_images.placing import add_file

LOADED_AT = 0x2000
IO_AT = 0xD000

ZONE_BORDERS = ((17, 19), (24, 25), (30, 31))
"""The last track of each zone and the next one that files may use."""
CROSSING_BYTES = 7600
"""More than a track holds, less than two."""
FILLS = (0x00, 0xFF, 0x55, 0xAA)
FILL_BYTES = 4096


def _counting(size_bytes: int, start: int = 0) -> bytes:
    """Bytes from 1 to 251, again and again: none is like its neighbours, no block like the next."""
    return bytes(islice(cycle(range(1, 252)), start, start + size_bytes))


def _longest() -> NewFile:
    """The longest program that the machine can load whole: to the last byte below I/O."""
    empty = machine_code.behind_stub(machine_code.check_itself(0, 0, 0))
    first = BASIC_START - 2 + len(empty)
    content = _counting(IO_AT - first)
    code = machine_code.check_itself(first, IO_AT, sum(content) & 0xFFFF)
    return NewFile(b"0801 TO CFFF", machine_code.behind_stub(code) + content)


def _file(name: bytes, content: bytes) -> NewFile:
    return prg(name, LOADED_AT, content)


def _guide(tested: list[NewFile]) -> NewFile:
    """The program that loads files and checks them against their sums' low 16 bits."""
    rows = [f"{file.name.decode('ascii')},{checksum(file.data) & 0xFFFF}" for file in tested]
    lines = [f"{1000 + 10 * i} DATA {row}" for i, row in enumerate([*rows, "*,0"])]
    return basic(b"BENCH GUIDE", *lines)


def bench_disk() -> bytes:
    crossing = {
        borders: _file(b"TRACKS %d TO %d" % borders, _counting(CROSSING_BYTES, start=borders[0]))
        for borders in ZONE_BORDERS
    }
    others = [
        _file(b"ONE BYTE", _counting(1)),
        _file(b"ONE BLOCK", _counting(252)),
        _file(b"LAST BLOCK 1", _counting(253)),
        _file(b"LAST BLOCK 254", _counting(506)),
        *(_file(b"FILL %02X" % value, bytes([value]) * FILL_BYTES) for value in FILLS),
    ]
    guide = _guide([*crossing.values(), *others])
    checker = prg(b"CHECKSUM", CODE_AT, machine_code.CHECKSUM)
    data = compose(b"BENCH DISK", [guide, checker])
    for tracks, file in crossing.items():
        data = add_file(data, file, tracks)
    for file in (*others, _longest()):
        data = add_file(data, file)
    return data
