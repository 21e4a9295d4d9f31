from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.audit import audit
from formats.compose import NewFile, compose
from formats.geometry import LAYOUTS, TRACKS_35
from formats.image import DiskImage
from loadglass.timing.motion import pack_blocks, unpack_blocks
from loadglass.timing.places import FilePlaces, ImagePlaces

BLOCK = st.integers(0, 682)
"""Of every layout."""
FILES = st.lists(
    st.builds(
        FilePlaces,
        slot=st.integers(0, 295),
        sectors=st.integers(1, 37),
        loadable=st.booleans(),
        last_bytes=st.integers(0, 254),
        blocks=st.lists(BLOCK, min_size=1, max_size=20).map(pack_blocks),
    ),
    max_size=6,
)


@given(st.sampled_from(LAYOUTS), BLOCK, st.lists(BLOCK, min_size=1, max_size=18), FILES)
def test_bytes_hold_all_of_it(geometry, header, directory, files):
    files = [file._replace(sectors=min(file.sectors, len(directory))) for file in files]
    places = ImagePlaces(geometry, header, tuple(directory), tuple(files))
    assert ImagePlaces.from_bytes(places.to_bytes()) == places


@given(st.binary(max_size=60))
def test_other_bytes_are_refused_or_read_to_the_last(data):
    with suppress(ValueError):
        assert ImagePlaces.from_bytes(data).to_bytes() == data


@pytest.mark.parametrize(
    ("numbers", "says"),
    [
        ((), "are not the places"),
        ((684, 357, 0, 0), "are not the places"),  # no layout has 684 blocks
        ((683, 357, 1, 0), "are not the places"),  # the directory's sector is missing
        ((683, 357, 1, 1, 358, 0, 1, 100, 2, 5), "do not fit"),  # one block of two
        ((683, 357, 0, 0, 0), "do not fit"),  # something left over
        ((683, 357, 1, 1, 358, 0, 1, 100, 0), "do not fit"),  # a file of no blocks
        ((683, 357, 1, 1, 358, 0, 1, 100, 1, 683), "do not fit"),  # past the last block
        ((683, 357, 1, 1, 358, 0, 2, 100, 1, 5), "do not fit"),  # in the second sector of one
        ((683, 683, 0, 0), "do not fit"),
    ],
)
def test_what_is_wrong_with_bytes(numbers, says):
    with pytest.raises(ValueError, match=says):
        ImagePlaces.from_bytes(pack_blocks(numbers))


def test_places_of_an_audit():
    files = [
        NewFile(b"QUAY", bytes(600)),
        NewFile(b"TIDES", b"ebb and flow" * 30, type_code=1),
        NewFile(b"GONE", bytes(range(1, 251)) * 4),
    ]
    data = bytearray(compose(b"GRAUHAVEN", files))
    whole = audit(DiskImage.from_bytes(bytes(data)))
    gone = whole.files[2].chain.blocks[1]
    data[gone * 256 : gone * 256 + 2] = b"\xff\xff"
    places = ImagePlaces.of(audit(DiskImage.from_bytes(bytes(data))))
    assert places.geometry is TRACKS_35
    assert (places.header, places.directory) == (TRACKS_35.index(18, 0), (TRACKS_35.index(18, 1),))
    assert [(file.slot, file.loadable) for file in places.files] == [(0, True), (1, False)]
    assert [file.last_bytes for file in places.files] == [600 - 2 * 254, 360 - 254]
    for file, audited in zip(places.files, whole.files, strict=False):
        assert list(unpack_blocks(file.blocks)) == audited.chain.blocks


@pytest.mark.parametrize(("directory", "file"), [([], [1]), ([357], [1]), ([357, 358], [])])
def test_of_file_needs_blocks(directory, file):
    with pytest.raises(ValueError, match="at the least"):
        ImagePlaces.of_file(TRACKS_35, directory, file, 1)


def test_a_loader_that_takes_sectors_as_they_come_stays_on_a_track():
    on_17, on_16, on_15 = (TRACKS_35.first_block[track - 1] for track in (17, 16, 15))
    file = [on_17, on_16 + 3, on_17 + 9, on_15, on_16 + 1, on_17 + 2]
    places = ImagePlaces.of_file(TRACKS_35, [357, 358], file, 7)
    assert places.taken("interleave") is places
    taken = places.taken("any")
    assert unpack_blocks(taken.files[0].blocks) == (
        *(on_17, on_17 + 9, on_17 + 2),
        *(on_16 + 3, on_16 + 1),
        on_15,
    )
    assert taken.files[0]._replace(blocks=b"") == places.files[0]._replace(blocks=b"")
    assert (taken.geometry, taken.directory) == (places.geometry, places.directory)
