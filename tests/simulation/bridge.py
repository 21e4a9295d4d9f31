"""The project's view of the simulation's loads and rigs: the only place where the two meet."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from formats.geometry import LAYOUTS
from formats.geometry import Geometry as Layout
from loadglass.timing.loads import Loads, count_images
from loadglass.timing.motion import pack_blocks
from loadglass.timing.places import FilePlaces, ImagePlaces
from loadglass.timing.rig import Rig
from loadglass.timing.rig_files import built_in_rigs

from .drive import Load
from .figures import Figures
from .geometry import Geometry, Place

_LAYOUT_OF_TRACKS = {layout.tracks: layout for layout in LAYOUTS}


def layout_of(geometry: Geometry) -> Layout:
    return _LAYOUT_OF_TRACKS[len(geometry.tracks)]


def places_of(loads: Sequence[Load]) -> ImagePlaces:
    """A disk of these files, in the order of their directory."""
    layout = layout_of(loads[0].geometry)

    def blocks(places: Sequence[Place]) -> list[int]:
        return [layout.index(track, sector) for track, sector in places]

    return ImagePlaces(
        geometry=layout,
        header=layout.index(*loads[0].geometry.header),
        directory=tuple(blocks(loads[-1].directory)),
        files=tuple(
            FilePlaces(
                slot=slot,
                sectors=len(load.directory),
                loadable=True,
                last_bytes=load.last_bytes,
                blocks=pack_blocks(blocks(load.blocks)),
            )
            for slot, load in enumerate(loads)
        ),
    )


def counted(load: Load, rig: Rig) -> Loads:
    """One load from rest on that rig, counted."""
    places = places_of([load]).taken(rig.order)
    return count_images(places.geometry, [places]).files


def figures_of(rig: Rig) -> Figures:
    """A rig's own figures, for the simulation."""
    return Figures(
        **{f"{name}_ms": rig.value(name) for name in FIGURES_MS},
        rpm=rig.value("rpm"),
        order="any" if rig.order == "any" else "chain",
    )


FIGURES_MS = (
    "command",
    "setup",
    "byte",
    "block",
    "decode",
    "lead",
    "scan",
    "fetch",
    "step",
    "settle",
    "spin_up",
)


def rigs() -> Mapping[str, Rig]:
    """The four rigs we bring, and one whose loader takes a track's sectors as they come."""
    built_in = dict(built_in_rigs())
    built_in["any-spinning"] = replace(built_in["fast-spinning"], name="any-spinning", order="any")
    return built_in
