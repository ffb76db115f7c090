"""Ring integrals of the pressure under a flat lap (w = u = 0), in closed form.

On the ring of radius r the gap is ``d + |b| r cos(theta - theta_b)``: positive within gamma of theta_b, where
cos gamma = -d / (|b| r) (physics section 6, the arc where p > 0). The covered arc is cut by that arc and by the
azimuths within which the glass-edge effect acts; each piece integrates to ``d theta + |b| r sin(theta - theta_b)``.
"""

from __future__ import annotations

import numpy as np

from wearsim.kernels._jit import inlined, kernel
from wearsim.kernels.arrays import Floats
from wearsim.kernels.quadrature import edge_azimuth, half_arc


@inlined
def _piece(lo: float, hi: float, centre: float, half: float, d: float, tilt: float, centred: float) -> float:
    """Integral of the gap over [lo, hi] cut with [centre - half, centre + half], angles modulo 2 pi."""
    total = 0.0
    for turn in range(-1, 2):
        p = max(lo, centre - half + 2.0 * np.pi * turn)
        q = min(hi, centre + half + 2.0 * np.pi * turn)
        if q > p:
            total += d * (q - p) + tilt * (np.sin(q - centred) - np.sin(p - centred))
    return total


@inlined
def flat_ring(r: float, a: float, b: float, e: float, gain: float, decay: float, d: float, bx: float,
              by: float) -> float:  # fmt: skip
    """Mean over a ring of the glass of ``E max(0, d + b.x)`` [m]; times kappa it is the mean pressure.

    Symbols: r ring, a mirror, b lap [m]; e offset [m]; gain, decay of the glass-edge effect; d [m], bx, by [1].
    """
    beta = half_arc(r, e, b)
    if beta == 0.0:
        return 0.0
    tilt = np.hypot(bx, by) * r
    theta_b = np.arctan2(by, bx)
    if d >= tilt:
        half = np.pi
    elif d <= -tilt:
        return 0.0
    else:
        half = np.arccos(-d / tilt)
    if half >= np.pi:
        theta_c = 0.0
        half = 2.0 * np.pi / 2.0
    else:
        theta_c = theta_b
    total = _piece(-beta, beta, theta_c, half, d, tilt, theta_b)
    theta_e = min(beta, edge_azimuth(a, b, e, gain, decay))
    if theta_e > 0.0:
        edge = gain * np.exp(-(a - r) / decay)
        total += edge * _piece(-theta_e, theta_e, theta_c, half, d, tilt, theta_b)
    return total / (2.0 * np.pi)


@kernel
def flat_rings(radius: Floats, a: float, b: float, e: float, gain: float, decay: float, d: float, bx: float,
               by: float, out: Floats) -> None:  # fmt: skip
    """:func:`flat_ring` for every radius of a grid."""
    for j in range(radius.size):
        out[j] = flat_ring(radius[j], a, b, e, gain, decay, d, bx, by)
