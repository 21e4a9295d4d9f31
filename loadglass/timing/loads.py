"""Loads counted and ready to be clocked on any rig, any number of them at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from formats.geometry import Geometry
from loadglass.timing.motion import (
    FloatArray,
    IntArray,
    count_files,
    count_searches,
    pack_blocks,
    unpacked_array,
)
from loadglass.timing.places import ImagePlaces
from loadglass.timing.prices import CASES, STAGES, deviations, drawn_prices, nominal_prices
from loadglass.timing.rig import Rig


@dataclass(frozen=True, eq=False)
class Loads:
    """Counts of any number of loads of one layout.

    Seconds are NaN on a rig that does not mount the layout.
    """

    geometry: Geometry
    searches: FloatArray
    """Shape (loads, SEARCH_FEATURES)."""
    files: FloatArray
    """Shape (loads, FILE_FEATURES)."""

    def __len__(self) -> int:
        return len(self.files)

    def stages(self, rig: Rig) -> FloatArray:
        """Mean seconds of each of STAGES at the rig's own figures; shape (loads, stages)."""
        if not rig.mounts(self.geometry):
            return np.full((len(self), len(STAGES)), np.nan)
        prices = nominal_prices(rig)
        return self.searches @ prices.search + self.files @ prices.file

    def seconds(self, rigs: Sequence[Rig]) -> FloatArray:
        """Mean seconds of whole loads at the rigs' own figures; shape (loads, rigs)."""
        seconds = np.full((len(self), len(rigs)), np.nan)
        mounting = [i for i, rig in enumerate(rigs) if rig.mounts(self.geometry)]
        if mounting:
            prices = [nominal_prices(rigs[i]) for i in mounting]
            seconds[:, mounting] = self.searches @ np.stack(
                [each.search.sum(axis=1) for each in prices], axis=1
            ) + self.files @ np.stack([each.file.sum(axis=1) for each in prices], axis=1)
        return seconds

    def variances(self, rig: Rig) -> FloatArray:
        """Seconds squared, at the rig's own figures; shape (loads,)."""
        if not rig.mounts(self.geometry):
            return np.full(len(self), np.nan)
        prices = nominal_prices(rig)
        both = self.searches @ prices.search_variance + self.files @ prices.file_variance
        return both[:, 0]

    def cases(self, rig: Rig) -> FloatArray:
        """Equally likely seconds of each load; shape (loads, DRAWS * CASES).

        Each draw of the rig's figures gives a mean and a variance of each load, and of the normal
        distribution with these come CASES cases.
        """
        if not rig.mounts(self.geometry):
            return np.full((len(self), 1), np.nan)
        prices = drawn_prices(rig)
        means = self.searches @ prices.search + self.files @ prices.file
        variances = self.searches @ prices.search_variance + self.files @ prices.file_variance
        within = np.sqrt(variances)[:, None, :] * deviations()[-CASES:]
        return (means[:, None, :] + within).reshape(len(self), -1)


@dataclass(frozen=True, eq=False)
class ImageLoads:
    """The loads of images of one layout."""

    files: Loads
    """Each file of each image, from rest."""
    starts: Loads
    """Of each image that has a program the first one, from rest."""
    rows: Loads
    """Of each image that has a program all of them in a row."""
    with_programs: IntArray
    """Which images `starts` and `rows` are of."""


def count_images(geometry: Geometry, images: Sequence[ImagePlaces]) -> ImageLoads:
    """Counts of all loads of such images."""
    every = [file for image in images for file in image.files]

    # Entries that share a chain share what its blocks cost: thousands can name one.
    chains: dict[tuple[bytes, int], int] = {}
    chain_of = [chains.setdefault((file.blocks, file.last_bytes), len(chains)) for file in every]
    lengths = np.array([len(packed) for packed, _ in chains], dtype=np.intp) // 2
    blocks = unpacked_array(b"".join([packed for packed, _ in chains]))
    last_bytes = np.array([last for _, last in chains], dtype=np.intp)
    files = count_files(geometry, blocks, lengths, last_bytes)[chain_of]
    ends = np.cumsum(lengths)
    firsts, lasts = blocks[ends - lengths][chain_of], blocks[ends - 1][chain_of]

    # Each image's header and directory sectors in a row; a search reads it up to some sector.
    directories = unpacked_array(
        b"".join([pack_blocks((image.header, *image.directory)) for image in images])
    )
    headers = np.cumsum([0, *(len(image.directory) + 1 for image in images)])[:-1]
    image_of = np.repeat(np.arange(len(images)), [len(image.files) for image in images])
    header_of = headers[image_of]
    sectors = np.array([file.sectors for file in every], dtype=np.intp)
    searches = count_searches(
        geometry,
        heads=directories[header_of],
        at_rest=True,
        directory=directories[_runs(header_of, sectors + 1)],
        lengths=sectors + 1,
        firsts=firsts,
    )

    # In a row only the way to a file is another; its blocks are read as before.
    programs = np.flatnonzero([file.loadable for file in every])
    with_programs, begins = np.unique(image_of[programs], return_index=True)
    starts = programs[begins]
    in_row = searches[programs]
    is_later = np.ones(len(programs), dtype=bool)
    is_later[begins] = False
    later = programs[is_later]
    in_row[is_later] = count_searches(
        geometry,
        heads=lasts[programs[np.flatnonzero(is_later) - 1]],
        at_rest=False,
        directory=directories[_runs(header_of[later] + 1, sectors[later])],
        lengths=sectors[later],
        firsts=firsts[later],
    )
    return ImageLoads(
        files=Loads(geometry, searches, files),
        starts=Loads(geometry, searches[starts], files[starts]),
        rows=Loads(
            geometry,
            np.add.reduceat(in_row, begins, axis=0),
            np.add.reduceat(files[programs], begins, axis=0),
        ),
        with_programs=with_programs,
    )


def _runs(starts: IntArray, lengths: IntArray) -> IntArray:
    """start, start + 1, ... of each length, one run after the other."""
    return np.repeat(starts - np.cumsum(lengths) + lengths, lengths) + np.arange(lengths.sum())
