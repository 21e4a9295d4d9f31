"""Loads counted and ready to be clocked on any rig, any number of them at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from formats.geometry import Geometry
from loadglass.timing.motion import FloatArray, IntArray, count_files, count_searches
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
    owned = [(image, file) for image in images for file in image.files]
    searches = count_searches(geometry, [image.search_at_rest(file) for image, file in owned])
    files = count_files(
        geometry, [file.blocks for _, file in owned], [file.last_bytes for _, file in owned]
    )
    programs = np.flatnonzero([file.loadable for _, file in owned])
    image_of = np.repeat(np.arange(len(images)), [len(image.files) for image in images])
    with_programs, firsts = np.unique(image_of[programs], return_index=True)
    starts = programs[firsts]

    # In a row only the way to a file is another; its blocks are read as before.
    row_searches = searches[programs]
    later = [
        image.search_after(*pair)
        for image in images
        for pair in pairwise(file for file in image.files if file.loadable)
    ]
    row_searches[np.delete(np.arange(len(programs)), firsts)] = count_searches(geometry, later)
    return ImageLoads(
        files=Loads(geometry, searches, files),
        starts=Loads(geometry, searches[starts], files[starts]),
        rows=Loads(
            geometry,
            np.add.reduceat(row_searches, firsts, axis=0),
            np.add.reduceat(files[programs], firsts, axis=0),
        ),
        with_programs=with_programs,
    )
