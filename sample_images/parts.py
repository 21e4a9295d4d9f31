"""Files that several samples are put together from."""

from formats.compose import NewFile
from formats.directory import SEQ
from formats.programs import BASIC_START, tokenise
from sample_images import folder, machine_code, papers, pictures

CODE_AT = 0xC000
LIGHT_BLUE, WHITE = 14, 1

CLUB_EVENING = """
    TIDE TABLE;FOG HORN;LIGHTHOUSE;QUAY ACCOUNTS;HARBOUR QUIZ;MORSE KEY;KNOTS;BAROMETER;
    SHIPS BELL;WIND ROSE;FERRY TIMES;FISH AUCTION;DEPTH SOUNDER;CRANE;BUOYS;SPRING TIDE;
    FLAG LOCKER;SEA SHANTY;ANCHOR CHAIN;COFFEE FUND
"""


def text(name: str) -> list[str]:
    """The lines of one of the texts."""
    return _lines("texts", name)


def prg(name: bytes, address: int, content: bytes | bytearray) -> NewFile:
    return NewFile(name, address.to_bytes(2, "little") + content)


def basic(name: bytes, *more_lines: str) -> NewFile:
    """A BASIC program from the listing of its name, with more lines at the end."""
    return NewFile(name, tokenise([*_lines("listings", f"{_stem(name)}.bas"), *more_lines]))


def slide_show(name: bytes, slides: list[bytes], jiffies: int) -> NewFile:
    """A program of one file that shows screens one after the other."""

    def code(first_screen: int) -> bytes:
        return (
            machine_code.colour_all(WHITE)
            + machine_code.BASIC_OUT
            + machine_code.play(first_screen, len(slides), len(slides[0]), jiffies)
            + machine_code.BASIC_IN
            + machine_code.END
        )

    program = machine_code.behind_stub(code(0))
    first_screen = BASIC_START - 2 + len(program)
    return NewFile(name, machine_code.behind_stub(code(first_screen)) + b"".join(slides))


def sunset() -> NewFile:
    code = machine_code.sunset(jiffies=12, last_colour=LIGHT_BLUE) + machine_code.END
    return NewFile(b"SUNSET", machine_code.behind_stub(code))


def show_code() -> NewFile:
    return prg(b"SHOW", CODE_AT, machine_code.SHOW_PICTURE + machine_code.END)


def charts(*numbers: int) -> list[NewFile]:
    return [
        prg(b"CHART %d" % number, machine_code.PICTURE, pictures.chart(number))
        for number in numbers
    ]


def chart_viewer(*numbers: int) -> list[NewFile]:
    return [basic(b"CHART VIEWER"), show_code(), *charts(*numbers)]


def club_programs() -> list[NewFile]:
    return [basic(name.strip().encode()) for name in CLUB_EVENING.split(";")]


def chapters(*numbers: int) -> list[NewFile]:
    files = []
    for number in numbers:
        view = prg(b"PIER %d" % number, machine_code.PICTURE, pictures.pier(number))
        story = "".join(line + papers.RETURN for line in text(f"chapter-{number}.txt"))
        files += [view, NewFile(b"CHAPTER %d" % number, story.encode("ascii"), SEQ)]
    return files


def _stem(name: bytes) -> str:
    return name.decode("ascii").lower().replace(" ", "-")


def _lines(kind: str, name: str) -> list[str]:
    return (folder() / kind / name).read_text(encoding="utf-8").splitlines()
