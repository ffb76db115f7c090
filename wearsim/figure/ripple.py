"""The spectrum of zonal ripple: what channels print on a round profile."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wearsim.kernels.arrays import Floats


@dataclass(frozen=True)
class RippleSpectrum:
    """Amplitudes of waves along the radius.

    Parameters
    ----------
    frequency : ndarray, shape (k,)
        Spatial frequency [1/m].
    amplitude : ndarray, shape (k,)
        Amplitude of a wave of this frequency [m].
    rms : float
        RMS along the radius of what the smooth figure leaves [m].
    """

    frequency: Floats
    amplitude: Floats
    rms: float

    @property
    def strongest(self) -> tuple[float, float]:
        """Period [m] and amplitude [m] of the strongest wave."""
        at = int(np.argmax(self.amplitude))
        return 1.0 / float(self.frequency[at]), float(self.amplitude[at])


def ripple_spectrum(
    radius: Floats, height: Floats, inner: float, outer: float, *, smooth_terms: int = 5, samples: int = 512
) -> RippleSpectrum:
    """Spectrum of a profile between two radii, its smooth figure taken off.

    Parameters
    ----------
    radius, height : ndarray, shape (n,)
        Increasing radii [m] and the profile [m].
    inner, outer : float
        The annulus looked at [m].
    smooth_terms : int
        Powers of ``r^2``, from 0, that count as figure and not as ripple.
    samples : int
        Even steps that the profile is read at.

    Returns
    -------
    RippleSpectrum
        Through a raised-cosine window, scaled so that a wave of amplitude ``A`` reads ``A``.

    Raises
    ------
    ValueError
        If the annulus is empty.
    """
    if not inner < outer:
        raise ValueError(f"the annulus from {inner} m to {outer} m is empty")
    # slow to import, and of use to the planar engine alone
    from scipy.interpolate import CubicSpline

    at = np.linspace(inner, outer, samples, endpoint=False) + 0.5 * (outer - inner) / samples
    values = CubicSpline(radius, height)(at)
    powers = np.polynomial.chebyshev.chebvander(
        2.0 * (at**2 - inner**2) / (outer**2 - inner**2) - 1.0, smooth_terms - 1
    )
    left = values - powers @ np.linalg.lstsq(powers, values, rcond=None)[0]
    window = 0.5 - 0.5 * np.cos(2.0 * np.pi * (np.arange(samples) + 0.5) / samples)
    spectrum = np.asarray(np.abs(np.fft.rfft(left * window)) * 2.0 / window.sum(), dtype=np.float64)
    frequency = np.asarray(np.fft.rfftfreq(samples, (outer - inner) / samples), dtype=np.float64)
    return RippleSpectrum(frequency[1:-1], spectrum[1:-1], float(np.sqrt(np.mean(left**2))))
