"""The planar engine against closed forms, each with its source (labels of the check values' page)."""

import numpy as np
import pytest

STILL = {"walk": 0.0, "hand_turn": 0.0}
RADII = np.linspace(0.004, 0.138, 40)


def _frozen(rig, **pieces):
    """Pieces so little worn that the state stands still: the wear is then k times path-averaged pressure."""
    return rig(relaxation=1e30, preston=1e-25, **pieces)


def _speed(rate_of_wear, made, load):
    return rate_of_wear / (made.pieces.preston * load / (np.pi * made.pitch.radius**2))


@pytest.mark.parametrize("spinning", ["spin_top", "spin_bottom"])
def test_spin_alone_wears_as_the_radius(rig, motion, spinning):
    """dz/dt = k p w r, of either piece. Preston, J. Soc. Glass Technology 11 (1927) 214 [memory; derived]."""
    made = _frozen(rig)
    made.work(motion("straight", 0.0, 0.0, **STILL, **{spinning: 0.7}), 12.0)
    away = RADII > 0.01  # the cone's tip is rounded by a cell
    found = _speed(made.rings(-made.w, RADII) / 12.0, made, 70.0)
    assert found[away] == pytest.approx(0.7 * RADII[away], rel=2e-3, abs=2e-4)


def test_spin_alone_takes_two_thirds_of_a_cylinder(rig, motion):
    """Volume rate (2/3) pi k p w a^3. Preston 1927 [memory; derived]."""
    made = _frozen(rig)
    made.work(motion("straight", 0.0, 0.0, **STILL, spin_top=0.7), 12.0)
    pressure = 70.0 / (np.pi * 0.15**2)
    volume = np.sum(-made.w * made.glass.area) / 12.0
    assert volume == pytest.approx(2.0 / 3.0 * np.pi * made.pieces.preston * pressure * 0.7 * 0.15**3, rel=2e-3)


def _orbit_share(r, lap, orbit):
    cosine = (r**2 + orbit**2 - lap**2) / (2.0 * r * orbit)
    return np.arccos(np.clip(cosine, -1.0, 1.0)) / np.pi


def test_share_of_an_orbit():
    """c(0.6) = 0.627141 for a = 1, e = 0.6 [derived]."""
    assert _orbit_share(0.6, 1.0, 0.6) == pytest.approx(0.627141, abs=1e-6)


def test_orbiting_lap(rig, motion):
    """dz/dt = k p w e c(r), even pressure. Preston 1927 [memory; derived]."""
    lap, orbit, rate = 0.08, 0.05, 2.0 * np.pi * 50.0 / 60.0
    made = _frozen(rig, lap_radius=lap, cells=128)
    made.work(motion("oval", 2.0 * orbit, orbit, **STILL), 12.0)
    found = _speed(made.rings(-made.w, RADII) / 12.0, made, 70.0) / (rate * orbit)
    wanted = _orbit_share(RADII, lap, orbit)
    away = np.minimum(np.abs(RADII - (lap - orbit)), np.abs(RADII - (lap + orbit))) > 0.004
    assert found[away] == pytest.approx(wanted[away], abs=4e-3)
    volume = np.sum(-made.w * made.glass.area) / 12.0
    assert volume == pytest.approx(made.pieces.preston * 70.0 * rate * orbit, rel=2e-3)


def test_equal_spin_gives_one_speed_everywhere(rig, motion):
    """Both pieces spin at one rate w, axes e apart: the relative speed is w e. Preston 1927 [memory; derived]."""
    lap, apart, rate = 0.08, 0.05, 1.3
    made = _frozen(rig, lap_radius=lap, cells=128)
    turning = motion("overhang", 0.0, 0.0, apart, **STILL, spin_top=rate, spin_bottom=rate)
    seconds = 2.0 * np.pi / rate
    made.accuracy = made.accuracy.__class__(cells=128, poses=96)
    made.work(turning, seconds, load=70.0)
    wanted = _orbit_share(RADII, lap, apart)
    away = np.minimum(np.abs(RADII - (lap - apart)), np.abs(RADII - (lap + apart))) > 0.004
    found = _speed(made.rings(-made.w, RADII) / seconds, made, 70.0) / (rate * apart)
    assert found[away] == pytest.approx(wanted[away], abs=6e-3)


def test_ripple_under_a_rigid_lap_fades_with_depth(rig, motion):
    """eps(z) = eps0 exp(-kappa z / P), z the mean depth removed, lap not creeping [derived].

    The linear smoothing factor of Kim, Park, An and Burge, Opt. Express 18, 22515 (2010) [read, abstract].
    """
    # a lap that reaches over the whole glass, axes a little apart: even speed, even pressure
    made = rig(lap_radius=0.3, relaxation=1e30, preston=2e-11)
    ripple = 2e-9 * np.cos(2.0 * np.pi * made.glass.across / 0.03)[None, :] * np.ones_like(made.w)
    made.w[:] = ripple
    rate = 1.0
    turning = motion("overhang", 0.0, 0.0, 0.1, on_top="mirror", **STILL, spin_top=rate, spin_bottom=rate)
    made.work(turning, 120.0)
    inner = made.glass.distance < 0.14
    depth = -np.mean(made.w[inner])
    left = made.w[inner] - np.mean(made.w[inner])
    start = ripple[inner] - np.mean(ripple[inner])
    kept = np.sum(left * start) / np.sum(start * start)
    pressure = 70.0 / (np.pi * 0.15**2)
    assert 0.1 < kept < 0.9
    assert np.log(kept) == pytest.approx(-5e9 * depth / pressure, rel=5e-3)


def test_pressing_takes_the_misfit_out_in_the_relaxation_time(rig):
    """At rest and all in contact, the pitch's misfit fades as exp(-t/tau) while the mean pressure stays [derived]."""
    made = rig()
    made.w[:] = 40e-9 * (made.glass.distance / 0.15) ** 4
    made.work(None, 300.0, load=200.0)
    gap = made.w + made.u
    inner = made.glass.distance < 0.145
    before, after = np.ptp(made.w[inner]), np.ptp(gap[inner])
    assert after / before == pytest.approx(np.exp(-1.0), rel=4e-3)


@pytest.mark.parametrize(
    ("offset", "lower", "trailing"), [(0.05, 1.294, 0.842), (0.10, 1.661, 0.630), (1 / 6, 2.302, 0.234)]
)
def test_pressure_at_the_end_of_a_stroke(rig, motion, offset, lower, trailing):
    """Equal discs, flat lap: at the lower rim and at the upper piece's trailing rim, in W/(pi a^2) [derived]."""
    made = rig(cells=192)
    seen = motion("overhang", 1e-9, 0.0, offset * 0.3, **STILL)
    report = made.work(seen, 1.2)
    mean = 70.0 / (np.pi * 0.15**2)
    # the pressure is linear across the overlap, from the trailing rim to the lower piece's own
    size = float(made.glass.across[1] - made.glass.across[0])
    overlap = 0.3 - offset * 0.3
    slope = (lower - trailing) / overlap
    assert report.peak_pressure / mean == pytest.approx(lower, abs=1.5 * size * slope)
    assert report.lift_off_share == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(("offset", "lifts"), [(0.190, False), (0.205, True)])
def test_lift_off_begins_at_a_fifth_of_the_diameter(rig, motion, offset, lifts):
    """Equal discs, flat lap: d = 0.19645 D [derived]."""
    made = rig(cells=128)
    report = made.work(motion("overhang", 1e-9, 0.0, offset * 0.3, **STILL), 1.2)
    assert (report.lift_off_share > 1e-9) is lifts
