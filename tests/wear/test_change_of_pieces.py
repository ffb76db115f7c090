"""What `compare` says of changing the pieces: the radius of curvature goes the other way, the conic constant does not."""

from __future__ import annotations

import numpy as np
import pytest

from tests.helpers.workbench import make_bench, make_programme, make_spell
from wearsim.wear.predict import gauge_for, predict


@pytest.mark.parametrize("length", [0.2, 0.33, 0.45])
def test_changing_the_pieces_reverses_the_radius_not_the_conic(length: float) -> None:
    bench, bowl, conic = make_bench(0.2, 2.4), {}, {}
    for on_top in ("tool", "mirror"):
        done = predict(bench, make_programme(make_spell("straight", on_top, 10.0, length=length)), draws=0)
        bowl[on_top] = gauge_for(bench, done.radius).aperture.piston_and_bowl(done.removal)[1]
        conic[on_top] = done.conic_fit - done.numbers_before.conic_fit
    assert bowl["tool"] > 0.0 > bowl["mirror"]  # the rim goes: convex; the centre goes: concave
    assert np.sign(conic["tool"]) == np.sign(conic["mirror"]) == 1.0
