"""When to stop: is it good enough within the band, what would a mask buy, which zones are really wrong."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from wearsim.figure.masking import Masking, MaskSeries
from wearsim.figure.metrics import percentiles
from wearsim.kernels.arrays import Floats
from wearsim.knifeedge.reduction import Reduction

LIMIT = 0.8
"""Strehl ratio of a mirror that is called diffraction-limited (Marechal's criterion)."""


@dataclass(frozen=True, eq=False)
class StopAdvice:
    """Whether to go on.

    Attributes
    ----------
    verdict : {"yes", "no", "open"}
        Diffraction-limited: for 95 % of the surfaces that are possible, for 5 % at most, or in between.
    chance : float
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

    verdict: Literal["yes", "no", "open"]
    chance: float
    masking: Masking
    masking_band: Floats
    wrong_zones: tuple[int, ...]
    resolved_zones: tuple[int, ...]
    reason: str

    def to_json(self) -> dict[str, Any]:
        """The advice as one JSON object."""
        return {
            "verdict": self.verdict,
            "chance_diffraction_limited": self.chance,
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
    reduction: Reduction, *, seed: int = 0, draws: int = 60, length: Callable[[float], str] = _millimetres
) -> StopAdvice:
    """Judge a reduced mirror.

    Parameters
    ----------
    reduction : Reduction
        What the readings say.
    seed : int
        Of the draws for the band of the masking curve.
    draws : int
        How many of them.
    length : callable
        How the reason writes a length [m]; in millimetres unless given.

    Returns
    -------
    StopAdvice
    """
    chance = reduction.chance_diffraction_limited
    verdict: Literal["yes", "no", "open"] = "yes" if chance >= 0.95 else "no" if chance <= 0.05 else "open"
    rng = np.random.default_rng(np.random.SeedSequence(entropy=seed, spawn_key=(5,)))
    mean, worths = _masked(reduction, reduction.draw(draws, rng))
    resolved = tuple(i for i, zone in enumerate(reduction.zones) if zone.is_resolved)
    return StopAdvice(
        verdict=verdict,
        chance=chance,
        masking=mean,
        masking_band=percentiles(worths),
        wrong_zones=tuple(i for i in resolved if abs(reduction.zones[i].multiple) > 1.0),
        resolved_zones=resolved,
        reason=_reason(verdict, chance, reduction, mean, length),
    )


def _masked(reduction: Reduction, profiles: Floats) -> tuple[Masking, Floats]:
    masks = MaskSeries(reduction.radius, reduction.geometry, reduction.wavelength)
    return masks.masking(reduction.figure_error), np.array([masks.masking(profile).worth for profile in profiles])


def _reason(verdict: str, chance: float, reduction: Reduction, mean: Masking, length: Callable[[float], str]) -> str:
    low, high = reduction.strehl_band
    band = f"Strehl ratio {reduction.strehl:.2f} ({low:.2f} to {high:.2f})"
    if verdict == "yes":
        return f"diffraction-limited within the band: {band}; stop"
    if verdict == "open":
        return f"{band}: {chance:.0%} of the surfaces that these readings allow reach 0.8; read it again"
    mask = ""
    if mean.gain > 1.02:
        mask = f"; masked to {length(mean.best_radius * 2)} its core gets {mean.gain:.2f} times the light"
    return f"not diffraction-limited yet: {band}{mask}"
