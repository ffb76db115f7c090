"""A session that misses although none can be named as wrong is not said to fit."""

from __future__ import annotations

import pytest

from wearsim.learn.calibrate import SUSPECT, SessionFit
from wearsim.show.calibration_table import _verdict


@pytest.mark.parametrize(
    ("chance", "fits", "doubtful", "verdict"),
    [
        (0.5, True, False, "fits"),
        (1.01 * SUSPECT, True, False, "fits"),
        (0.99 * SUSPECT, True, True, "doubtful"),
        (1e-6, False, False, "does not fit: set aside"),
    ],
)
def test_what_a_session_is_called(chance: float, fits: bool, doubtful: bool, verdict: str) -> None:
    fit = SessionFit(1, 40.0, 7, chance, fits, 1e-8)
    assert fit.is_doubtful is doubtful
    assert fit.to_json()["doubtful"] is doubtful
    assert _verdict(fit) == verdict
