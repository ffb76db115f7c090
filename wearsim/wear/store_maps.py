"""Maps in HDF5, and how every dataset of ours says its unit, its name and its coordinates."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from urllib.parse import unquote

import h5py
import numpy as np

from wearsim.wear.grid import Array

# name -> (unit, what it is, names of its dimensions); a coordinate has none
_MAPS: dict[str, tuple[str, str, tuple[str, ...]]] = {
    "x": ("m", "place on the mirror", ()),
    "y": ("m", "place on the mirror, at right angles", ()),
    "pitch_x": ("m", "place on the lap", ()),
    "pitch_y": ("m", "place on the lap, at right angles", ()),
    "zernike_index": ("1", "single index of ISO 24157", ()),
    "ripple_frequency": ("1/m", "spatial frequency along the radius", ()),
    "before": ("m", "figure error before, positive = high", ("y", "x")),
    "after": ("m", "figure error after, positive = high", ("y", "x")),
    "removal": ("m", "glass removed", ("y", "x")),
    "glass": ("1", "share of the cell that is glass", ("y", "x")),
    "pitch": ("m", "pitch after, above the reference sphere", ("pitch_y", "pitch_x")),
    "facets": ("1", "share of the cell that is pitch", ("pitch_y", "pitch_x")),
    "zernike": ("m", "Zernike coefficients of the figure error, at the start and after each spell",
                ("stage", "zernike_index")),
    "ripple_amplitude": ("m", "amplitude of zonal ripple in the removal", ("ripple_frequency",)),
}  # fmt: skip


def scale(file: h5py.Group, name: str, values: Any, unit: str, text: str) -> None:
    """A coordinate: a dataset that others name as their dimension."""
    dataset = file.create_dataset(name, data=values)
    dataset.attrs["units"], dataset.attrs["long_name"] = unit, text
    dataset.make_scale(name)


def data(
    file: h5py.Group,
    name: str,
    values: Any,
    unit: str,
    text: str,
    dimensions: tuple[str, ...],
    **options: Any,
) -> None:
    """A dataset over coordinates of its group, or of the file."""
    dataset = file.create_dataset(name, data=values, **options)
    dataset.attrs["units"], dataset.attrs["long_name"] = unit, text
    for place, dimension in enumerate(dimensions):
        dataset.dims[place].attach_scale(file[dimension] if dimension in file else file.file[dimension])


def write_maps(group: h5py.Group, maps: Mapping[str, Array]) -> None:
    """Every map with its coordinates; what belongs to a lap but the first has the lap's name and a colon before it.

    Raises
    ------
    KeyError
        For a map that is none of ours.
    """
    for coordinates in (True, False):  # these first: the others are laid over them
        for name, values in maps.items():
            lap, own = _lap_and_map(name)
            unit, text, dimensions = _MAPS[own]
            text += f" ({lap.removesuffix(': ')})" if lap else ""
            if coordinates and not dimensions:
                scale(group, link_of(name), values, unit, text)
            elif not coordinates and dimensions:
                over = tuple(link_of(lap + one if lap + one in maps else one) for one in dimensions)
                data(group, link_of(name), values, unit, text, over, compression="gzip", shuffle=True)


def read_maps(group: h5py.Group) -> dict[str, Array]:
    """All maps of a group."""
    return {name_of(link): np.asarray(values[()]) for link, values in group.items()}


def _lap_and_map(name: str) -> tuple[str, str]:
    """What stands before the map's own name, and that."""
    lap, colon, own = name.rpartition(": ")
    return lap + colon, own


def link_of(name: str) -> str:
    """A name as HDF5 can link to it, whatever a person called a lap: a slash would begin a group."""
    link = name.replace("%", "%25").replace("/", "%2F")
    return "%2E" if link == "." else link


def name_of(link: str) -> str:
    """The name that :func:`link_of` was given."""
    return unquote(link)
