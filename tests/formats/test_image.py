"""Placing bytes on a layout, and what each block says by itself.

Sizes and error bytes: drive manuals of the 1980s, from memory.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.errors import NotAnImage
from formats.geometry import LAYOUTS, TRACKS_35, TRACKS_70, Place
from formats.image import ERROR_MEANINGS, LONGEST_BYTES, DiskImage, status_number
from tests.examples import examples
from tests.formats.builders import ONES, STOCK_FILLING, ZEROS, noise

END_OF_TRACK_18 = (17 * 21 + 19) * 256
PLAIN = [174_848, 196_608, 205_312, 349_696, 819_200]
WITH_ERRORS = [175_531, 197_376, 206_114, 351_062, 822_400]
NAMES = ["35-track", "40-track", "42-track", "70-track", "80-track"]


def placed(data: bytes) -> tuple[str, int]:
    """Kind, and bytes past the layout."""
    image = DiskImage.from_bytes(data)
    return image.kind, len(image.extra)


@pytest.mark.parametrize(("size", "name"), list(zip(PLAIN, NAMES, strict=True)))
def test_an_exact_size_is_its_layout(size: int, name: str) -> None:
    assert placed(bytes(size)) == (name, 0)
    assert placed(bytes(size + 1)) == (name, 1)
    assert DiskImage.from_bytes(noise(size)).error_bytes is None


@pytest.mark.parametrize(("size", "name"), list(zip(WITH_ERRORS, NAMES, strict=True)))
def test_an_exact_size_with_error_bytes(size: int, name: str) -> None:
    """Whatever they are: the size is exact."""
    assert placed(bytes(size)) == (f"{name} with error bytes", 0)
    assert placed(noise(size)) == (f"{name} with error bytes", 0)
    one_less = len(noise(size - 1)) - PLAIN[NAMES.index(name)]
    assert placed(noise(size - 1)) == (name, one_less)
    assert placed(bytes(size + 1)) == (f"{name} with error bytes", 1)


@pytest.mark.parametrize(
    ("size", "name"), list(zip([s - 1 for s in PLAIN[1:]], NAMES[:-1], strict=True))
)
def test_a_byte_too_few_is_the_next_smaller_layout(size: int, name: str) -> None:
    below = PLAIN[NAMES.index(name)]
    assert placed(noise(size)) == (name, size - below)


def test_padding_behind_a_layout_is_no_error_bytes_unless_all_are_known_codes() -> None:
    sectors = noise(PLAIN[0])
    good = b"\x01" * 683
    assert placed(sectors + good + b"PAD") == ("35-track with error bytes", 3)
    assert placed(sectors + good[1:] + b"\x55" + b"PAD") == ("35-track", 683 + 3)


def test_a_short_image_reaches_past_track_18() -> None:
    with pytest.raises(NotAnImage, match="are too few for a disk image"):
        DiskImage.from_bytes(bytes(END_OF_TRACK_18))
    image = DiskImage.from_bytes(noise(END_OF_TRACK_18 + 1))
    assert (image.kind, image.present_blocks) == ("35-track", 376)
    assert image.fails.tolist() == [False] * 376 + [True] * 307
    nearly = DiskImage.from_bytes(noise(PLAIN[0] - 1))
    assert (nearly.kind, nearly.present_blocks) == ("35-track", 682)
    assert np.flatnonzero(nearly.fails).tolist() == [682]


def test_a_block_that_is_cut_keeps_its_first_bytes() -> None:
    data = noise(PLAIN[0] - 100)
    image = DiskImage.from_bytes(data)
    assert image.block(682) == data[-156:] + bytes(100)


@pytest.mark.parametrize(
    ("size", "why"), [(0, "empty"), (1, "too few"), (LONGEST_BYTES + 1, "many")]
)
def test_what_cannot_be_an_image_is_told_so(size: int, why: str) -> None:
    with pytest.raises(NotAnImage, match=why) as told:
        DiskImage.from_bytes(bytes(size))
    assert "\n" not in str(told.value)


SIZES = st.one_of(
    st.integers(0, LONGEST_BYTES + 500),
    st.sampled_from([*PLAIN, *WITH_ERRORS, END_OF_TRACK_18]).flatmap(
        lambda size: st.integers(size - 300, size + 300)
    ),
)


@given(SIZES, st.integers(0, 255), st.integers(0, 2**32))
@examples(60)
def test_any_bytes_are_an_image_or_told_that_they_are_none(
    size: int, value: int, seed: int
) -> None:
    data = noise(min(size, 400), seed) + bytes([value]) * max(size - 400, 0)
    if not END_OF_TRACK_18 < size <= LONGEST_BYTES:
        with pytest.raises(NotAnImage):
            DiskImage.from_bytes(data)
        return
    image = DiskImage.from_bytes(data)
    assert image.to_bytes() == data
    assert image.geometry.size_bytes <= size or image.geometry is TRACKS_35
    assert len(image.sectors) == image.geometry.size_bytes
    assert image.blank.shape == image.fails.shape == (image.geometry.blocks,)


# -- error bytes

# The status channel's numbers, from memory of drive manuals.
STATUS = {
    0x00: 0, 0x01: 0, 0x02: 20, 0x03: 21, 0x04: 22, 0x05: 23, 0x06: 24, 0x07: 25,
    0x08: 26, 0x09: 27, 0x0A: 28, 0x0B: 29, 0x0F: 74,
}  # fmt: skip
FAILING = {0x02, 0x03, 0x04, 0x05, 0x09, 0x0B, 0x0F}


def test_status_numbers() -> None:
    assert {code: status_number(code) for code in ERROR_MEANINGS} == STATUS
    assert {status_number(code) for code in range(256) if code not in STATUS} == {0}


def test_error_bytes_that_make_a_read_fail() -> None:
    codes = bytes(range(256)) * 2 + bytes(683 - 512)
    image = DiskImage.from_bytes(bytes(PLAIN[0]) + codes)
    assert [image.error_byte(block) for block in range(683)] == list(codes)
    assert image.fails.tolist() == [code in FAILING for code in codes]


def test_without_error_bytes_every_block_reads_well() -> None:
    image = DiskImage.from_bytes(bytes(PLAIN[0]))
    assert not image.fails.any()
    assert image.error_byte(5) == 0x01


# -- blocks


def is_blank(block: bytes) -> bool:
    """One value throughout, or as the stock drive formats it; by the slow way."""
    return block.count(block[0]) == 256 or block == b"\x4b" + b"\x01" * 255


NEAR_BLANK = st.one_of(
    st.integers(0, 255).map(lambda value: bytes([value]) * 256),
    st.just(STOCK_FILLING),
    st.sampled_from([ZEROS, ONES, STOCK_FILLING, b"\x4b" * 256, b"\x01" + b"\x4b" * 255]).flatmap(
        lambda block: st.tuples(st.integers(0, 255), st.integers(0, 255)).map(
            lambda change: block[: change[0]] + bytes([change[1]]) + block[change[0] + 1 :]
        )
    ),
    st.binary(min_size=256, max_size=256),
    # The same eight bytes over and over: alike word by word, and yet not one value.
    st.binary(min_size=8, max_size=8).map(lambda word: word * 32),
)


@given(st.lists(NEAR_BLANK, min_size=1, max_size=30))
@examples(60)
def test_blank_is_what_the_definition_says(blocks: list[bytes]) -> None:
    data = b"".join(blocks).ljust(PLAIN[0], b"\x99")
    image = DiskImage.from_bytes(data)
    expected = [is_blank(data[at : at + 256]) for at in range(0, PLAIN[0], 256)]
    assert image.blank.tolist() == expected


@pytest.mark.parametrize("layout", LAYOUTS, ids=lambda layout: layout.name)
def test_next_blocks_are_those_that_the_links_name(layout: object) -> None:
    geometry = next(item for item in LAYOUTS if item is layout)
    image = DiskImage.from_bytes(noise(geometry.size_bytes, 5))
    for block in range(geometry.blocks):
        track, sector = image.block(block)[:2]
        assert image.link(block) == (track, sector)
        following = image.next_blocks[block]
        if track == 0:
            assert following == -1
        elif geometry.exists(track, sector):
            assert geometry.place(following) == Place(track, sector)
        else:
            assert following == -2


def test_a_block_is_read_at_its_place() -> None:
    data = noise(PLAIN[3])
    image = DiskImage.from_bytes(data)
    assert image.at(36, 0) == data[683 * 256 : 684 * 256]
    assert image.at(1, 1) == image.block(1) == data[256:512]
    assert TRACKS_70.index(36, 0) == 683
    assert image.array.shape == (1366, 256)
    assert image.array[683].tobytes() == image.at(36, 0)
