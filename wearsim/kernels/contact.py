"""Balance of force and both moments of a rigid-backed lap on an elastic foundation that can only push.

Physics section 2. The pressure at a node is ``p = kappa E max(0, d + b.x + h)``; ``d`` and ``b`` minimise the
convex energy ``kappa/2 sum(A E max(0, d + b.x + h)^2) - F (d + b.x_F)``, whose gradient is the imbalance of
force and moments. Newton's method on the active nodes with a line search on the energy finds the minimum from
any start: the energy is convex and piecewise quadratic, so close to the minimum a full step is exact.

Symbols: ``x, y`` node positions [m], y >= 0; ``area`` quadrature weight times E [m^2] of one half plane;
``height`` w + u at the node [m]; ``pose`` = (d [m], b_x [1], b_y [1]). Each node stands for itself and for its
mirror image at -y; ``w`` and ``u`` are round, so both have the same height.
"""

from __future__ import annotations

import numpy as np

from wearsim.kernels._jit import Floats, inlined, kernel

MOST_ITERATIONS = 100
TOLERANCE = 1.0e-11
DAMPING = 1.0e-16
BLIND = 1.0e-12


@inlined
def moments_even(x: Floats, area: Floats, height: Floats, d: float, bx: float, out: Floats) -> None:
    """Energy, imbalance and stiffness sums for a tilt along x only (both halves together).

    ``out`` (6,): sum A g^2, sum A g, sum A g x, and over the active nodes sum A, sum A x, sum A x^2.
    """
    s, f, mx, a0, ax, axx = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for k in range(x.size):
        g = d + bx * x[k] + height[k]
        active = area[k] if g > 0.0 else 0.0
        ag = active * g
        s += ag * g
        f += ag
        mx += ag * x[k]
        a0 += active
        ax += active * x[k]
        axx += active * x[k] * x[k]
    out[0], out[1], out[2], out[3], out[4], out[5] = 2 * s, 2 * f, 2 * mx, 2 * a0, 2 * ax, 2 * axx


@inlined
def moments_full(x: Floats, y: Floats, area: Floats, height: Floats, d: float, bx: float, by: float,
                 out: Floats) -> None:  # fmt: skip
    """The same with a tilt across as well.

    ``out`` (10,): sum A g^2, A g, A g x, A g y, and over the active nodes A, A x, A y, A x^2, A x y, A y^2.
    """
    s, f, mx, my = 0.0, 0.0, 0.0, 0.0
    a0, ax, ay, axx, axy, ayy = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for k in range(x.size):
        base = d + bx * x[k] + height[k]
        side = by * y[k]
        g = base + side
        upper = area[k] if g > 0.0 else 0.0
        ug = upper * g
        q = base - side
        lower = area[k] if q > 0.0 else 0.0
        lq = lower * q
        s += ug * g + lq * q
        f += ug + lq
        mx += (ug + lq) * x[k]
        my += (ug - lq) * y[k]
        both = upper + lower
        a0 += both
        ax += both * x[k]
        ay += (upper - lower) * y[k]
        axx += both * x[k] * x[k]
        axy += (upper - lower) * x[k] * y[k]
        ayy += both * y[k] * y[k]
    out[0], out[1], out[2], out[3], out[4] = s, f, mx, my, a0
    out[5], out[6], out[7], out[8], out[9] = ax, ay, axx, axy, ayy


@inlined
def _sums(x: Floats, y: Floats, area: Floats, height: Floats, pose: Floats, across: bool, out: Floats) -> None:  # fmt: skip
    if across:
        moments_full(x, y, area, height, pose[0], pose[1], pose[2], out)
    else:
        moments_even(x, area, height, pose[0], pose[1], out)
        out[7], out[5], out[4] = out[5], out[4], out[3]
        out[3], out[6], out[8], out[9] = 0.0, 0.0, 0.0, 0.0


@inlined
def _solve3(h: Floats, g: Floats, step: Floats) -> None:
    """Solve the symmetric 3 x 3 system h step = -g by elimination; h as (00, 01, 02, 11, 12, 22)."""
    l10, l20 = h[1] / h[0], h[2] / h[0]
    d1 = h[3] - l10 * h[1]
    c12 = h[4] - l10 * h[2]
    l21 = c12 / d1
    d2 = h[5] - l20 * h[2] - l21 * c12
    z0 = -g[0]
    z1 = -g[1] - l10 * z0
    z2 = -g[2] - l20 * z0 - l21 * z1
    step[2] = z2 / d2
    step[1] = z1 / d1 - l21 * step[2]
    step[0] = z0 / h[0] - l10 * step[1] - l20 * step[2]


@inlined
def _imbalance(out: Floats, stiffness: float, force: float, fx: float, fy: float, scale: float,
               gradient: Floats) -> float:  # fmt: skip
    gradient[0] = stiffness * out[1] - force
    gradient[1] = (stiffness * out[2] - force * fx) / scale
    gradient[2] = (stiffness * out[3] - force * fy) / scale
    return float(max(abs(gradient[0]), abs(gradient[1]), abs(gradient[2])) / force)


@inlined
def _energy(out: Floats, stiffness: float, force: float, fx: float, fy: float, pose: Floats) -> float:
    return float(0.5 * stiffness * out[0] - force * (pose[0] + pose[1] * fx + pose[2] * fy))


@inlined
def balance(x: Floats, y: Floats, area: Floats, height: Floats, full: Floats, stiffness: float, force: float,
            fx: float, fy: float, scale: float, cold: bool, pose: Floats) -> tuple[int, float]:  # fmt: skip
    """Find the pose that balances ``force`` [N] at ``(fx, fy)`` [m].

    Parameters
    ----------
    x, y, area, height : (n,) arrays
        Nodes, see the module's text.
    full : (6,) array
        Sums over *all* nodes and both halves of A, A x, A x^2, A y^2, A height, A height x.
    stiffness : float
        Foundation modulus kappa [Pa/m].
    scale : float
        Length that makes moments comparable with forces [m]; the mirror's radius.
    cold : bool
        Start from the pose in which every node touches instead of from ``pose``.
    pose : (3,) array
        Start and result: d [m], b_x, b_y.

    Returns
    -------
    iterations : int
        Newton iterations; negative when the balance was not found.
    residual : float
        Largest imbalance left, relative to ``force`` and ``force * scale``.
    """
    out, trial_out = np.zeros(10), np.zeros(10)
    gradient, step, h, trial = np.zeros(3), np.zeros(3), np.zeros(6), np.zeros(3)
    across = fy != 0.0
    if not across:
        pose[2] = 0.0
    if cold:
        det = full[0] * full[2] - full[1] * full[1]
        f0 = force / stiffness - full[4]
        f1 = force * fx / stiffness - full[5]
        pose[0] = (full[2] * f0 - full[1] * f1) / det
        pose[1] = (full[0] * f1 - full[1] * f0) / det
        pose[2] = force * fy / (stiffness * full[3])
    _sums(x, y, area, height, pose, across, out)
    residual = _imbalance(out, stiffness, force, fx, fy, scale, gradient)
    damping = DAMPING
    for iteration in range(MOST_ITERATIONS):
        if residual < TOLERANCE:
            return iteration, residual
        h[0] = stiffness * (out[4] + damping * full[0])
        h[1] = stiffness * (out[5] + damping * full[1]) / scale
        h[2] = stiffness * out[6] / scale
        h[3] = stiffness * (out[7] + damping * full[2]) / scale**2
        h[4] = stiffness * out[8] / scale**2
        h[5] = stiffness * (out[9] + damping * full[3]) / scale**2
        if not across:
            h[5] = stiffness * full[3] / scale**2
        _solve3(h, gradient, step)
        slope = gradient[0] * step[0] + gradient[1] * step[1] + gradient[2] * step[2]
        before = _energy(out, stiffness, force, fx, fy, pose)
        size = 0.5 * stiffness * out[0] + force * (abs(pose[0]) + abs(pose[1] * fx) + abs(pose[2] * fy))
        length = 1.0
        accepted = False
        for _ in range(60):
            trial[0] = pose[0] + length * step[0]
            trial[1] = pose[1] + length * step[1] / scale
            trial[2] = pose[2] + length * step[2] / scale
            _sums(x, y, area, height, trial, across, trial_out)
            after = _energy(trial_out, stiffness, force, fx, fy, trial)
            left = _imbalance(trial_out, stiffness, force, fx, fy, scale, gradient)
            # close to the minimum rounding hides the energy's fall: there the imbalance must fall instead,
            # or two sets of active nodes could lead to one another for ever
            blind = abs(after - before) <= BLIND * size
            if (blind and left < residual) or (not blind and after <= before + 1e-4 * length * slope):
                accepted = True
                break
            length *= 0.5
        if not accepted:
            damping *= 1.0e4  # too few nodes touch to say where to go: go more along the slope
            _imbalance(out, stiffness, force, fx, fy, scale, gradient)
            if damping > 1.0:
                return -iteration - 1, residual
            continue
        damping = DAMPING
        pose[:] = trial
        out[:] = trial_out
        residual = left
    return -MOST_ITERATIONS, residual


@kernel
def overlap(a: float, b: float, e: float) -> tuple[float, float]:
    """Area [m^2], centroid [m from the centre of a, along the line of centres] of the overlap of two discs.

    Circle-circle intersection, any handbook of geometry; ``a, b`` radii, ``e`` distance of the centres [m].
    """
    if e >= a + b:
        return 0.0, 0.0
    if e <= abs(a - b):
        small = min(a, b)
        return np.pi * small * small, (0.0 if a <= b else e)
    ca = min(1.0, max(-1.0, (e * e + a * a - b * b) / (2 * e * a)))
    cb = min(1.0, max(-1.0, (e * e + b * b - a * a) / (2 * e * b)))
    ta, tb = np.arccos(ca), np.arccos(cb)
    seg_a = a * a * (ta - 0.5 * np.sin(2 * ta))
    seg_b = b * b * (tb - 0.5 * np.sin(2 * tb))
    moment = 2.0 / 3.0 * (a * np.sin(ta)) ** 3 + seg_b * e - 2.0 / 3.0 * (b * np.sin(tb)) ** 3
    return seg_a + seg_b, moment / (seg_a + seg_b)
