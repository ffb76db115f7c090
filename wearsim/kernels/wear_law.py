"""The law of wear at the nodes of a ring: powers of the pressure, and speeds that differ from place to place.

Physics section 3. Where the pieces turn against each other the speed over the glass is tabulated at J places: the
mirror's centre, and rings of :data:`AZIMUTHS` azimuths, counted from the line of centres, out to the rim. Between rings
it is linear, round each ring a trigonometric polynomial.
"""

from __future__ import annotations

import numpy as np

from wearsim.kernels._jit import inlined
from wearsim.kernels.arrays import Floats, Ints, Singles
from wearsim.kernels.quadrature import Nodes

AZIMUTHS = 9
"""Places round each ring of the glass at which the speed is tabulated; odd."""


@inlined
def power_of_share(share: float, power: Floats) -> float:
    """``share ** m`` of 0 to 1: a polynomial ``power`` (6,) in its square root.

    The library's power takes one value at a time; this runs on vectors, in single precision, which is four
    times as quick or better. Good to 1e-6 for whole and half m, exact where there is no pressure; good to
    6e-5 for m of 1.1 and more, to 7e-4 at 0.75 (:func:`wearsim.wear.state.power_of`).
    """
    c0, c1, c2 = np.float32(power[0]), np.float32(power[1]), np.float32(power[2])
    c3, c4, c5 = np.float32(power[3]), np.float32(power[4]), np.float32(power[5])
    s = np.sqrt(np.float32(share))
    return s * (c0 + s * (c1 + s * (c2 + s * (c3 + s * (c4 + s * c5)))))  # type: ignore[no-any-return]


@inlined
def node_wear(x: Floats, y: Floats, height: Floats, d: float, bx: float, by: float, most: float, power: Floats,
              upper: Floats, lower: Floats) -> None:  # fmt: skip
    """Compression at each node and at its mirror image over ``most``, to the power m: ``power`` (6,), or (0,) for m = 1."""
    a, b, c, e = d / most, bx / most, by / most, 1.0 / most
    if power.size == 0:
        for k in range(x.size):
            base, side = a + b * x[k] + e * height[k], c * y[k]
            upper[k], lower[k] = max(0.0, base + side), max(0.0, base - side)
    else:
        for k in range(x.size):
            base, side = a + b * x[k] + e * height[k], c * y[k]
            upper[k] = power_of_share(max(0.0, base + side), power)
            lower[k] = power_of_share(max(0.0, base - side), power)


@inlined
def add_node_wear(x: Floats, y: Floats, height: Floats, d: float, bx: float, by: float, most: float, power: Floats,
                  even: Singles, odd: Singles, scale: float, out: Floats) -> None:  # fmt: skip
    """Add ``scale`` times what each node and its mirror image wear together, as :func:`node_wear` has it.

    ``even``, ``odd`` (n,) of :func:`node_speeds`.
    """
    a, b, c, e = d / most, bx / most, by / most, 1.0 / most
    if power.size == 0:
        for k in range(x.size):
            base, side = a + b * x[k] + e * height[k], c * y[k]
            up, low = max(0.0, base + side), max(0.0, base - side)
            out[k] += 0.5 * scale * ((up + low) * even[k] + (up - low) * odd[k])
    elif by == 0.0:
        for k in range(x.size):
            out[k] += scale * power_of_share(max(0.0, a + b * x[k] + e * height[k]), power) * even[k]
    else:
        for k in range(x.size):
            base, side = a + b * x[k] + e * height[k], c * y[k]
            up, low = power_of_share(max(0.0, base + side), power), power_of_share(max(0.0, base - side), power)
            out[k] += 0.5 * scale * ((up + low) * even[k] + (up - low) * odd[k])


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
def ring_coefficients(path: Floats, turn: Floats, out: Floats) -> None:
    """Coefficients of :func:`harmonics` at the centre and on each ring, ``out`` (1 + rings, AZIMUTHS), from a table ``path``
    (J,) of the glass's places."""
    out[:] = 0.0
    out[0, 0] = path[0]
    for ring in range(1, out.shape[0]):
        for h in range(AZIMUTHS):
            for q in range(AZIMUTHS):
                out[ring, h] += turn[h, q] * path[1 + (ring - 1) * AZIMUTHS + q]


@inlined
def _sum_harmonics(of: Floats, terms: Floats, share: Floats, even: Singles, odd: Singles) -> None:
    """Cosines and sines of a ring's polynomial ``of`` (AZIMUTHS,) at its nodes (n,), apart, times the nodes' share."""
    for k in range(share.size):
        cosines, sines = of[0], 0.0
        for h in range(1, AZIMUTHS, 2):
            cosines += of[h] * terms[h, k]
            sines += of[h + 1] * terms[h + 1, k]
        even[k], odd[k] = cosines * share[k], sines * share[k]


@inlined
def node_speeds(path: Floats, cases: int, scale: float, nodes: Nodes) -> Singles:
    """Path at the nodes of the glass's rings times their share: what a node and its mirror image have in common, and by
    how much the node has more, (M, 2, N) [m/s]; (M, 2, 0) without turning.

    ``path`` (n_e, M J) [m/s], ``cases`` M, ``scale`` the mirror's radius [m]. In single precision: every evaluation
    reads all of it.
    """
    places = path.shape[1] // cases
    out = np.zeros((cases if places > 1 else 1, 2, nodes.glass_x.size), np.float32)
    if places == 1:
        out[0, 0] = nodes.glass_share
        return out
    rings, n_r = (places - 1) // AZIMUTHS, (nodes.glass_start.size - 1) // path.shape[0]
    turn, terms, here = azimuth_matrix(), np.empty((AZIMUTHS, 128)), np.empty(AZIMUTHS)
    table = np.empty((cases, 1 + rings, AZIMUTHS))
    for i in range(path.shape[0]):
        for m in range(cases):
            ring_coefficients(path[i, m * places : (m + 1) * places], turn, table[m])
        for row in range(i * n_r, (i + 1) * n_r):
            first, last = nodes.glass_start[row], nodes.glass_start[row + 1]
            if last == first:
                continue
            ring, beyond, inverse = ring_of(nodes.glass_x[first], nodes.glass_y[first], scale, rings)
            for k in range(first, last):
                harmonics(nodes.glass_x[k] * inverse, nodes.glass_y[k] * inverse, terms[:, k - first])
            for m in range(cases):
                for h in range(AZIMUTHS):
                    here[h] = table[m, ring, h] + beyond * (table[m, ring + 1, h] - table[m, ring, h])
                _sum_harmonics(here, terms, nodes.glass_share[first:last], out[m, 0, first:last], out[m, 1, first:last])
    return out


@inlined
def wear_at_places(x: Floats, y: Floats, share: Floats, upper: Floats, lower: Floats, scale: float, start: Ints,
                   first: int, count: int, strength: float, path: Floats, basis: Floats) -> None:  # fmt: skip
    """Add a case's wear to the row of each place: ``path`` (J,), ``basis`` (J, n_r)."""
    turn, terms, moments = azimuth_matrix(), np.empty(AZIMUTHS), np.empty(AZIMUTHS)
    shift = start[first]
    for j in range(count):
        low, high = start[first + j] - shift, start[first + j + 1] - shift
        if high == low:
            continue
        ring, beyond, inverse = ring_of(x[low], y[low], scale, (path.size - 1) // AZIMUTHS)
        moments[:] = 0.0
        for k in range(low, high):
            harmonics(x[k] * inverse, y[k] * inverse, terms)
            for h in range(AZIMUTHS):
                odd = h > 0 and h % 2 == 0
                both = upper[k] - lower[k] if odd else upper[k] + lower[k]
                moments[h] += 0.5 * strength * share[k] * both * terms[h]
        for q in range(AZIMUTHS):
            value = np.sum(turn[:, q] * moments)
            outer, inner = 1 + ring * AZIMUTHS + q, 1 + (ring - 1) * AZIMUTHS + q if ring > 0 else 0
            basis[outer, j] += beyond * value * path[outer]
            basis[inner, j] += (1.0 - beyond) * value * path[inner]
