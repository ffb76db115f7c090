"""Facets, rings, stars: what is pitch, and that the mean stays what a whole lap's is."""

import numpy as np
import pytest

from wearsim.errors import ContactError, InputError, TipsOffError
from wearsim.wear.planar.grid import across_glass, both, facets, part_of_cells, pitch_fraction, ring, star


@pytest.mark.parametrize("shape", ["square", "hexagonal"])
def test_fraction_of_facets(shape):
    """(facet / (facet + channel))^2 for squares and hexagons alike [derived]; 0.65 for 25 and 6 mm."""
    across = across_glass(1.0, 300)
    share = part_of_cells(across, facets(shape, 0.025, 0.006), 8)
    assert pitch_fraction(share, 1.0, across) == pytest.approx((25 / 31) ** 2, abs=0.004)


def test_middle_of_a_facet_lies_at_the_offset():
    for shape in ("square", "hexagonal"):
        mask = facets(shape, 0.025, 0.006, (0.004, -0.003))
        turn = np.linspace(0.0, 2.0 * np.pi, 60)
        assert mask(0.004 + 0.0124 * np.cos(turn), -0.003 + 0.0124 * np.sin(turn)).all()
        assert not mask(0.004 + 0.0155 + np.zeros(1), np.array([-0.003])).any()


def test_hexagons_turn_onto_themselves(rng):
    mask = facets("hexagonal", 0.025, 0.006)
    x, y = rng.uniform(-0.1, 0.1, (2, 4000))
    c, s = np.cos(np.pi / 3.0), np.sin(np.pi / 3.0)
    assert np.mean(mask(x, y) == mask(c * x - s * y, s * x + c * y)) > 0.999


def test_ring_and_star():
    cut = both(ring(0.05, 0.15), star(5, 0.09, 0.15))
    assert cut(np.array([0.149, 0.04, 0.0]), np.zeros(3)).tolist() == [True, False, False]
    notch = np.pi / 5.0
    assert not cut(0.095 * np.cos(notch) * np.ones(1), 0.095 * np.sin(notch) * np.ones(1)).any()
    assert both(None, None) is None


def test_no_pitch_and_unknown_shape_are_refused(rig):
    with pytest.raises(InputError, match="leave no pitch"):
        rig(24, mask=ring(0.2, 0.3))
    with pytest.raises(InputError, match="facet_shape"):
        facets("round", 0.025, 0.006)


def test_facets_leave_the_mean_wear_as_it_is(rig, motion):
    """kappa / fraction on the facets: with enough turns the rings wear as under a whole lap."""
    radius = np.linspace(0.01, 0.14, 40)
    worn = []
    for mask in (None, facets("square", 0.025, 0.006), facets("hexagonal", 0.025, 0.006)):
        made = rig(96, mask=mask)
        made.raise_zone()
        before = made.w.copy()
        made.work(motion(walk=2 * np.pi / 61, hand_turn=2 * np.pi / 97), 300.0)
        worn.append(made.rings(before - made.w, radius))
    for faceted in worn[1:]:
        assert np.sqrt(np.mean((faceted - worn[0]) ** 2)) < 0.015 * np.ptp(worn[0])
        assert np.mean(faceted) == pytest.approx(np.mean(worn[0]), rel=0.005)


def test_channels_that_cross_in_the_middle_print_more_than_a_facet_there(rig, motion):
    """Straight strokes without turning the lap: a channel along the stroke leaves a ridge on the glass."""
    along = {}
    for name, offset in (("facet", (0.0, 0.0)), ("channel", (0.0, 0.0155))):
        made = rig(96, mask=facets("square", 0.025, 0.006, offset), relaxation=1e30, preston=1e-25)
        made.work(motion("straight", 0.1, 0.0, walk=0.0, hand_turn=0.0), 24.0)
        along[name] = -made.rings(made.w, np.array([0.0]))[0]
    assert along["channel"] < 0.15 * along["facet"]


def test_peak_is_counted_per_nominal_area(rig, motion):
    peaks = []
    for mask in (None, facets("square", 0.025, 0.006)):
        made = rig(96, mask=mask)
        peaks.append(made.work(motion("straight", 0.05, 0.0), 6.0).peak_pressure)
    assert peaks[1] == pytest.approx(peaks[0], rel=0.06)


def test_stroke_as_meant_that_tips_is_refused_with_its_limit(rig, motion):
    made = rig(32)
    with pytest.raises(TipsOffError) as caught:
        made.work(motion("straight", 0.32, 0.0), 6.0, number=3)
    assert caught.value.spell == 3
    assert caught.value.largest == pytest.approx(0.15, rel=1e-6)
    assert caught.value.offset > 0.15
    assert not made.w.any()


def test_star_tips_where_its_hull_ends(rig, motion):
    made = rig(64, mask=star(3, 0.05, 0.15))
    path = motion("straight", 0.28, 0.0, on_top="mirror", walk=0.0, hand_turn=0.0)
    with pytest.raises(TipsOffError) as caught:
        made.work(path, 6.0)
    assert 0.05 < caught.value.largest < caught.value.offset < 0.14


def test_a_load_inside_its_contact_is_never_called_tipping(rig, motion):
    made = rig(64)
    try:
        made.work(motion("straight", 0.27, 0.0), 6.0)
    except ContactError as error:  # would be a fault of ours
        raise AssertionError(str(error)) from error


def test_jittered_strokes_that_would_tip_are_drawn_again_and_counted(rig, motion):
    made = rig(32)
    report = made.work(motion("straight", 0.24, 0.0), 120.0, length_jitter=0.12, seed=3)
    assert 0 < report.redraws < 60
    assert report.reach < 0.15
    calm = rig(32).work(motion("straight", 0.1, 0.0), 12.0, length_jitter=0.06, seed=3)
    assert calm.redraws == 0
