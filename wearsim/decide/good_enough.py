"""Whether the glass as it is reaches the aim, allowing for the uncertainty of its measurement."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wearsim.figure.aim import Verdict, verdict_for
from wearsim.figure.metrics import FigureGauge
from wearsim.wear.initial_figure import StartFigure

AIM_REACHED = "the target is reached"
"""How the reason for an empty programme begins where nothing is left to do."""
DRAWS = 200
"""Surfaces that the chance is taken over."""


@dataclass(frozen=True)
class GoodEnough:
    """How a glass stands to an aim.

    Parameters
    ----------
    aim, strehl : float
        Strehl ratio that is aimed for, and that of the glass as it is known [1].
    chance : float
        Share of the possible surfaces that reach the aim [1].
    verdict : {"yes", "no", "open"}
    """

    aim: float
    strehl: float
    chance: float
    verdict: Verdict


def good_enough(start: StartFigure, gauge: FigureGauge, aim: float, seed: int = 0) -> GoodEnough:
    """Judge the glass of a start figure against an aim [1]."""
    strehl = gauge.strehl(gauge.error(start.height))
    if start.is_uncertain:
        chance = float(np.mean([gauge.strehl(gauge.error(one)) >= aim for one in start.draws(DRAWS, seed)]))
    else:
        chance = float(strehl >= aim)
    return GoodEnough(aim, strehl, chance, verdict_for(chance, strehl, aim))
