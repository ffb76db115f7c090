"""The profiles' spline against SciPy's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from wearsim.figure.spline import ProfileSpline


@pytest.mark.parametrize("from_the_centre", [True, False])
@pytest.mark.parametrize("columns", [(), (1,), (7,)])
@pytest.mark.parametrize("count", [3, 4, 5, 60])
def test_as_scipy_has_it(count: int, columns: tuple[int, ...], from_the_centre: bool, rng: np.random.Generator) -> None:
    radius = np.cumsum(rng.uniform(0.05, 1.0, count) ** 2)
    radius -= radius[0] if from_the_centre else 0.0
    values = rng.normal(size=(count, *columns))
    first = (1, np.zeros(columns)) if from_the_centre else "not-a-knot"
    theirs, ours = CubicSpline(radius, values, bc_type=(first, "not-a-knot")), ProfileSpline(radius, values)
    at = np.concatenate([radius, rng.uniform(radius[0], radius[-1], 200)])
    np.testing.assert_allclose(ours.height(at), theirs(at), rtol=0, atol=1e-13 * np.abs(theirs(at)).max())
    steep = theirs(at, 1)
    np.testing.assert_allclose(ours.slope(at), steep, rtol=0, atol=1e-12 * np.abs(steep).max())


def test_held_level_beyond_its_ends() -> None:
    spline = ProfileSpline(np.array([0.1, 0.2, 0.4]), [1.0, 3.0, 2.0])
    assert spline.height([0.0, 0.5]).tolist() == [1.0, 2.0]
    assert spline.slope([0.0, 0.5]).tolist() == [0.0, 0.0]
    assert spline.height(0.2).shape == spline.slope(0.2).shape == ()


@pytest.mark.parametrize(
    ("radius", "values"),
    [([0.0, 1.0], [1.0, 2.0]), ([0.0, 2.0, 1.0], [1.0, 2.0, 3.0]), ([0.0, 1.0, 2.0], [1.0, np.nan, 3.0])],
)
def test_what_no_spline_goes_through(radius: list[float], values: list[float]) -> None:
    with pytest.raises(ValueError, match="three radii"):
        ProfileSpline(np.array(radius), values)
