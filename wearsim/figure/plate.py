"""How a round plate bends: on rings of points under its weight or a push, and where one face is warmed.

Small deflections of a plate of even thickness with a free rim, bending (Kirchhoff) and shear deflection added: S.
Timoshenko and S. Woinowsky-Krieger, *Theory of Plates and Shells*, 2nd ed. 1959, from memory; the series of a ring of
points is derived here from the expansion of ``R^2 ln R`` about the centre. Warmth bends and thickens a plate by the
same equations with the thermal curvature in place of the load: B. A. Boley and J. H. Weiner, *Theory of Thermal
Stresses*, 1960, from memory.

Deflections are of the surface, positive = high. What a change of focus hides (piston and r^2) is taken out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wearsim.kernels.arrays import Floats

HARMONICS = 48
"""Highest number of waves round the rim that is summed for points."""
PATCH_WAVES, ALONG, THROUGH = 12, 24, 40
"""Waves round the rim, along the radius and through the plate that are summed for warm patches."""
RADII = 64
"""Radii that a deflection is evaluated at, Gauss-Legendre in the radius."""
AZIMUTHS = 180
SHEAR = 5.0 / 6.0
"""Share of the section that carries shear [1]: E. Reissner, The effect of transverse shear deformation on the bending of
elastic plates, 1945, from memory."""


@dataclass(frozen=True)
class Plate:
    """A round plate with a free rim.

    Parameters
    ----------
    radius, thickness : float
        [m]
    young : float
        Young's modulus [Pa].
    poisson : float
        [1]
    """

    radius: float
    thickness: float
    young: float
    poisson: float

    @property
    def rigidity(self) -> float:
        """Against bending, ``E t^3 / (12 (1 - nu^2))`` [N m]."""
        return self.young * self.thickness**3 / (12.0 * (1.0 - self.poisson**2))

    @property
    def shear_stiffness(self) -> float:
        """Against shear, per unit of width [N/m]."""
        return SHEAR * self.young * self.thickness / (2.0 * (1.0 + self.poisson))

    @property
    def astigmatic_stiffness(self) -> float:
        """Force per rim amplitude of the easiest bending, ``(r/a)^2 cos 2 phi`` [N/m]: ``8 pi D (1 - nu) / a^2``
        (derived).

        Bending without stretching: its two curvatures are equal and opposite, and its energy is
        ``4 pi D (1 - nu) h^2 / a^2`` at amplitude ``h``.
        """
        return 8.0 * np.pi * self.rigidity * (1.0 - self.poisson) / self.radius**2


@dataclass(frozen=True)
class PointRing:
    """Points evenly round a circle that share a force.

    Parameters
    ----------
    points : int
        How many, at least 2; 0 for a ring that carries evenly.
    place : float
        Radius of the circle over that of the plate [1], above 0.
    share : float
        Of the whole force [1].
    turn : float
        Azimuth of the first [rad].
    """

    points: int
    place: float
    share: float = 1.0
    turn: float = 0.0


@dataclass(frozen=True)
class Deflection:
    """A surface on a polar grid, piston and r^2 taken out.

    Parameters
    ----------
    radius : (n,) ndarray
        Over that of the plate [1].
    weight : (n,) ndarray
        Shares of the area [1].
    height : (n, m) ndarray
        Over even azimuths [m].
    """

    radius: Floats
    weight: Floats
    height: Floats

    @property
    def rms(self) -> float:
        """By area [m]."""
        return float(np.sqrt(self.weight @ np.mean(self.height**2, axis=1)))

    @property
    def peak_to_valley(self) -> float:
        """Highest less lowest [m]."""
        return float(np.ptp(self.height))

    def times(self, factor: float) -> Deflection:
        """The same shape, so many times as high."""
        return Deflection(self.radius, self.weight, self.height * factor)


def polar_grid(breaks: Sequence[float]) -> tuple[Floats, Floats]:
    """Radii over the unit disc and their shares of its area, Gauss-Legendre between these radii [1]."""
    edges = np.array([0.0, *sorted(set(breaks) - {0.0, 1.0}), 1.0])
    x, weight = np.polynomial.legendre.leggauss(max(8, RADII // (edges.size - 1)))
    half = 0.5 * np.diff(edges)[:, None]
    radius = edges[:-1, None] + half * (1.0 + x)
    return radius.ravel(), (2.0 * half * weight * radius).ravel()


def levelled(radius: Floats, weight: Floats, profile: Floats) -> Floats:
    """A profile ``(n,)`` less the piston and the r^2 that fit it best by area."""
    bowl = radius**2 - weight @ radius**2
    centred = profile - weight @ profile
    return np.asarray(centred - bowl * (weight @ (bowl * profile)) / (weight @ bowl**2))


def on_points(plate: Plate, force: float, rings: Sequence[PointRing]) -> Deflection:
    """Deflection under an even load that rings of points hold up.

    Parameters
    ----------
    plate : Plate
    force : float
        The whole load [N], downwards, spread evenly over the plate; the rings push it up.
    rings : sequence of PointRing
        Whose shares add up to 1. For a push at points that an even bed holds up the sign changes, no more.

    Returns
    -------
    Deflection
        [m]; high over the points.
    """
    radius, weight = polar_grid([min(ring.place, 1.0) for ring in rings])
    azimuth = 2.0 * np.pi * np.arange(AZIMUTHS) / AZIMUTHS
    round_part = np.zeros_like(radius)
    height = np.zeros((radius.size, azimuth.size))
    for ring in rings:
        round_part += ring.share * _round_part(plate, radius, ring.place)
        for waves in range(ring.points, HARMONICS + 1, ring.points) if ring.points else ():
            height += np.outer(
                ring.share * _harmonic(plate, radius, ring.place, waves), np.cos(waves * (azimuth - ring.turn))
            )
    height += levelled(radius, weight, round_part)[:, None]
    return Deflection(radius, weight, force * height)


def _round_part(plate: Plate, radius: Floats, place: float) -> Floats:
    """Round part per force [m/N], whatever piston and r^2 are in it: a ring's push, and the even load against it."""
    low, high = np.minimum(radius, place), np.maximum(radius, place)
    bending = ((low**2 + high**2) * np.log(high) + low**2) / (8.0 * np.pi) - radius**4 / (64.0 * np.pi)
    shear = -np.log(high) / (2.0 * np.pi)
    return np.asarray(bending * plate.radius**2 / plate.rigidity + shear / plate.shear_stiffness)


def _harmonic(plate: Plate, radius: Floats, place: float, waves: int) -> Floats:
    """Radial factor of ``cos(waves phi)`` per force [m/N].

    In the plane without bounds the coefficient of ``R^2 ln R / (8 pi D)``; added to it ``A r^m + B r^(m+2)``, such
    that moment and shear vanish at the rim.
    """
    m, nu = waves, plate.poisson
    low, high = np.minimum(radius, place), np.maximum(radius, place)
    free = (low / high) ** m * (high**2 / (m * (m - 1)) - low**2 / (m * (m + 1)))
    at_rim = {2 - m: place**m / (m * (m - 1)), -m: -(place ** (m + 2)) / (m * (m + 1))}
    left = -np.sum([np.array(_rim_terms(power, m, nu)) * factor for power, factor in at_rim.items()], axis=0)
    bending = (free + _freed(radius, m, nu, left)) / (8.0 * np.pi)
    sheared = ((low / high) ** m + (radius * place) ** m) / (2.0 * np.pi * m)
    return np.asarray(bending * plate.radius**2 / plate.rigidity + sheared / plate.shear_stiffness)


def _freed(radius: Floats, waves: int, poisson: float, left: Floats) -> Floats:
    """The ``A r^m + B r^(m+2)`` with this moment and shear at the rim, over -D."""
    m, nu = waves, poisson
    first, second = np.linalg.solve(np.array([_rim_terms(m, m, nu), _rim_terms(m + 2, m, nu)]).T, left)
    return np.asarray(first * radius**m + second * radius ** (m + 2))


def _rim_terms(power: int, waves: int, poisson: float) -> tuple[float, float]:
    """Bending moment and Kirchhoff's shear of ``r^power cos(waves phi)`` at r = 1, over -D [1]."""
    s, m = float(power), float(waves)
    moment = s * (s - 1.0) + poisson * (s - m**2)
    shear = (s**2 - m**2) * (s - 2.0) - (1.0 - poisson) * m**2 * (s - 1.0)
    return moment, shear


@dataclass(frozen=True)
class WarmPatches:
    """Heat that round patches, evenly round a circle, give to the back of a plate for a while.

    Parameters
    ----------
    patches : int
        How many.
    place, size : float
        Radius of the circle, and of a patch, over that of the plate [1].
    flux : float
        Of each patch [W/m^2].
    seconds : float
        How long [s].
    is_turned : bool
        Whether the plate turns beneath them, so that each azimuth has its share.
    """

    patches: int
    place: float
    size: float
    flux: float
    seconds: float
    is_turned: bool = False

    def harmonics(self, radius: Floats) -> dict[int, Floats]:
        """Flux at radii ``(n,)``, over that of the plate, by the number of waves round the rim [W/m^2]."""
        cosine = (radius**2 + self.place**2 - self.size**2) / (2.0 * radius * self.place)
        half = np.arccos(np.clip(cosine, -1.0, 1.0))
        each = self.flux * self.patches / np.pi
        found = {0: each * half}
        if not self.is_turned:
            waves = range(self.patches, PATCH_WAVES + 1, self.patches)
            found |= {m: 2.0 * each * np.sin(m * half) / m for m in waves}
        return found


@dataclass(frozen=True)
class Heat:
    """What heat does in a material: conductivity [W/(m K)], diffusivity [m^2/s], expansion [1/K]."""

    conductivity: float
    diffusivity: float
    expansion: float


def warmed(plate: Plate, warm: WarmPatches, glass: Heat, times: Sequence[float]) -> tuple[Deflection, ...]:
    """The front of a plate whose back is warmed; no heat is lost.

    Parameters
    ----------
    plate : Plate
    warm : WarmPatches
    glass : Heat
    times : sequence of float
        When, from the beginning on [s].

    Returns
    -------
    tuple of Deflection
        One for each time [m].

    Notes
    -----
    Conduction is exact: a series in ``Jm(q r) cos(m phi) cos(n pi z / t)`` with ``Jm'(q a) = 0`` (H. S. Carslaw and
    J. C. Jaeger, *Conduction of Heat in Solids*, 2nd ed. 1959, from memory). Of each wave the temperature's moment
    about the middle gives a gradient ``g``, which bends by ``laplacian = (1 + nu) alpha g``, and the mean ``T`` over
    the front half thickens that half by ``(1 + nu) alpha T t / 2`` (derived). The two are opposed: a front that is
    still cold hardly moves.
    """
    radius, weight = polar_grid([warm.place - warm.size, warm.place, warm.place + warm.size])
    azimuth = 2.0 * np.pi * np.arange(AZIMUTHS) / AZIMUTHS
    heights = np.zeros((len(times), radius.size, azimuth.size))
    for waves, flux in warm.harmonics(radius).items():
        fronts = _warmed_harmonic(plate, warm.seconds, glass, times, waves, radius, weight * flux)
        for height, front in zip(heights, fronts, strict=True):
            height += np.outer(front if waves else levelled(radius, weight, front), np.cos(waves * azimuth))
    return tuple(Deflection(radius, weight, height) for height in heights)


def _warmed_harmonic(
    plate: Plate, seconds: float, glass: Heat, times: Sequence[float], waves: int, radius: Floats, taken: Floats
) -> list[Floats]:
    """Radial factor of ``cos(waves phi)`` of the front at each time [m], the rim free of moment and shear."""
    from scipy.special import jnp_zeros, jv  # slow to import

    q, m, nu = jnp_zeros(waves, ALONG), waves, plate.poisson
    shapes, at_rim = jv(m, np.outer(radius, q)), jv(m, q)
    rise = taken @ shapes / ((1.0 - (m / q) ** 2) * at_rim**2)
    rise *= glass.diffusivity / (glass.conductivity * plate.thickness)
    fronts = []
    for at in times:
        gradient, warmth = _through_the_plate(plate.thickness, q / plate.radius, seconds, glass.diffusivity, at)
        bend = -rise * gradient * (plate.radius / q) ** 2
        front = shapes @ (bend + 0.5 * plate.thickness * rise * warmth)
        if m > 1:
            front += _freed(radius, m, nu, np.full(2, -(bend @ at_rim) * m**2 * (1.0 - nu)))
        fronts.append(np.asarray((1.0 + nu) * glass.expansion * front))
    return fronts


def _through_the_plate(
    thickness: float, wave: Floats, seconds: float, diffusivity: float, at: float
) -> tuple[Floats, Floats]:
    """Of each wave along the plate [1/m] the gradient [s/m] and the mean of the front half [s].

    Both for one kelvin a second taken up.
    """
    n = np.arange(0, THROUGH)
    rate = diffusivity * (wave[:, None] ** 2 + (n * np.pi / thickness) ** 2)
    last, first = (np.exp(-np.minimum(rate * time, 700.0)) for time in (max(at - seconds, 0.0), at))
    kept = (last - first) / rate
    gradient = kept[:, 1::2] @ (48.0 / (np.pi**2 * n[1::2] ** 2)) / thickness
    half = np.where(n % 2 == 1, -2.0 * np.sin(n * np.pi / 2.0) / np.maximum(n * np.pi / 2.0, 1.0), 0.0)
    half[0] = 1.0
    return gradient, kept @ half
