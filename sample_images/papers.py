"""The club's papers by formula: tides, members, tunes."""

from collections.abc import Iterator
from datetime import date, timedelta

RETURN = "\r"
TIDE_MINUTES = 745
"""From one high water to the next: 12 hours 25 minutes."""
SPRING_TO_SPRING_TIDES = 29
"""Tides from one spring tide to the next, about two weeks."""

MEMBER_BYTES = 100
TIDE_RECORD_BYTES = 88

FIRST_NAMES = ("TILDA", "OTTE", "BRIX", "WANJA", "JORIK", "SELMA", "HENNIK", "LUETTE")
LAST_NAMES = ("FENDERBOOM", "SPLEISS", "MARLPRIEM", "KAIKANTE", "NEBELUNG", "WATTWURM", "LOTLEIN")
BOATS = ("KLABAUTER", "FEUCHTE FREUDE", "UNSINKABLE 2", "GREY GULL", "BOOTSTRAP", "NULL POINTER")

# Pitches of the octave from C on for the sound chip's registers, from memory of the programmer's
# reference; an octave lower is half.
TOP_OCTAVE = (34334, 36376, 38539, 40830, 43258, 45830, 48556, 51443, 54502, 57743, 61176, 64814)
TOP_OCTAVE_NUMBER = 7
MINOR_SCALE = (0, 2, 3, 5, 7, 8, 10)


def tides(day: int) -> Iterator[tuple[str, str, str]]:
    """The four turns of a day's tide (0 is New Year): HIGH or LOW, time, height in metres."""
    first = -(day * 1440 // -TIDE_MINUTES)
    for tide in (first, first + 1):
        from_neap = abs(tide % SPRING_TO_SPRING_TIDES - SPRING_TO_SPRING_TIDES // 2)
        for name, minutes, decimetres in (
            ("HIGH", tide * TIDE_MINUTES, 30 + from_neap),
            ("LOW", tide * TIDE_MINUTES + TIDE_MINUTES // 2, 14 - from_neap // 2),
        ):
            minute = minutes % 1440
            time = f"{minute // 60:02}.{minute % 60:02}"
            yield name, time, f"{decimetres // 10}.{decimetres % 10}"


def tides_of_year(year: int) -> bytes:
    """A line for each day: month and day, then time and height of each turn."""
    new_year = date(year, 1, 1)
    days = (date(year + 1, 1, 1) - new_year).days
    epoch_days = (new_year - date(1984, 1, 1)).days
    lines = []
    for day in range(days):
        turns = " ".join(f"{time} {height}" for _, time, height in tides(epoch_days + day))
        lines.append(f"{new_year + timedelta(day):%m%d} {turns}{RETURN}")
    return "".join(lines).encode("ascii")


def tide_records() -> bytes:
    """A record for each day of a leap year, of four fields."""
    return b"".join(
        _record(
            (f"{name} {time} {height} M" for name, time, height in tides(day)), TIDE_RECORD_BYTES
        )
        for day in range(366)
    )


def member_records(count: int) -> bytes:
    """A record for each member: name, boat, year of joining."""
    return b"".join(
        _record(
            (
                f"{FIRST_NAMES[n % len(FIRST_NAMES)]} {LAST_NAMES[n % len(LAST_NAMES)]}",
                BOATS[n * n % len(BOATS)],
                str(1981 + n // 9),
            ),
            MEMBER_BYTES,
        )
        for n in range(count)
    )


def tune(notes: int) -> bytes:
    """Notes for the melody player: low and high byte of the pitch, jiffies; a note of 0 ends."""
    played = bytearray()
    for note in range(notes):
        step = (note * note // 3 + 2 * note) % 14
        octave = 4 + step // len(MINOR_SCALE)
        pitch = TOP_OCTAVE[MINOR_SCALE[step % len(MINOR_SCALE)]] >> TOP_OCTAVE_NUMBER - octave
        played += pitch.to_bytes(2, "little") + bytes([18 if note % 4 == 3 else 9])
    return bytes(played) + bytes(3)


def _record(fields: Iterator[str] | tuple[str, ...], record_bytes: int) -> bytes:
    return "".join(field + RETURN for field in fields).encode("ascii").ljust(record_bytes, b"\0")
