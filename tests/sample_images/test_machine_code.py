"""The samples' machine code runs on py65's 6502 and does what it is for."""

import inspect
import re
from collections.abc import Callable

import pytest
from py65.devices.mpu6502 import MPU
from py65.disassembler import Disassembler
from py65.memory import ObservableMemory

from formats.programs import checksum, sys_address
from sample_images import machine_code, papers, pictures, screens
from tests.sample_images.samples import basic_programs, content

RETURN_TO = 0xFFF0
STEP_LIMIT = 3_000_000
SCREEN, COLOURS, BORDER, CLOCK = 0x0400, 0xD800, 0xD020, 0x00A2
SHOW_CODE, SOUND_CODE, NIGHTS_CODE = 0xC000, 0xC080, 0xC100
BENCH_FILES = (
    "ONE BYTE",
    "ONE BLOCK",
    "LAST BLOCK 1",
    "LAST BLOCK 254",
    "FILL 00",
    "FILL FF",
    "FILL 55",
    "FILL AA",
    "TRACKS 17 TO 19",
)
LISTING_LINE = re.compile(r"^ *((?:[0-9A-F]{2} )*[0-9A-F]{2})  ([A-Z]{3})\b", re.MULTILINE)


class Computer:
    """A 6502 with 64 KB of memory, whose jiffy clock ticks whenever it is read."""

    def __init__(self) -> None:
        self.memory = ObservableMemory()
        self.cpu = MPU(memory=self.memory)
        self.ticks = 0
        self.memory.subscribe_to_read([CLOCK], self._tick)

    def _tick(self, address: int) -> int:
        self.ticks += 1
        return self.ticks & 0xFF

    def load(self, program: bytes) -> None:
        self.memory.write(int.from_bytes(program[:2], "little"), list(program[2:]))

    def call(self, address: int) -> None:
        """Run a subroutine until it returns."""
        self.cpu.sp = 0xFF
        self.cpu.stPushWord(RETURN_TO - 1)
        self.cpu.pc = address
        for _ in range(STEP_LIMIT):
            self.cpu.step()
            if self.cpu.pc == RETURN_TO:
                assert self.cpu.sp == 0xFF
                return
        raise AssertionError(f"the code at {address:04X} does not return")

    def bytes_at(self, address: int, count: int) -> bytes:
        return bytes(self.memory[address : address + count])

    def writes_to(self, addresses: list[int]) -> list[tuple[int, int]]:
        """Where what is written to these addresses will be noted, in order."""
        noted: list[tuple[int, int]] = []
        self.memory.subscribe_to_write(
            addresses, lambda address, value: noted.append((address, value))
        )
        return noted


@pytest.fixture
def computer() -> Computer:
    return Computer()


def run_program(computer: Computer, image: str, name: str) -> None:
    program = content(image, name)
    address = sys_address(program)
    assert address
    computer.load(program)
    computer.call(address)


def stubs() -> list[tuple[str, str]]:
    return [place for place in basic_programs() if sys_address(content(*place))]


def test_there_is_a_stub_on_each_disk_that_should_have_one() -> None:
    assert stubs() == [
        ("fog-over-grauhaven.d64", "FOG"),
        ("tangled-ropes.d64", "SAILORS KNOTS"),
        ("pier-gallery.d64", "GALLERY"),
        ("low-tide.d64", "SUNSET"),
        ("bench-disk.d64", "0801 TO CFFF"),
    ]


@pytest.mark.parametrize(("image", "name"), stubs())
def test_a_stub_calls_the_first_byte_of_its_code(image: str, name: str) -> None:
    program = content(image, name)
    address = sys_address(program)
    assert address == 2064
    before = program[2 : 2 + address - 0x0801]
    assert before.endswith(b"2064\0\0\0\0\0") and len(before) == 15
    assert program[2 + len(before)] == 0xA9  # LDA #: what each of them begins with


def test_bytes_and_words_of_the_listings_agree() -> None:
    computer = Computer()
    disassembler = Disassembler(computer.cpu)
    source = inspect.getsource(machine_code)
    lines = LISTING_LINE.findall(re.sub(r"\{[^{}]+:02X\}", "01", source))
    assert len(lines) > 90
    for code, word in lines:
        data = bytes.fromhex(code)
        computer.memory.write(0x1000, list(data))
        length, text = disassembler.instruction_at(0x1000)
        assert (length, text.split()[0]) == (len(data), word), code


def test_sunset_washes_the_screen_in_every_colour(computer: Computer) -> None:
    first_cell = computer.writes_to([COLOURS])
    computer.memory.write(COLOURS - 1, [0x77])
    computer.memory.write(COLOURS + 1000, [0x77])
    run_program(computer, "low-tide.d64", "SUNSET")
    assert [colour for _, colour in first_cell] == [*range(15, -1, -1), 14]
    assert computer.bytes_at(COLOURS, 1000) == bytes([14]) * 1000
    assert computer.memory[COLOURS - 1] == computer.memory[COLOURS + 1000] == 0x77


@pytest.mark.parametrize(
    ("image", "name", "slide", "count"),
    [
        ("fog-over-grauhaven.d64", "FOG", screens.fog, 51),
        ("pier-gallery.d64", "GALLERY", screens.gallery, 7),
        ("tangled-ropes.d64", "SAILORS KNOTS", screens.gallery, 8),
    ],
)
def test_a_slide_show_shows_every_slide(
    computer: Computer, image: str, name: str, slide: Callable[[int], bytes], count: int
) -> None:
    last_cell = SCREEN + 999
    shown: list[bytes] = []

    def note(address: int, value: int) -> None:
        shown.append(computer.bytes_at(SCREEN, 999) + bytes([value]))

    computer.memory.subscribe_to_write([last_cell], note)
    bank = computer.writes_to([0x01])
    computer.memory.write(last_cell + 1, [0x77])
    run_program(computer, image, name)
    assert shown == [slide(number) for number in range(count)]
    assert computer.memory[last_cell + 1] == 0x77
    assert computer.bytes_at(COLOURS, 1000) == b"\1" * 1000
    assert bank == [(1, 0x36), (1, 0x37)]  # the BASIC ROM out, and in again at the end


def test_a_picture_shows_with_its_colours(computer: Computer) -> None:
    computer.load(content("the-long-pier-disk-1.d64", "SHOW"))
    picture = content("the-long-pier-disk-1.d64", "PIER 3")
    assert picture == b"\x00\x20" + pictures.pier(3)
    computer.load(picture)
    computer.call(SHOW_CODE)
    assert computer.bytes_at(SCREEN, 1000) == picture[-1000:]
    assert (computer.memory[0xD011], computer.memory[0xD018]) == (0x3B, 0x18)


def test_lantern_watch_shows_plays_and_watches(computer: Computer) -> None:
    image = "lantern-watch.d64"
    for name in ("LANTERN CODE", "LANTERN PICTURE", "LANTERN NIGHTS"):
        computer.load(content(image, name))
    computer.call(SHOW_CODE)
    assert computer.bytes_at(SCREEN, 1000) == pictures.chart(11)[-1000:]
    pitches = computer.writes_to([0xD400, 0xD401])
    computer.call(SOUND_CODE)
    tune = papers.tune(notes=160)
    expected = [tune[at : at + 2] for at in range(0, 480, 3)]
    played = [bytes([low, high]) for (_, high), (_, low) in zip(*[iter(pitches)] * 2, strict=True)]
    assert played == expected
    assert computer.memory[0xD418] == 0
    computer.call(NIGHTS_CODE)
    assert computer.bytes_at(SCREEN, 1000) == screens.night(14)


def test_a_note_lasts_as_many_jiffies_as_it_says() -> None:
    # Each jiffy the loop reads the clock until it has changed: with this clock two reads.
    computer = Computer()
    computer.memory.write(0x1000, list(machine_code.melody(0x2000) + machine_code.END))
    computer.memory.write(0x2000, [0x12, 0x34, 9, 0x56, 0x78, 18, 0, 0, 0])
    computer.call(0x1000)
    assert computer.ticks == 2 * (9 + 18)


@pytest.mark.parametrize("name", BENCH_FILES)
def test_checksum_sums_what_was_loaded(computer: Computer, name: str) -> None:
    program = content("bench-disk.d64", name)
    computer.memory.write(0x2000, [0x99] * 0x4000)
    computer.load(content("bench-disk.d64", "CHECKSUM"))
    computer.load(program)
    end = 0x2000 + len(program) - 2
    computer.memory.write(0xFB, [0x00, 0x20])
    computer.memory.write(0xAE, list(end.to_bytes(2, "little")))  # as the machine's LOAD leaves it
    computer.call(0xC000)
    total = int.from_bytes(computer.bytes_at(0xFD, 2), "little")
    assert total == checksum(program) & 0xFFFF == sum(program[2:]) & 0xFFFF


@pytest.mark.parametrize(("spoil_at", "border"), [(None, 5), (0x0900, 2), (0xA123, 2), (0xCFFF, 2)])
def test_the_longest_program_checks_itself(
    computer: Computer, spoil_at: int | None, border: int
) -> None:
    computer.load(content("bench-disk.d64", "0801 TO CFFF"))
    if spoil_at is not None:
        computer.memory.write(spoil_at, [computer.memory[spoil_at] ^ 0x20])
    computer.call(2064)
    assert computer.memory[BORDER] == border
    assert computer.memory[0x01] == 0x37
