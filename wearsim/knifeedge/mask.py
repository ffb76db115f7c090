"""Design of a zonal mask: windows of equal area (physics section 8).

A window's weight in the profile is its share of the area, ``outer^2 - inner^2``: the mean of the knife
position over a window is a difference of surface heights over that area. The limits are common practice,
no source, except for the last, which follows from the Airy disc.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from wearsim.bench.units import MILLIMETRES, LengthUnit, in_digits
from wearsim.errors import InputError
from wearsim.figure.conic import MirrorGeometry
from wearsim.kernels.arrays import Floats
from wearsim.knifeedge.longitudinal import Source, Zones, target_aberration, target_readings, tolerable_aberration

LEAST_ZONES = 3
MOST_ZONES = 40


@dataclass(frozen=True, slots=True)
class MaskLimits:
    """What a mask can be cut to and read through.

    Attributes
    ----------
    least_width : float
        Narrowest window that is still seen to darken evenly [m] (common practice, no source: 5 mm).
    bridge : float
        Width of the strip left between windows [m] (common practice, no source: 2 mm).
    innermost : float
        Where the first window begins, as a share of the clear radius: farther in, the cone is too slow for
        a setting to mean anything [1] (judgement: 0.1).
    margin : float
        What is left of the clear aperture outside the last window [m] (judgement: 1 mm).
    unit : LengthUnit
        Of lengths in an error line.
    """

    least_width: float = 5e-3
    bridge: float = 2e-3
    innermost: float = 0.1
    margin: float = 1e-3
    unit: LengthUnit = MILLIMETRES


@dataclass(frozen=True, eq=False)
class MaskDesign:
    """A mask to cut.

    Attributes
    ----------
    zones : Zones
        Its windows.
    radius, inner, outer : float
        Of the glass, and the clear annulus [m].
    share : ndarray, shape (n,)
        Of the windows' area; all the same [1].
    aberration : ndarray, shape (n,)
        Longitudinal aberration of the target through each window [m].
    across : ndarray, shape (n,)
        How much the target's own aberration changes across a window, over the tolerable error either way
        (its full width, twice the Airy radius): above 1 a window darkens unevenly even on a perfect mirror,
        and the average over it is what is read [1].
    bridge : float
        Strip between windows [m].
    """

    zones: Zones
    radius: float
    inner: float
    outer: float
    share: Floats
    aberration: Floats
    across: Floats
    bridge: float

    def to_json(self) -> dict[str, Any]:
        """The mask as one JSON object."""
        return {
            "inner_m": self.zones.inner.tolist(),
            "outer_m": self.zones.outer.tolist(),
            "weight": self.share.tolist(),
            "aberration_m": self.aberration.tolist(),
            "across_of_tolerable": self.across.tolist(),
            "bridge_m": self.bridge,
        }

    @property
    def width(self) -> Floats:
        """Width of each window, shape (n,) [m]."""
        return self.zones.outer - self.zones.inner


def design_mask(
    zones: int,
    geometry: MirrorGeometry,
    wavelength: float = 550e-9,
    source: Source = "moving",
    limits: MaskLimits | None = None,
) -> MaskDesign:
    """Windows of equal area for a mirror and a number of zones.

    Parameters
    ----------
    zones : int
        How many windows.
    geometry : MirrorGeometry
        Of the mirror, such as a bench's ``mirror.geometry``.
    wavelength : float
        [m]
    source : {"moving", "fixed"}
        Whether the source moves with the knife.
    limits : MaskLimits, optional
        What it can be cut to.

    Returns
    -------
    MaskDesign
        Windows of equal area.

    Raises
    ------
    InputError
        Fewer than three zones, or more than the narrowest window allows, or bridges too wide for them.
    """
    if not LEAST_ZONES <= zones <= MOST_ZONES:
        raise InputError("wrong number of zones", key="zones", value=zones, expected=f"{LEAST_ZONES} to {MOST_ZONES}")
    allowed = MaskLimits() if limits is None else limits
    hole, clear = geometry.hole_radius, geometry.clear_radius
    outer = clear - allowed.margin
    inner = max(hole + (allowed.margin if hole > 0.0 else 0.0), allowed.innermost * clear)
    windows = _windows(zones, inner, outer, allowed.bridge)
    if windows is None or not _are_wide(windows, allowed):
        _check_bridge(zones, inner, outer, allowed)
        most = most_zones(inner, outer, allowed)
        raise InputError(
            f"with this many windows, some would be narrower than {allowed.unit.short(allowed.least_width)}",
            key="zones",
            value=zones,
            expected=f"at most {most}" if most else "a larger mirror or a smaller least width",
        )
    target = target_aberration(np.stack([windows.inner, windows.outer]), geometry, source)
    tolerable = tolerable_aberration(windows.middle, geometry, wavelength, source)
    area = windows.outer**2 - windows.inner**2
    return MaskDesign(
        zones=windows,
        radius=geometry.radius,
        inner=hole,
        outer=clear,
        share=area / area.sum(),
        aberration=target_readings(windows, geometry, source),
        across=np.abs(target[1] - target[0]) / (2.0 * tolerable),
        bridge=allowed.bridge,
    )


def most_zones(inner: float, outer: float, limits: MaskLimits) -> int:
    """The most windows between two radii [m] that keep the least width; 0 where not even three do."""
    best = 0
    for count in range(LEAST_ZONES, MOST_ZONES + 1):
        windows = _windows(count, inner, outer, limits.bridge)
        if windows is None or not _are_wide(windows, limits):
            break
        best = count
    return best


def _are_wide(windows: Zones, limits: MaskLimits) -> bool:
    return bool(np.min(windows.outer - windows.inner) >= limits.least_width * (1.0 - 1e-9))


def _check_bridge(zones: int, inner: float, outer: float, limits: MaskLimits) -> None:
    """Refuse a bridge that leaves no room for windows that the usual one leaves room for."""

    def fits(bridge: float) -> bool:
        windows = _windows(zones, inner, outer, bridge)
        return windows is not None and _are_wide(windows, limits)

    low, high = MaskLimits().bridge, limits.bridge
    if high <= low or not fits(low):
        return
    while high - low > 1e-5:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if fits(middle) else (low, middle)
    raise InputError(
        f"too wide: bridges of {limits.unit.short(limits.bridge)} leave too little room for {zones} windows",
        key="bridge", expected=f"at most {in_digits(low / limits.unit.size, 2, down=True)} {limits.unit.name}",
    )  # fmt: skip


def _windows(count: int, inner: float, outer: float, bridge: float) -> Zones | None:
    """Windows of equal area with a bridge of equal width between them, or None where there is no room.

    The common area is found by bisection: it grows, the last window's outer radius grows.
    """

    def laid_out(area: float) -> list[tuple[float, float]]:
        rows, start = [], inner
        for _ in range(count):
            end = float(np.sqrt(start**2 + area))
            rows.append((start, end))
            start = end + bridge
        return rows

    low, high = 0.0, outer**2 - inner**2
    if not high > 0.0 or laid_out(0.0)[-1][1] >= outer:
        return None
    for _ in range(200):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if laid_out(middle)[-1][1] < outer else (low, middle)
    return Zones.from_windows(laid_out(low))
