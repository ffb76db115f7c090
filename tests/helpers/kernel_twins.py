"""Slow and obvious twins of the kernels, in NumPy and SciPy."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.integrate import quad, simpson
from scipy.optimize import minimize, root

Array = np.ndarray[Any, Any]


def gaps(x: Array, y: Array, height: Array, pose: Array) -> Array:
    """Compression of the pitch at nodes of both halves [m]."""
    d, bx, by = pose
    return np.maximum(0.0, np.array([d + bx * x + side * by * y + height for side in (1.0, -1.0)]))


def imbalance(nodes: tuple[Array, ...], pose: Array, kappa: float, force: float, load: Any, scale: float) -> float:
    """Largest imbalance of force and both moments, relative to force and force times scale."""
    x, y, area, height = nodes
    p = kappa * area * gaps(x, y, height, pose)
    sums = np.array([p.sum(), (p * x).sum() / scale, ((p[0] - p[1]) * y).sum() / scale])
    return float(np.abs(sums / force - [1.0, load[0] / scale, load[1] / scale]).max())


def balance(nodes: tuple[Array, ...], kappa: float, force: float, load: Any, scale: float) -> Array:
    """Pose of least energy by a general minimiser; lengths in units of force / (kappa area), tilts over scale."""
    x, y, area, height = nodes
    total = 2.0 * area.sum()
    unit = force / (kappa * total)

    def energy(q: Array) -> tuple[float, Array]:
        g = gaps(x / scale, y / scale, height / unit, q)
        weighted = area * g / total
        value = 0.5 * (weighted * g).sum() - q @ [1.0, load[0] / scale, load[1] / scale]
        slope = np.array([weighted.sum(), (weighted * x).sum(), ((weighted[0] - weighted[1]) * y).sum()])
        return value, slope / [1.0, scale, scale] - [1.0, load[0] / scale, load[1] / scale]

    start = np.array([1.0 - height.min() / unit, 0.0, 0.0])
    found = minimize(energy, start, jac=True, method="BFGS", options={"gtol": 1e-12, "maxiter": 5000})
    return np.asarray(found.x * [unit, unit / scale, unit / scale])


def covered(r: float, angle: Array, e: float, b: float) -> Array:
    """Which points of a ring lie inside the disc of radius b at distance e."""
    return np.hypot(r * np.cos(angle) - e, r * np.sin(angle)) <= b


def edge_factor(x: Any, y: Any, a: float, b: float, e: float, gain: float, decay: float) -> Any:
    """Glass-edge effect E by its words: the lap reaches ``decay`` beyond the rim at that azimuth."""
    azimuth = np.arctan2(y, x)
    reaches = np.hypot((a + decay) * np.cos(azimuth) - e, (a + decay) * np.sin(azimuth)) <= b
    return 1.0 + np.where(reaches, gain * np.exp(-(a - np.hypot(x, y)) / decay), 0.0)


def chord(x: Any, a: float, b: float, e: float) -> Any:
    """Half height of the overlap of two discs at x [m]."""
    first, second = a * a - x * x, b * b - (x - e) ** 2
    return np.sqrt(np.maximum(0.0, np.minimum(first, second)))


def flat_statics(
    a: float, b: float, e: float, load: float, guess: tuple[float, float] | None = None
) -> tuple[float, float]:
    """Level and slope (d, s) of a flat lap's pressure max(0, d + s x) for a unit force at x = load.

    The overlap is cut into strips at right angles to the line of centres; ends x = middle + half sin(phi).
    """
    low, high = max(-a, e - b), min(a, e + b)
    phi = np.linspace(-0.5 * np.pi, 0.5 * np.pi, 1001)
    x = 0.5 * (low + high) + 0.5 * (high - low) * np.sin(phi)
    strip = 2.0 * chord(x, a, b, e) * 0.5 * (high - low) * np.cos(phi)
    unit = 1.0 / simpson(strip, x=phi)

    def left(q: Array) -> list[float]:
        p = unit * np.maximum(0.0, q[0] + q[1] * x / a) * strip
        return [simpson(p, x=phi) - 1.0, (simpson(p * x, x=phi) - load) / a]

    starts = [[1.0 + abs(tilt), tilt] for tilt in (0.0, 1.0, 4.0, -1.0, -4.0)]
    if guess is not None:
        starts.insert(0, [guess[0] / unit, guess[1] * a / unit])
    for first in starts:
        solution = root(left, first, tol=1e-11)
        if np.abs(left(solution.x)).max() < 1e-8:
            return float(unit * solution.x[0]), float(unit * solution.x[1] / a)
    raise AssertionError(f"twin found no balance at {e}")


def flat_rings(radius: Array, b: float, e: float, level: float, slope: float, count: int = 4001) -> Array:
    """Ring means of max(0, level + slope x) over the covered arcs, by Simpson's rule on each arc."""
    cosine = (radius**2 + e * e - b * b) / np.maximum(2.0 * radius * e, 1e-300)
    half = np.arccos(np.clip(cosine, -1.0, 1.0))
    half = np.where(radius + e <= b, np.pi, np.where(np.abs(radius - e) >= b, 0.0, half))
    angle = half[:, None] * np.linspace(0.0, 1.0, count)
    p = np.maximum(0.0, level + slope * radius[:, None] * np.cos(angle))
    return np.asarray(simpson(p, dx=1.0, axis=1) / (count - 1) * half / np.pi)


def ring_mean(function: Any, lo: float, hi: float, breaks: Any = ()) -> float:
    """Mean over a whole turn of a function of the angle that is zero outside lo..hi (and even)."""
    points = [p for p in breaks if lo < p < hi]
    value, _ = quad(function, lo, hi, points=points or None, limit=400, epsabs=0.0, epsrel=1e-9)
    return float(value / np.pi)


def stroke_places(
    kind: str, length: float, sweep: float, overhang: float, per_sweep: float, strokes: int, poses: int,
    rng: np.random.Generator, jitter: tuple[float, float],
) -> Array:  # fmt: skip
    """Positions (strokes, poses, 2) of the top piece's centre, stroke after stroke as the words have it."""
    t = np.arange(strokes)[:, None] + (np.arange(poses) + 0.5) / poses
    draw = rng.standard_normal((4, strokes, 1))
    long = np.maximum(0.0, length * (1.0 + jitter[0] * draw[0]))
    wide = np.maximum(0.0, sweep * (1.0 + jitter[0] * draw[1]))
    x = 0.5 * long * np.sin(2.0 * np.pi * t)
    y = overhang + 0.0 * t
    if kind == "w":
        period = 2.0 * per_sweep
        y = y + wide * np.interp(np.mod(t, period) / period, [0.0, 0.25, 0.75, 1.0], [0.0, 1.0, -1.0, 0.0])
    elif kind == "oval":
        y = y + wide * np.cos(2.0 * np.pi * t)
    return np.stack([x + jitter[1] * draw[2], y + jitter[1] * draw[3]], axis=-1)
