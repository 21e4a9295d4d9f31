"""Makes the sample images: `python -m sample_images.make [FOLDER]`, its own folder by default.

The images come out the same to the byte every time; gzip and zip files once they are unpacked.
README.md says what each one is for.
"""

import argparse
import gzip
import io
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path

from formats.compose import NEVER_WRITTEN, NewFile, compose
from formats.directory import REL, SEQ
from formats.geometry import TRACKS_40, TRACKS_70, TRACKS_80
from formats.petscii import from_text
from sample_images import folder, machine_code, papers, pictures, screens
from sample_images.bench import bench_disk
from sample_images.faults import (
    fail_read,
    interrupt_save,
    loop_chain,
    miscount,
    save_over,
    scratch,
)
from sample_images.parts import (
    CODE_AT,
    basic,
    chapters,
    chart_viewer,
    charts,
    club_programs,
    prg,
    show_code,
    slide_show,
    sunset,
    text,
)
from sample_images.placing import add_file, decorate, store_raw

SOUND_CODE_AT = 0xC080
PLAYER_CODE_AT = 0xC100
TUNE_AT = 0xC200
NIGHTS_AT = 0x4400
NIGHT_BYTES = TUNNEL_BYTES = 1024
"""A screen of 1000 characters, and room to the next full page."""
CHECKSUM_ERROR = 0x05


def fog_over_grauhaven() -> bytes:
    moments = [screens.fog(moment) for moment in range(51)]
    return compose(b"GRAUHAVEN FOG", [slide_show(b"FOG", moments, jiffies=15)])


def lantern_watch() -> bytes:
    code = bytearray(TUNE_AT - CODE_AT)
    nights = [screens.night(number).ljust(NIGHT_BYTES, b"\0") for number in range(15)]
    for address, routine in (
        (CODE_AT, machine_code.SHOW_PICTURE),
        (SOUND_CODE_AT, machine_code.melody(TUNE_AT)),
        (PLAYER_CODE_AT, machine_code.play(NIGHTS_AT, len(nights), NIGHT_BYTES, jiffies=120)),
    ):
        at = address - CODE_AT
        code[at : at + len(routine) + 1] = routine + machine_code.END
    return compose(
        b"LANTERN WATCH",
        [
            basic(b"LANTERN WATCH"),
            prg(b"LANTERN CODE", CODE_AT, code + papers.tune(notes=160)),
            prg(b"LANTERN PICTURE", machine_code.PICTURE, pictures.chart(11)),
            prg(b"LANTERN NIGHTS", NIGHTS_AT, b"".join(nights)),
        ],
    )


def club_evening() -> bytes:
    return compose(b"CLUB EVENING", club_programs(), filling=NEVER_WRITTEN)


def the_long_pier_1() -> bytes:
    return compose(b"THE LONG PIER 1", [basic(b"LONG PIER"), show_code(), *chapters(1, 2, 3)])


def the_long_pier_2() -> bytes:
    return compose(b"THE LONG PIER 2", [basic(b"PLEASE START 1"), *chapters(4, 5, 6)])


def ring_buoy() -> bytes:
    slides = [screens.night(number) for number in range(20)]
    data = compose(
        b"RING BUOY", [slide_show(b"RING BUOY", slides, jiffies=60), basic(b"TIDE TABLE")]
    )
    return loop_chain(data, b"RING BUOY", position=30)


def tangled_ropes() -> bytes:
    knots = [screens.gallery(number) for number in range(8)]
    data = compose(b"TANGLED ROPES", chart_viewer(1, 2))
    return save_over(
        data, b"CHART 1", kept_blocks=16, file=slide_show(b"SAILORS KNOTS", knots, jiffies=90)
    )


def power_cut() -> bytes:
    data = compose(b"POWER CUT", [basic(b"STORM LOG"), *chart_viewer(3)], filling=NEVER_WRITTEN)
    return miscount(interrupt_save(data, b"CHART 3"), track=20, free_blocks=7)


def deep_water() -> bytes:
    data = compose(b"DEEP WATER", chart_viewer(1, 2, 3, 4), TRACKS_40)
    return add_file(data, charts(5)[0], tracks=range(36, 41))


def salt_spray() -> bytes:
    return fail_read(
        compose(b"SALT SPRAY", chart_viewer(6, 7, 8), filling=NEVER_WRITTEN),
        b"CHART 7",
        position=12,
        error_byte=CHECKSUM_ERROR,
    )


def pier_gallery() -> bytes:
    slides = [screens.gallery(number) for number in range(7)]
    data = compose(from_text("♦ PIER GALLERY ♦"), [slide_show(b"GALLERY", slides, jiffies=120)])
    return decorate(data, text("border-above.txt"), text("border-below.txt"))


def smugglers_tunnel() -> bytes:
    data = compose(b"SMUGGLERS TUNNEL", [basic(b"SMUGGLER")])
    ways = [screens.tunnel(number).ljust(TUNNEL_BYTES, bytes([number + 1])) for number in range(84)]
    return store_raw(data, first_track=1, content=b"".join(ways))


def low_tide() -> bytes:
    data = compose(b"LOW TIDE", [basic(b"LOW TIDE"), *chart_viewer(9), sunset()])
    return scratch(data, b"CHART 9")


def club_register() -> bytes:
    return compose(
        b"CLUB REGISTER",
        [
            basic(b"REGISTER"),
            basic(b"TIDE FINDER"),
            NewFile(b"MEMBERS", papers.member_records(90), REL, record_length=papers.MEMBER_BYTES),
            NewFile(b"TIDES", papers.tide_records(), REL, record_length=papers.TIDE_RECORD_BYTES),
        ],
    )


def chart_room() -> bytes:
    return compose(b"CHART ROOM", chart_viewer(*range(1, 21)), TRACKS_70)


def harbour_archive() -> bytes:
    years = [
        NewFile(b"TIDES %d" % year, papers.tides_of_year(year), SEQ) for year in range(1984, 1994)
    ]
    return compose(b"HARBOUR ARCHIVE", [basic(b"ARCHIVE"), *years, *club_programs()], TRACKS_80)


def gzipped(data: bytes) -> bytes:
    return gzip.compress(data, mtime=0)


def zipped(members: dict[str, bytes]) -> bytes:
    """A zip file with the members in their order, dated 1 January 1987."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        for name, data in members.items():
            member = zipfile.ZipInfo(name, date_time=(1987, 1, 1, 0, 0, 0))
            member.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(member, data)
    return stream.getvalue()


SAMPLES: dict[str, Callable[[], bytes]] = {
    "fog-over-grauhaven.d64": fog_over_grauhaven,
    "lantern-watch.d64": lantern_watch,
    "club-evening.d64": club_evening,
    "the-long-pier-disk-1.d64": the_long_pier_1,
    "the-long-pier-disk-2.d64": the_long_pier_2,
    "ring-buoy.d64": ring_buoy,
    "tangled-ropes.d64": tangled_ropes,
    "power-cut.d64": power_cut,
    "deep-water.d64": deep_water,
    "salt-spray.d64": salt_spray,
    "pier-gallery.d64": pier_gallery,
    "smugglers-tunnel.d64": smugglers_tunnel,
    "low-tide.d64": low_tide,
    "club-register.d64.gz": lambda: gzipped(club_register()),
    "attic-finds.zip": lambda: zipped(
        {"chart-room.d71": chart_room(), "harbour-archive.d81": harbour_archive()}
    ),
    "bench-disk.d64": bench_disk,
}
"""File names of the samples, and what makes each of them."""


def main() -> None:
    parser = argparse.ArgumentParser(
        prog="python -m sample_images.make", description="Makes the sample images."
    )
    parser.add_argument("folder", nargs="?", type=Path, default=folder(), metavar="FOLDER")
    target: Path = parser.parse_args().folder
    try:
        target.mkdir(parents=True, exist_ok=True)
        for name, make in SAMPLES.items():
            (target / name).write_bytes(make())
            print(target / name)
    except OSError as error:
        sys.exit(f"the samples cannot be written to {target}: {error.strerror}")


if __name__ == "__main__":
    main()
