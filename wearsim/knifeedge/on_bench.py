"""The knife-edge test on a bench's own mirror: what commands and scripts call."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from wearsim.knifeedge.cooling import Waiting, waiting_time
from wearsim.knifeedge.expected import ExpectedReadings, expected_readings
from wearsim.knifeedge.longitudinal import Source
from wearsim.knifeedge.mask import MaskDesign, MaskLimits, design_mask
from wearsim.knifeedge.readings import Readings
from wearsim.knifeedge.reduction import Reduction, reduce_readings
from wearsim.knifeedge.shadows import KnifeTester

if TYPE_CHECKING:
    from wearsim.bench.mirror import Mirror


def reduce_on(
    readings: Readings, mirror: Mirror, wavelength: float, profile_radius: ArrayLike | None = None, seed: int = 0
) -> Reduction:
    """Reduce a sheet read on a mirror.

    Parameters
    ----------
    readings : Readings
        The sheet.
    mirror : Mirror
        Of the bench.
    wavelength : float
        [m]
    profile_radius : array_like, shape (m,), optional
        Where the profile is wanted, from 0 to the glass's radius [m].
    seed : int
        Of the draws that give the numbers their bands.

    Returns
    -------
    Reduction
        The surface with its sigma, and the numbers with their bands.

    Raises
    ------
    InputError
        Readings that this mirror cannot have given.
    """
    return reduce_readings(
        readings,
        radius=mirror.radius,
        radius_of_curvature=mirror.radius_of_curvature,
        conic=mirror.conic,
        hole_radius=mirror.hole_radius,
        clear_radius=mirror.clear_radius,
        wavelength=wavelength,
        profile_radius=profile_radius,
        seed=seed,
    )


def expect_on(
    mirror: Mirror,
    readings: Readings,
    radius: ArrayLike,
    error: ArrayLike,
    *,
    covariance: ArrayLike | None = None,
    draws: ArrayLike | None = None,
    setting_sigma: ArrayLike | None = None,
) -> ExpectedReadings:
    """Readings to expect of a predicted surface, in the zones of an earlier sheet.

    Parameters
    ----------
    mirror : Mirror
        Of the bench.
    readings : Readings
        The earlier sheet: zones and source.
    radius, error : array_like, shape (m,)
        The predicted figure error [m].
    covariance : array_like, shape (m, m), optional
        Of the predicted error [m^2].
    draws : array_like, shape (k, m), optional
        Surfaces that are possible, instead of `covariance` [m].
    setting_sigma : array_like, shape (n,), optional
        Of one setting in each zone [m].

    Returns
    -------
    ExpectedReadings
        Knife positions, larger = farther from the mirror [m].
    """
    return expected_readings(
        readings.zones,
        radius,
        error,
        radius_of_curvature=mirror.radius_of_curvature,
        conic=mirror.conic,
        source=readings.source,
        covariance=covariance,
        draws=draws,
        setting_sigma=setting_sigma,
    )


def mask_for(
    mirror: Mirror, zones: int, wavelength: float, source: Source = "moving", limits: MaskLimits | None = None
) -> MaskDesign:
    """A zonal mask for a mirror.

    Parameters
    ----------
    mirror : Mirror
        Of the bench.
    zones : int
        Windows of the mask.
    wavelength : float
        [m]
    source : {"moving", "fixed"}
        Whether the light moves with the knife.
    limits : MaskLimits, optional
        What it can be cut to.

    Returns
    -------
    MaskDesign
        Windows of equal weight.

    Raises
    ------
    InputError
        Where so many windows do not fit.
    """
    return design_mask(
        zones,
        radius=mirror.radius,
        radius_of_curvature=mirror.radius_of_curvature,
        conic=mirror.conic,
        hole_radius=mirror.hole_radius,
        clear_radius=mirror.clear_radius,
        wavelength=wavelength,
        source=source,
        limits=limits,
    )


def tester_for(
    mirror: Mirror, radius: ArrayLike, error: ArrayLike, wavelength: float, source: Source = "moving"
) -> KnifeTester:
    """The tester before a surface of this mirror, for its shadows.

    Parameters
    ----------
    mirror : Mirror
        Of the bench.
    radius, error : array_like, shape (m,)
        Figure error of the surface [m].
    wavelength : float
        [m]
    source : {"moving", "fixed"}
        Whether the light moves with the knife.

    Returns
    -------
    KnifeTester
        Its shadows at any knife position.
    """
    return KnifeTester(
        radius=np.asarray(radius, dtype=float),
        error=np.asarray(error, dtype=float),
        radius_of_glass=mirror.radius,
        radius_of_curvature=mirror.radius_of_curvature,
        conic=mirror.conic,
        wavelength=wavelength,
        hole_radius=mirror.hole_radius,
        source=source,
    )


def waiting_for(mirror: Mirror) -> Waiting:
    """How long this mirror must stand before it is read.

    Parameters
    ----------
    mirror : Mirror
        Of the bench: diameter, thickness and glass.

    Returns
    -------
    Waiting
        Times [s], and the error that the glass feigns until then [m].

    Raises
    ------
    InputError
        For a glass whose thermal values are not in the table.
    """
    return waiting_time(mirror.diameter, mirror.thickness, mirror.glass)


def write_reduction(reduction: Reduction, path: str | Path, comment: str = "") -> None:
    """Write the profile with its sigma column, as ``[figure] profile`` of a bench takes it.

    Parameters
    ----------
    reduction : Reduction
        What to write.
    path : str or Path
        The file; an existing one is replaced.
    comment : str
        Above the header.
    """
    from wearsim.bench.profile import write_profile

    write_profile(path, reduction.radius, reduction.figure_error, reduction.sigma, comment)
