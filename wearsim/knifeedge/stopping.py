"""When to stop: is it good enough within the band, what would masking the rim buy, which zones are really wrong."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from wearsim.figure.aim import AIM, Verdict, verdict_for
from wearsim.figure.aperture import ClearAperture
from wearsim.figure.conic import MirrorGeometry
from wearsim.figure.metrics import percentiles
from wearsim.kernels.arrays import Floats
from wearsim.knifeedge.reduction import Reduction

WORTH_A_MASK = 1.1
"""Gain in light from which a mask over the rim is advised (judgement) [1]."""


@dataclass(frozen=True, slots=True)
class Masking:
    """Strehl ratio and area left for masks of several radii.

    Attributes
    ----------
    mask_radius : ndarray, shape (k,)
        Clear radius that the mask leaves, increasing; the last is the unmasked aperture [m].
    strehl : ndarray, shape (k,)
        The surface refitted (piston and r^2) inside each mask [1].
    area : ndarray, shape (k,)
        Share of the unmasked clear area [1].
    worth : ndarray, shape (k,)
        Strehl x area: light in the core of the image, the unmasked perfect mirror = 1 [1].
    """

    mask_radius: Floats
    strehl: Floats
    area: Floats
    worth: Floats

    @property
    def best_radius(self) -> float:
        """Mask radius of the largest Strehl x area [m]."""
        return float(self.mask_radius[int(np.argmax(self.worth))])

    @property
    def gain(self) -> float:
        """Largest Strehl x area over that without a mask [1]; 1.0 = a mask buys nothing."""
        return float(self.worth.max() / self.worth[-1])


class MaskSeries:
    """Masks of several radii over one profile grid, kept for many surfaces.

    Parameters
    ----------
    radius : array_like, shape (n,)
        Increasing radii of the profiles [m].
    geometry : MirrorGeometry
        The clear annulus without a mask.
    wavelength : float
        [m]
    smallest : float
        Smallest mask radius, as a fraction of the clear radius [1].
    masks : int
        How many masks.

    Raises
    ------
    ValueError
        Radii that do not increase, or an empty aperture.
    """

    def __init__(
        self, radius: ArrayLike, geometry: MirrorGeometry, wavelength: float, *, smallest: float = 0.7, masks: int = 31
    ) -> None:
        inner, outer = geometry.hole_radius, geometry.clear_radius
        self.sizes = np.linspace(max(smallest * outer, inner + 0.1 * (outer - inner)), outer, masks)
        self.area = (self.sizes**2 - inner**2) / (outer**2 - inner**2)
        self.wavelength = float(wavelength)
        self._apertures = [ClearAperture(radius, inner, float(size)) for size in self.sizes]

    def masking(self, error: ArrayLike) -> Masking:
        """Strehl ratio and Strehl x area of one figure error under every mask.

        Parameters
        ----------
        error : array_like, shape (n,)
            Piston and r^2 do not matter [m].

        Returns
        -------
        Masking
            Refitted inside each.
        """
        strehl = np.array([self._strehl(aperture, error) for aperture in self._apertures])
        return Masking(mask_radius=self.sizes, strehl=strehl, area=self.area, worth=strehl * self.area)

    def _strehl(self, aperture: ClearAperture, error: ArrayLike) -> float:
        phase = (4.0 * np.pi / self.wavelength) * (aperture.matrix @ aperture.level(error))
        return float((aperture.weights @ np.cos(phase)) ** 2 + (aperture.weights @ np.sin(phase)) ** 2)


@dataclass(frozen=True, eq=False)
class StopAdvice:
    """Whether to go on.

    Attributes
    ----------
    verdict : {"yes", "no", "open"}
        Good enough: for 95% of the surfaces that are possible, for 5% at most, or in between.
    aim : float
        Strehl ratio that is good enough [1] (:mod:`wearsim.figure.aim`).
    chance : float
        Share of the surfaces that reach it [1].
    chance_diffraction_limited : float
        Share of them with a Strehl ratio of 0.8 or more [1].
    masking : Masking
        Strehl and Strehl x area of the mean surface against the radius of a mask over the rim.
    masking_band : ndarray, shape (2, k)
        5th and 95th percentile of Strehl x area over the possible surfaces [1].
    wrong_zones : tuple of int
        Zones, from 0, whose error is larger than the reading can mistake and than is tolerable.
    resolved_zones : tuple of int
        Zones, from 0, whose error is larger than the reading can mistake.
    reason : str
        One line for the person.
    """

    verdict: Verdict
    aim: float
    chance: float
    chance_diffraction_limited: float
    masking: Masking
    masking_band: Floats
    wrong_zones: tuple[int, ...]
    resolved_zones: tuple[int, ...]
    reason: str

    def to_json(self) -> dict[str, Any]:
        """The advice as one JSON object."""
        return {
            "verdict": self.verdict,
            "aim_strehl": self.aim,
            "chance_of_aim": self.chance,
            "chance_diffraction_limited": self.chance_diffraction_limited,
            "mask_radius_m": self.masking.mask_radius.tolist(),
            "mask_strehl": self.masking.strehl.tolist(),
            "mask_worth": self.masking.worth.tolist(),
            "mask_worth_band": self.masking_band.tolist(),
            "wrong_zones": [zone + 1 for zone in self.wrong_zones],
            "resolved_zones": [zone + 1 for zone in self.resolved_zones],
            "reason": self.reason,
        }


def _millimetres(length: float) -> str:
    return f"{length * 1e3:.0f} mm"


def when_to_stop(
    reduction: Reduction,
    *,
    aim: float = AIM,
    seed: int = 0,
    draws: int = 60,
    length: Callable[[float], str] = _millimetres,
) -> StopAdvice:
    """Judge a reduced mirror.

    Parameters
    ----------
    reduction : Reduction
        What the readings say.
    aim : float
        Strehl ratio inside the unmasked aperture that is good enough [1].
    seed : int
        Of the draws for the chance and the band of the masking curve.
    draws : int
        How many of them.
    length : callable
        How the reason writes a length [m]; in millimetres unless given.

    Returns
    -------
    StopAdvice
    """
    rng = np.random.default_rng(np.random.SeedSequence(entropy=seed, spawn_key=(5,)))
    mean, sample, strehl = _masked(reduction, reduction.draw(draws, rng))
    chance = float(np.mean(strehl >= aim))
    verdict = verdict_for(chance, reduction.strehl, aim)
    resolved = tuple(i for i, zone in enumerate(reduction.zones) if zone.is_resolved)
    return StopAdvice(
        verdict=verdict,
        aim=aim,
        chance=chance,
        chance_diffraction_limited=reduction.chance_diffraction_limited,
        masking=mean,
        masking_band=percentiles(sample),
        wrong_zones=tuple(i for i in resolved if abs(reduction.zones[i].multiple) > 1.0),
        resolved_zones=resolved,
        reason=_reason(verdict, aim, chance, reduction, mean, length),
    )


def _masked(reduction: Reduction, profiles: Floats) -> tuple[Masking, Floats, Floats]:
    """Masks over the mean surface; Strehl x area of each profile under each mask, and its Strehl ratio without one."""
    masks = MaskSeries(reduction.radius, reduction.geometry, reduction.wavelength)
    found = [masks.masking(profile) for profile in profiles]
    worth, strehl = np.array([one.worth for one in found]), np.array([one.strehl[-1] for one in found])
    return masks.masking(reduction.figure_error), worth, strehl


def _reason(
    verdict: Verdict, aim: float, chance: float, reduction: Reduction, mean: Masking, length: Callable[[float], str]
) -> str:
    low, high = reduction.strehl_band
    band = f"Strehl ratio {reduction.strehl:.2f} ({low:.2f} to {high:.2f}), target {aim:.2f}"
    if verdict == "yes":
        return f"good enough: {band}; stop here"
    if verdict == "open":
        return f"{band}. The chance that it is already reached is {chance:.0%}; take more readings"
    within = all(abs(zone.multiple) <= 1.0 for zone in reduction.zones)
    mask = ". Every window is within its tolerance; it is their errors together that cost light" if within else ""
    if mean.gain >= WORTH_A_MASK:
        mask += (
            f". Masked to {length(mean.best_radius * 2)}, the core of a star's image would be {mean.gain:.1f} times "
        )
        mask += "as bright as now; but work on the figure first, which keeps the whole aperture"
    return f"not good enough yet: {band}{mask}"
