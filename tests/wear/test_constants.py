"""Normal deviates against SciPy's."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri

from wearsim.wear.constants import normal_deviates


def test_as_scipy_has_them() -> None:
    share = np.concatenate([np.logspace(-12, -1, 40), np.linspace(0.1, 0.9, 41)]).reshape(-1, 3)
    np.testing.assert_allclose(normal_deviates(share), ndtri(share), rtol=1e-14, atol=1e-15)
    assert normal_deviates(share).shape == share.shape
