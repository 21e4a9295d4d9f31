"""The samples' BASIC programs list, re-tokenise, fit the machine, and run.

They run in basic_machine.py, which is written from memory of the machine's user guide.
"""

import re
from datetime import date, timedelta
from itertools import pairwise

import pytest

from formats.programs import checksum, sys_address, tokenise
from sample_images import folder, papers
from tests.sample_images.basic_machine import BasicMachine, Drive
from tests.sample_images.samples import audited, basic_programs, content, file_of, images, listing

SCREEN_LINES = 80
"""What can be typed as one line: two rows of the screen."""
JUMP = re.compile(r"(?:GOTO|GOSUB|THEN) *((?:\d+,)*\d+)")


def machine(
    image: str, name: str, answers: str = "", keys: list[str] | None = None
) -> BasicMachine:
    audit = audited(image)
    drive = Drive(
        file=lambda wanted: rel_or_other(image, wanted),
        record_bytes={file.entry.text: file.entry.record_length for file in audit.files},
        block=audit.image.at,
    )
    lines = listing(image, name)
    return BasicMachine(lines, answers.split("/") if answers else [], keys or [], drive)


def rel_or_other(image: str, name: str) -> bytes:
    if all(file.entry.text != name for file in audited(image).files):
        raise KeyError(f"{name} is not on {image}")
    return content(image, name)


def run(name: str, answers: str = "", keys: list[str] | None = None) -> str:
    return machine("club-evening.d64", name, answers, keys).run()


@pytest.mark.parametrize(("image", "name"), basic_programs())
def test_a_listing_tokenises_to_the_program(image: str, name: str) -> None:
    program = content(image, name)
    again = tokenise(listing(image, name))
    assert program == again if sys_address(program) is None else program.startswith(again)


@pytest.mark.parametrize(("image", "name"), basic_programs())
def test_a_listing_can_be_typed_and_jumps_to_its_own_lines(image: str, name: str) -> None:
    lines = listing(image, name)
    numbers = [int(line.split()[0]) for line in lines]
    assert numbers == sorted(set(numbers))
    assert max(map(len, lines)) <= SCREEN_LINES
    for line in lines:
        for targets in JUMP.findall(re.sub(r'"[^"]*"|REM.*', "", line)):
            assert set(map(int, targets.split(","))) <= set(numbers), line


def test_every_listing_is_on_some_disk() -> None:
    on_disks = {name.lower().replace(" ", "-") for _, name in basic_programs()}
    assert {path.stem for path in (folder() / "listings").iterdir()} <= on_disks


def test_tide_table() -> None:
    out = run("TIDE TABLE", "0312")
    start = 3 * 60 + 12
    for day in range(7):
        for tide in (0, 1):
            minutes = start + (2 * day + tide) * 745
            assert f"{minutes // 60 % 24:02}.{minutes % 60:02}" in out.split(f"DAY {day + 1}")[1]
    assert "DAY 8" not in out


def test_fog_horn() -> None:
    computer = machine("club-evening.d64", "FOG HORN")
    assert computer.run() == "HOOOOOOOOOOOO\nHOOO\nHOOO\n"
    assert computer.memory[54296] == 0


def test_lighthouse_flashes_for_one_turn_of_its_clock() -> None:
    computer = machine("club-evening.d64", "LIGHTHOUSE", keys=["", "X"])
    assert "FL(3) 20S" in computer.run()
    assert computer.memory[53280] == 14
    # Twice 1200 jiffies; the test's clock is read in steps of 7, which may overshoot each wait.
    assert 2400 <= computer.jiffies <= 2400 + 14 * 14


@pytest.mark.parametrize(
    ("name", "answers", "expected"),
    [
        ("QUAY ACCOUNTS", "GREY GULL/10/2/HULK/20/1/END", ["OWES 50 CROWNS", "TOGETHER", " 130 "]),
        ("QUAY ACCOUNTS", "END", ["AN EMPTY QUAY"]),
        ("HARBOUR QUIZ", "PORT/X/KNOT/GALLEY/RED/HALYARD", ["IT IS STARBOARD", " 5 OF 6 RIGHT"]),
        ("HARBOUR QUIZ", "PORT/STARBOARD/KNOT/GALLEY/RED/HALYARD", ["STEER THE FERRY"]),
        ("MORSE KEY", "SOS FOG", ["... --- ... / ..-. --- --. "]),
        ("BAROMETER", "1010/1002", ["CHANGE-8", "STORM"]),
        ("BAROMETER", "1010/1007", ["WIND AND RAIN"]),
        ("BAROMETER", "1010/1010", ["AS IT IS"]),
        ("BAROMETER", "1010/1014", ["CHANGE 4", "IT CLEARS"]),
        ("SHIPS BELL", "13/30", [" 3 BELLS", "DINGDING DING\n"]),
        ("SHIPS BELL", "12/0", [" 8 BELLS"]),
        ("WIND ROSE", "0/68/225/359/-1", ["FROM N\n", "FROM ENE\n", "FROM SW\n"]),
        ("FERRY TIMES", "1300", ["FERRY AT 1440"]),
        ("FERRY TIMES", "2100", ["THE INN HAS BEDS"]),
        ("CRANE", "1/3", ["TRIMMED. CAST OFF!"]),
        ("CRANE", "3/5", ["SHE SINKS"]),
        ("SPRING TIDE", "15", ["KEEP OFF THE LOW QUAY"]),
        ("SPRING TIDE", "22", ["BIG SHIPS WAIT"]),
        ("SPRING TIDE", "4", ["NEITHER"]),
        ("FLAG LOCKER", "H/Z/END", ["PILOT ON BOARD", "NOT IN THE LOCKER"]),
        ("ANCHOR CHAIN", "8/2/5", ["PAY OUT 50 METRES", "RADIUS OF 49 "]),
    ],
)
def test_a_program_answers(name: str, answers: str, expected: list[str]) -> None:
    out = run(name, answers)
    for text in expected:
        assert text in out


def test_knots() -> None:
    lines = run("KNOTS").splitlines()
    assert lines[0] == "KNOTS     KM/H"
    assert lines[5].split() == ["5", "9.3"]  # 1.852 km a nautical mile
    assert len(lines) == 21


def test_fish_auction_sells_to_the_inn_or_to_you() -> None:
    out = run("FISH AUCTION", keys=["X"] + [""] * 200)
    assert out.count("YOURS") == 1 and out.count("SOLD TO THE INN") == 4
    assert "YOUR PURSE:" in out


def test_depth_sounder_is_found_by_halving() -> None:
    low, high, asked = 1, 99, []
    out = ""
    while "CLANG" not in out:
        asked.append((low + high) // 2)
        out = run("DEPTH SOUNDER", "/".join(map(str, asked)))
        if out.rstrip("? FATHOMS").endswith("FALLING\n"):
            low = asked[-1] + 1
        else:
            high = asked[-1] - 1
    assert f"WITH {len(asked)} CASTS" in out and len(asked) <= 7


def test_buoys_counts_what_is_steered_well() -> None:
    out = run("BUOYS", keys=["Q", *"PPPPP"])
    assert f" {out.count('A RED')} OF 5 PASSED" in out
    assert out.count("WELL STEERED") == out.count("A RED")


def test_sea_shanty_has_three_verses() -> None:
    assert run("SEA SHANTY").count("HEAVE AWAY, HEAVE AWAY") == 3


def test_coffee_fund_balances() -> None:
    cups = {"TILDA": (14, 5), "OTTE": (31, 6), "BRIX": (8, 5), "WANJA": (22, 8)}
    out = run("COFFEE FUND")
    for name, (drunk, paid) in cups.items():
        line = next(line for line in out.splitlines() if line.startswith(name))
        assert float(line.split()[-1]) == pytest.approx(paid - 0.3 * drunk)
    total = sum(paid - 0.3 * drunk for drunk, paid in cups.values())
    assert float(out.split("TIN:")[1]) == pytest.approx(total)


def test_low_tide_ends_at_home_or_in_the_water() -> None:
    assert "HOME AND DRY" in machine("low-tide.d64", "LOW TIDE", "D/W/H").run()
    assert "THE TIDE IS IN" in machine("low-tide.d64", "LOW TIDE", "D/D/D/D").run()


def test_lantern_watch_loads_its_parts_in_order() -> None:
    computer = machine("lantern-watch.d64", "LANTERN WATCH")
    assert "THE WATCH IS OVER" in computer.run()
    assert computer.drive
    assert computer.drive.loaded == ["LANTERN CODE", "LANTERN PICTURE", "LANTERN NIGHTS"]
    assert computer.called == [49152, 49280, 49408]


def test_long_pier_tells_its_story_over_two_disks() -> None:
    computer = machine("the-long-pier-disk-1.d64", "LONG PIER", keys=["", *"YYYYYY"])
    first = computer.run()
    assert "PLEASE PUT IN DISK 2" in first
    assert computer.drive
    computer.drive.file = lambda name: content("the-long-pier-disk-2.d64", name)
    computer.keys = [*"YYYYYYY"]
    computer.place = 0  # it waits in the line that reads the key
    whole = computer.run()
    assert whole.endswith("THE END\n")
    for chapter in range(1, 7):
        text = (folder() / "texts" / f"chapter-{chapter}.txt").read_text(encoding="utf-8")
        assert text in whole
    assert computer.drive.loaded == ["SHOW", *(f"PIER {number}" for number in range(1, 7))]


@pytest.mark.parametrize("image", ["deep-water.d64", "chart-room.d71", "salt-spray.d64"])
def test_chart_viewer_shows_the_charts_of_its_disk(image: str) -> None:
    charts = [f.entry.text for f in audited(image).files if f.entry.text.startswith("CHART ")]
    numbers = [
        name.split()[1] for name in charts if name[-1].isdigit() and file_of(image, name).whole
    ]
    answers = "/".join([*numbers, "0"])
    computer = machine(image, "CHART VIEWER", answers, keys=["X"] * len(numbers))
    computer.run()
    assert computer.drive
    assert computer.drive.loaded == ["SHOW", *(f"CHART {number}" for number in numbers)]
    assert computer.called == [49152] * len(numbers) and numbers


def test_smuggler_reads_the_raw_blocks_to_the_screen() -> None:
    computer = machine("smugglers-tunnel.d64", "SMUGGLER", keys=["X", "Q"])
    computer.run()
    screen = bytes(computer.memory[address] for address in range(1024, 2048))
    assert screen == images()["smugglers-tunnel.d64"][1024:2048]


def test_register_finds_a_member_by_number() -> None:
    out = machine("club-register.d64.gz", "REGISTER", "1/90/0").run()
    members = papers.member_records(90)
    for number in (1, 90):
        record = members[(number - 1) * 100 : number * 100]
        name, boat, since = record.rstrip(b"\0").decode().split("\r")[:3]
        assert f"{name}\nBOAT: {boat}\nSINCE {since}\n" in out


@pytest.mark.parametrize("day", [1, 255, 256, 366])
def test_tide_finder_finds_a_day_past_record_255_too(day: int) -> None:
    out = machine("club-register.d64.gz", "TIDE FINDER", f"{day}/0").run()
    for name, time, height in papers.tides(day - 1):
        assert f"{name} {time} {height} M\n" in out


def test_archive_finds_the_tides_of_a_day() -> None:
    out = machine("harbour-archive.d81", "ARCHIVE", "1988/0229/1993/1231/0").run()
    for when in (date(1988, 2, 29), date(1993, 12, 31)):
        turns = papers.tides((when - date(1984, 1, 1)).days)
        expected = " ".join(f"{time} {height}" for _, time, height in turns)
        assert f"{when:%m%d} {expected}\n" in out


def test_tides_go_on_from_day_to_day() -> None:
    minutes = []
    for day in range(60):
        for name, time, _ in papers.tides(day):
            hours, minute = map(int, time.split("."))
            if name == "HIGH":
                minutes.append((day, hours * 60 + minute))
    first_of_days = [next(m for d, m in minutes if d == day) for day in range(60)]
    assert all(0 <= m < papers.TIDE_MINUTES for m in first_of_days)
    for earlier, later in pairwise(first_of_days):
        assert (later - earlier) % papers.TIDE_MINUTES == 2 * papers.TIDE_MINUTES - 1440
    assert timedelta(minutes=papers.TIDE_MINUTES) == timedelta(hours=12, minutes=25)


def test_storm_log_ends_in_the_dark() -> None:
    out = machine("power-cut.d64", "STORM LOG").run().splitlines()
    assert out[0] == "18.00  WIND #####"
    assert out[-1] == "21.47  THE LIGHTS WENT OUT"


class TestBenchGuide:
    IMAGE = "bench-disk.d64"

    def sums(self) -> dict[str, int]:
        rows = [
            line.split("DATA ")[1] for line in listing(self.IMAGE, "BENCH GUIDE") if "DATA" in line
        ]
        pairs = [row.split(",") for row in rows[:-1]]
        return {name: int(total) for name, total in pairs}

    def test_it_knows_the_sum_of_every_file_loaded_at_2000(self) -> None:
        tested = {
            file.entry.text: checksum(content(self.IMAGE, file.entry.text)) & 0xFFFF
            for file in audited(self.IMAGE).files
            if file.load_address == 0x2000
        }
        assert self.sums() == tested and len(tested) == 11

    def test_it_tells_a_right_load_from_a_wrong_one(self) -> None:
        names = list(self.sums())
        computer = machine(self.IMAGE, "BENCH GUIDE", "1/2/0", keys=["X", "X"])
        total = self.sums()[names[0]]
        # What CHECKSUM would leave; it is right for the first file, and so wrong for the second.
        computer.memory |= {253: total & 0xFF, 254: total >> 8}
        out = computer.run()
        assert f"{names[0]} IS RIGHT" in out and f"{names[1]} IS WRONG" in out
        assert computer.drive
        assert computer.drive.loaded == ["CHECKSUM", *names[:2]]


def test_the_other_disk_sends_you_to_the_first() -> None:
    assert "DISK 1" in machine("the-long-pier-disk-2.d64", "PLEASE START 1").run()
