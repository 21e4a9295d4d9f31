"""Load times: of one file, of an image with ranges and stages, of many images at once."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from formats.geometry import Geometry
from loadglass.timing.loads import Loads, count_images
from loadglass.timing.motion import FloatArray
from loadglass.timing.places import ImagePlaces
from loadglass.timing.prices import STAGES
from loadglass.timing.rig import Rig

if TYPE_CHECKING:  # what is clocked from the index needs no parser of images
    from formats.audit import Audit

LOW_SHARE, HIGH_SHARE = 0.05, 0.95
BATCH = 64
"""Images counted at once: more fall out of the processor's cache, fewer pay for many calls."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """How long a load takes on a rig."""

    seconds: float
    """The model's mean at the rig's own figures."""
    low: float
    """5th percentile over what the figures and the turning disk may be."""
    high: float
    """95th percentile."""
    stages: dict[str, float]
    """Seconds of each of STAGES; they add up to `seconds`."""


Times = dict[str, Estimate | None]
"""An estimate on each rig by name; None on a rig that does not mount such an image."""


@dataclass(frozen=True)
class Clocking:
    """The load times of an image."""

    files: dict[int, Times | None]
    """By slot, every entry in use; None of what cannot be read whole."""
    start: Times
    """Of the first program that can be loaded; None on every rig if there is none."""
    all: Times
    """Of every program that can be loaded, in a row; None on every rig if there is none."""


@dataclass(frozen=True, eq=False)
class ImageSeconds:
    """Mean seconds of many images; NaN where there is nothing to load or the rig does not mount."""

    files: list[FloatArray]
    """Of each image, shape (its files that can be clocked, rigs)."""
    start: FloatArray
    """Shape (images, rigs)."""
    all: FloatArray
    """Shape (images, rigs)."""


def clock_image(audit: Audit, rigs: Iterable[Rig]) -> Clocking:
    """Every file of an image, `start` and `all`, with ranges, on each rig."""
    return clock_places(ImagePlaces.of(audit), rigs, [file.entry.slot for file in audit.files])


def clock_places(
    places: ImagePlaces, rigs: Iterable[Rig], slots: Iterable[int] | None = None
) -> Clocking:
    """As clock_image, of an image that is not at hand; `slots` are all of its entries'."""
    rigs = list(rigs)
    counted = {
        order: count_images(places.geometry, [places.taken(order)])
        for order in {rig.order for rig in rigs}
    }
    of_files: list[Times] = [{} for _ in places.files]
    first = next((i for i, file in enumerate(places.files) if file.loadable), None)
    start: Times = {}
    whole_row: Times = {}
    for rig in rigs:
        counts = counted[rig.order]
        found = estimates(counts.files, rig)
        for times, estimate in zip(of_files, found, strict=True):
            times[rig.name] = estimate
        start[rig.name] = None if first is None else found[first]
        whole_row[rig.name] = None if first is None else estimates(counts.rows, rig)[0]
    files: dict[int, Times | None] = dict.fromkeys(slots or ())
    files.update((file.slot, times) for file, times in zip(places.files, of_files, strict=True))
    return Clocking(files, start, whole_row)


def clock_file(
    geometry: Geometry,
    directory_blocks: Sequence[int],
    file_blocks: Sequence[int],
    last_bytes: int,
    rig: Rig,
) -> Estimate | None:
    """One file from rest; None if the rig does not mount the layout.

    directory_blocks: the header's block index and those of the directory's sectors up to the
    entry's; last_bytes: the bytes sent of the file's last block. Raises ValueError if there are
    no blocks.
    """
    places = ImagePlaces.of_file(geometry, directory_blocks, file_blocks, last_bytes)
    return estimates(count_images(geometry, [places.taken(rig.order)]).files, rig)[0]


def seconds_of(images: Sequence[ImagePlaces], rigs: Sequence[Rig]) -> ImageSeconds:
    """Mean seconds of every load of many images, from nothing but what an index keeps."""
    files = [np.full((len(image.files), len(rigs)), np.nan) for image in images]
    start = np.full((len(images), len(rigs)), np.nan)
    whole_row = np.full((len(images), len(rigs)), np.nan)
    by_layout: dict[Geometry, list[int]] = {}
    for i, image in enumerate(images):
        by_layout.setdefault(image.geometry, []).append(i)
    batches = (
        (geometry, members[at : at + BATCH], order)
        for geometry, members in by_layout.items()
        for at in range(0, len(members), BATCH)
        for order in dict.fromkeys(rig.order for rig in rigs)
    )
    for geometry, members, order in batches:
        columns = [i for i, rig in enumerate(rigs) if rig.order == order]
        chosen = [rigs[i] for i in columns]
        group = [images[i].taken(order) for i in members]
        counts = count_images(geometry, group)
        ends = np.cumsum([len(image.files) for image in group])
        for i, seconds in zip(members, np.split(counts.files.seconds(chosen), ends), strict=False):
            files[i][:, columns] = seconds
        having = np.ix_(np.array(members)[counts.with_programs], np.array(columns))
        start[having] = counts.starts.seconds(chosen)
        whole_row[having] = counts.rows.seconds(chosen)
    return ImageSeconds(files, start, whole_row)


def estimates(loads: Loads, rig: Rig) -> list[Estimate | None]:
    """An estimate of each load; None if the rig does not mount the layout."""
    if not rig.mounts(loads.geometry) or not len(loads):
        return [None] * len(loads)
    ranges = np.quantile(loads.cases(rig), (LOW_SHARE, HIGH_SHARE), axis=1)
    return [
        Estimate(sum(row), low, high, dict(zip(STAGES, row, strict=True)))
        for row, low, high in zip(loads.stages(rig).tolist(), *ranges.tolist(), strict=True)
    ]
