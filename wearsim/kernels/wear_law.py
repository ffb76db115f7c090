"""The law of wear at the nodes of a ring: powers of the pressure, and speeds that differ from place to place.

Physics section 3. Where the pieces turn against each other the speed over the glass is tabulated at J places: the
mirror's centre, and rings of :data:`AZIMUTHS` azimuths, counted from the line of centres, out to the rim.
"""

from __future__ import annotations

import numpy as np

from wearsim.kernels._jit import inlined
from wearsim.kernels.arrays import Floats

AZIMUTHS = 9
"""Places round each ring of the glass at which the speed is tabulated; odd."""


@inlined
def raise_row(values: Floats, most: float, power: Floats) -> None:
    """``(values / most) ** m`` in place, for values of 0 to ``most`` > 0: a polynomial ``power`` (6,) in their square root.

    The library's power takes one value at a time; this runs on vectors. Exact for whole and half m, and where there is
    no pressure; good to 6e-5 of the largest for m of 1.1 and more, to 7e-4 at 0.75 (:func:`wearsim.wear.state.power_of`).
    """
    c0, c1, c2, c3, c4, c5 = power[0], power[1], power[2], power[3], power[4], power[5]
    inverse = 1.0 / most
    for k in range(values.size):
        s = np.sqrt(values[k] * inverse)
        values[k] = s * (c0 + s * (c1 + s * (c2 + s * (c3 + s * (c4 + s * c5)))))


@inlined
def azimuth_matrix() -> Floats:
    """From values at the azimuths of a ring to the coefficients of :func:`harmonics` that run through them."""
    out = np.empty((AZIMUTHS, AZIMUTHS))
    for q in range(AZIMUTHS):
        turn = 2.0 * np.pi * q / AZIMUTHS
        harmonics(np.cos(turn), np.sin(turn), out[:, q])
    out *= 2.0 / AZIMUTHS
    out[0] *= 0.5
    return out


@inlined
def harmonics(c: float, s: float, out: Floats) -> None:
    """1, cos t, sin t, cos 2t, sin 2t ... of an azimuth t from its cosine and sine, ``out`` (AZIMUTHS,) [1]."""
    out[0], out[1], out[2] = 1.0, c, s
    for h in range(3, AZIMUTHS, 2):
        out[h] = out[h - 2] * c - out[h - 1] * s
        out[h + 1] = out[h - 1] * c + out[h - 2] * s


@inlined
def ring_of(x: float, y: float, scale: float, rings: int) -> tuple[int, float, float]:
    """The tabulated ring inside a point, 0 being the centre; how far it is to the next [1]; one over its radius [1/m].

    The last is 0 at the centre, whose azimuth is none.
    """
    radius = np.hypot(x, y)
    outward = min(radius / scale, 1.0) * rings
    ring = min(int(outward), rings - 1)
    return ring, outward - ring, 1.0 / radius if radius > 0.0 else 0.0


@inlined
def ring_coefficients(path: Floats, ring: int, beyond: float, turn: Floats, out: Floats) -> None:
    """Coefficients of :func:`harmonics` on a ring from a table ``path`` (J,) of the glass's places."""
    inner, outer = 1 + (ring - 1) * AZIMUTHS, 1 + ring * AZIMUTHS
    out[:] = 0.0
    for q in range(AZIMUTHS):
        value = beyond * path[outer + q] + (1.0 - beyond) * path[inner + q if ring > 0 else 0]
        for h in range(AZIMUTHS):
            out[h] += turn[h, q] * value
