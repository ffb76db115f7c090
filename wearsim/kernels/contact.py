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

from wearsim.kernels._jit import inlined
from wearsim.kernels.arrays import Floats

Triple = tuple[float, float, float]
Sums = tuple[float, float, float, float, float, float, float, float, float, float]

MOST_ITERATIONS = 100
TOLERANCE = 1.0e-11
STUCK = 1.0e-7
DAMPING = 1.0e-16
BLIND = 1.0e-12


@inlined
def moments_even(x: Floats, area: Floats, height: Floats, d: float, bx: float) -> Sums:
    """Energy, imbalance and stiffness sums for a tilt along x only (both halves together).

    As :func:`moments_full` has them, those across being 0.
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
    return 2 * s, 2 * f, 2 * mx, 0.0, 2 * a0, 2 * ax, 0.0, 2 * axx, 0.0, 0.0


@inlined
def moments_full(x: Floats, y: Floats, area: Floats, height: Floats, d: float, bx: float, by: float) -> Sums:
    """The same with a tilt across as well.

    Sums of A g^2, A g, A g x, A g y, and over the active nodes of A, A x, A y, A x^2, A x y, A y^2.
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
    return s, f, mx, my, a0, ax, ay, axx, axy, ayy


@inlined
def _sums(x: Floats, y: Floats, area: Floats, height: Floats, pose: Triple, across: bool) -> Sums:
    if across:
        return moments_full(x, y, area, height, pose[0], pose[1], pose[2])
    return moments_even(x, area, height, pose[0], pose[1])


@inlined
def _step(out: Sums, full: Floats, gradient: Triple, stiffness: float, scale: float, damping: float,
          across: bool) -> Triple:  # fmt: skip
    """Newton's step: the symmetric 3 x 3 system H step = -gradient, lengths in units of ``scale``, by elimination."""
    h00 = stiffness * (out[4] + damping * full[0])
    h01 = stiffness * (out[5] + damping * full[1]) / scale
    h02 = stiffness * out[6] / scale
    h11 = stiffness * (out[7] + damping * full[2]) / scale**2
    h12 = stiffness * out[8] / scale**2
    h22 = stiffness * (out[9] + damping * full[3]) / scale**2 if across else stiffness * full[3] / scale**2
    l10, l20 = h01 / h00, h02 / h00
    d1 = h11 - l10 * h01
    c12 = h12 - l10 * h02
    l21 = c12 / d1
    d2 = h22 - l20 * h02 - l21 * c12
    z0 = -gradient[0]
    z1 = -gradient[1] - l10 * z0
    z2 = -gradient[2] - l20 * z0 - l21 * z1
    s2 = z2 / d2
    s1 = z1 / d1 - l21 * s2
    return z0 / h00 - l10 * s1 - l20 * s2, s1, s2


@inlined
def _gradient(out: Sums, stiffness: float, force: float, fx: float, fy: float, scale: float) -> Triple:
    """Imbalance of force and, over ``scale``, of both moments [N]."""
    return (
        stiffness * out[1] - force,
        (stiffness * out[2] - force * fx) / scale,
        (stiffness * out[3] - force * fy) / scale,
    )


@inlined
def _imbalance(gradient: Triple, force: float) -> float:
    return float(max(abs(gradient[0]), abs(gradient[1]), abs(gradient[2])) / force)


@inlined
def _energy(out: Sums, stiffness: float, force: float, fx: float, fy: float, pose: Triple) -> float:
    return float(0.5 * stiffness * out[0] - force * (pose[0] + pose[1] * fx + pose[2] * fy))


@inlined
def _all_touching(full: Floats, stiffness: float, force: float, fx: float, fy: float) -> Triple:
    """The pose that balances the load were every node in contact, pulling where it must."""
    det = full[0] * full[2] - full[1] * full[1]
    f0 = force / stiffness - full[4]
    f1 = force * fx / stiffness - full[5]
    return (
        (full[2] * f0 - full[1] * f1) / det,
        (full[0] * f1 - full[1] * f0) / det,
        force * fy / (stiffness * full[3]),
    )


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
    across = fy != 0.0
    at = (pose[0], pose[1], pose[2] if across else 0.0)
    if cold:
        at = _all_touching(full, stiffness, force, fx, fy)
    out = _sums(x, y, area, height, at, across)
    gradient = _gradient(out, stiffness, force, fx, fy, scale)
    residual = _imbalance(gradient, force)
    damping, steps = DAMPING, -MOST_ITERATIONS
    for iteration in range(MOST_ITERATIONS):
        if residual < TOLERANCE:
            steps = iteration
            break
        step = _step(out, full, gradient, stiffness, scale, damping, across)
        slope = gradient[0] * step[0] + gradient[1] * step[1] + gradient[2] * step[2]
        before = _energy(out, stiffness, force, fx, fy, at)
        size = 0.5 * stiffness * out[0] + force * (abs(at[0]) + abs(at[1] * fx) + abs(at[2] * fy))
        length = 1.0
        accepted = False
        for _ in range(60):
            trial = (at[0] + length * step[0], at[1] + length * step[1] / scale, at[2] + length * step[2] / scale)
            trial_out = _sums(x, y, area, height, trial, across)
            after = _energy(trial_out, stiffness, force, fx, fy, trial)
            trial_gradient = _gradient(trial_out, stiffness, force, fx, fy, scale)
            left = _imbalance(trial_gradient, force)
            # close to the minimum rounding hides the energy's fall: there the imbalance must fall instead,
            # or two sets of active nodes could lead to one another for ever
            blind = abs(after - before) <= BLIND * size
            if (blind and left < residual) or (not blind and after <= before + 1e-4 * length * slope):
                accepted = True
                break
            length *= 0.5
        if accepted:
            damping = DAMPING
            at, out, gradient, residual = trial, trial_out, trial_gradient, left
            continue
        damping *= 1.0e4  # too few nodes touch to say where to go: go more along the slope
        if damping > 1.0:
            steps = -iteration - 1
            break
    if steps < 0 and residual < STUCK:  # as far as rounding goes: few nodes touch, or hard
        steps = -steps
    pose[0], pose[1], pose[2] = at
    return steps, residual
