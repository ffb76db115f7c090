"""Plate theory in closed form against a solid by finite elements, a published table, and the energy of a bending."""

from __future__ import annotations

import numpy as np
import pytest

from tests.helpers.solid_plate import SolidPlate
from wearsim.figure.plate import Heat, Plate, PointRing, WarmPatches, levelled, on_points, polar_grid, warmed

RADIUS = 0.15
GLASS = {"young": 64e9, "poisson": 0.2}
SODA_LIME = (Heat(1.0, 1.0 / (2500.0 * 840.0), 8.7e-6), 2500.0 * 840.0)


def cosine_part(deflection, waves):
    """Amplitude of ``cos(waves phi)`` at each radius [m]."""
    azimuth = 2.0 * np.pi * np.arange(deflection.height.shape[1]) / deflection.height.shape[1]
    return deflection.height @ np.cos(waves * azimuth) * (2.0 if waves else 1.0) / azimuth.size


def on_solid(radius, profile, at):
    return np.interp(at, radius / RADIUS, profile)


@pytest.fixture(scope="module")
def solids():
    """Two plates, thick and thin, with a ring of nodes at 0.7 of the radius."""
    edges = RADIUS * np.concatenate([np.linspace(0.0, 0.7, 12), np.linspace(0.7, 1.0, 7)[1:]])
    return {thickness: SolidPlate(edges, thickness, 4, **GLASS) for thickness in (0.025, 0.05)}


@pytest.mark.parametrize(
    ("thickness", "points", "within"), [(0.025, 2, 0.02), (0.025, 3, 0.02), (0.05, 2, 0.04), (0.05, 3, 0.1)]
)
def test_points_bend_a_plate_as_they_bend_a_solid(solids, thickness, points, within) -> None:
    plate, solid = Plate(RADIUS, thickness, **GLASS), solids[thickness]
    ours = on_points(plate, 100.0, [PointRing(points, 0.7)])
    place = int(np.argmin(abs(solid.nodes[solid.back, 0] - 0.7 * RADIUS)))
    load = np.zeros(len(solid.nodes))
    load[solid.back[place]] = 100.0 / np.pi  # the ring's Fourier coefficient, integrated over r dr
    theirs = on_solid(solid.nodes[solid.front, 0], solid.deflect(points, load), ours.radius)
    gap = cosine_part(ours, points) - theirs
    assert np.sqrt(ours.weight @ gap**2) < within * np.sqrt(ours.weight @ theirs**2)


def test_the_round_part_under_a_ring(solids) -> None:
    plate, solid = Plate(RADIUS, 0.025, **GLASS), solids[0.025]
    ours = on_points(plate, 100.0, [PointRing(0, 0.7)])
    place = int(np.argmin(abs(solid.nodes[solid.back, 0] - 0.7 * RADIUS)))
    load = -solid.even_load(solid.back, lambda r: 100.0 / (np.pi * RADIUS**2))
    load[solid.back[place]] += 100.0 / (2.0 * np.pi)
    theirs = on_solid(solid.nodes[solid.front, 0], solid.deflect(0, load), ours.radius)
    theirs = levelled(ours.radius, ours.weight, theirs)
    gap = ours.height[:, 0] - theirs
    assert np.sqrt(ours.weight @ gap**2) < 0.1 * np.sqrt(ours.weight @ theirs**2)


@pytest.mark.parametrize(("points", "place", "published"), [(3, 0.645, 5.76e-3), (6, 0.681, 2.93e-3)])
def test_support_on_rings_of_points_as_published(points: int, place: float, published: float) -> None:
    """``rms = gamma q/D (A/N)^2`` of thin plates, focus left in.

    J. E. Nelson, J. Lubliner and T. S. Mast, "Telescope mirror supports: plate deflections on point supports", Proc.
    SPIE 332 (1982); the two coefficients from memory.
    """
    plate = Plate(1.0, 1e-3, 1.0, 0.25)
    ours = on_points(plate, 1.0, [PointRing(points, place)])
    radius, weight, nu = ours.radius, ours.weight, plate.poisson
    low, high = np.minimum(radius, place), np.maximum(radius, place)
    round_part = (low**2 + high**2) * np.log(high) + low**2 - radius**4 / 8.0
    slope, curvature = 0.5 + place**2, 1.5 - place**2  # its derivatives at the rim
    bowl = -(curvature + nu * slope) / (2.0 * (1.0 + nu))  # no moment there
    round_part = (round_part + bowl * radius**2) / (8.0 * np.pi * plate.rigidity)
    lobes = ours.height - ours.height.mean(axis=1)[:, None]
    square = weight @ (np.mean(lobes**2, axis=1) + (round_part - weight @ round_part) ** 2)
    assert np.sqrt(square) * plate.rigidity * np.pi / (np.pi / points) ** 2 == pytest.approx(published, rel=0.04)


def test_the_easiest_bending_has_the_energy_of_its_curvatures() -> None:
    """Curvatures 2h/a^2 and -2h/a^2 everywhere: energy density ``D (1 - nu) kappa^2``."""
    plate = Plate(RADIUS, 0.03, **GLASS)
    curvature = 2.0 / RADIUS**2
    energy = plate.rigidity * (1.0 - plate.poisson) * curvature**2 * np.pi * RADIUS**2
    assert plate.astigmatic_stiffness == pytest.approx(2.0 * energy)


def test_two_hands_at_the_rim_make_mostly_the_easiest_bending() -> None:
    plate = Plate(RADIUS, 0.01, **GLASS)
    pushed = on_points(plate, 10.0, [PointRing(2, 1.0)])
    easiest = cosine_part(pushed, 2)
    assert easiest[-1] == pytest.approx(10.0 / plate.astigmatic_stiffness, rel=0.1)


def test_more_points_and_the_best_places_leave_less() -> None:
    plate = Plate(RADIUS, 0.03, **GLASS)
    nine = [
        [PointRing(3, a, 1 / 3), PointRing(6, b, 2 / 3, np.pi / 6)]
        for a, b in ((0.326, 0.744), (0.3, 0.7), (0.36, 0.8))
    ]
    best, inner, outer = (on_points(plate, 1.0, rings).rms for rings in nine)
    assert best < min(inner, outer)
    assert best < 0.1 * on_points(plate, 1.0, [PointRing(3, 0.7)]).rms


@pytest.mark.parametrize(
    ("thickness", "waves", "within"), [(0.02, 0, 0.12), (0.02, 2, 0.06), (0.02, 4, 0.06), (0.05, 2, 0.2)]
)
def test_warm_palms_move_the_front_as_they_move_that_of_a_solid(thickness: float, waves: int, within: float) -> None:
    heat, capacity = SODA_LIME
    plate = Plate(RADIUS, thickness, **GLASS)
    patches = WarmPatches(2, 0.6, 0.3, 200.0, 1200.0)
    (ours,) = warmed(plate, patches, heat, [1200.0])
    solid = SolidPlate(RADIUS * np.linspace(0.0, 1.0, 21), thickness, 3, **GLASS)
    flux = lambda r: float(patches.harmonics(np.array([r / RADIUS]))[waves][0])  # noqa: E731
    warmth = solid.warm(waves, flux, 1200.0, 60, heat.conductivity, capacity)
    front = -solid.deflect(waves, temperature=warmth, expansion=heat.expansion)
    theirs = on_solid(solid.nodes[solid.front, 0], front, ours.radius)
    theirs = theirs if waves else levelled(ours.radius, ours.weight, theirs)
    gap = cosine_part(ours, waves) - theirs
    assert np.sqrt(ours.weight @ gap**2) < within * np.sqrt(ours.weight @ theirs**2)


def test_turned_patches_leave_the_round_part_alone() -> None:
    plate, heat = Plate(RADIUS, 0.03, **GLASS), SODA_LIME[0]
    fixed, turned = (
        warmed(plate, WarmPatches(2, 0.6, 0.3, 200.0, 1200.0, is_turned), heat, [600.0])[0]
        for is_turned in (False, True)
    )
    assert np.allclose(turned.height[:, 0], cosine_part(fixed, 0), atol=1e-15)
    assert turned.rms < 0.2 * fixed.rms


def test_the_grid_weighs_by_area() -> None:
    radius, weight = polar_grid([0.3, 0.8])
    assert weight.sum() == pytest.approx(1.0) and weight @ radius**4 == pytest.approx(1.0 / 3.0)
    assert np.max(np.abs(levelled(radius, weight, 3.0 + 2.0 * radius**2))) < 1e-12
