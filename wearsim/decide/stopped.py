"""How the figure stands if a programme is stopped early, with its band."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wearsim.decide.proposal import EarlyStop
from wearsim.decide.trial import Trials, Trying
from wearsim.errors import ContactError
from wearsim.figure.band import percentiles
from wearsim.figure.numbers import FigureGauge
from wearsim.wear.constants import Belief
from wearsim.wear.grid import Array
from wearsim.wear.predict import BAND_DRAWS
from wearsim.wear.start import StartFigure, on_grid
from wearsim.wear.state import State

APART, APART_DRAWN = 2.0, 5.0
"""Between two looks at the figure, about: of the line, of a draw [min]. Between looks the figure goes evenly."""


def stopped_early(
    nominal: Trials, start: State, gauge: FigureGauge, programme: tuple[Trying, ...], belief: Belief,
    measured: StartFigure, *, seed: int = 0, draws: int = BAND_DRAWS,
) -> EarlyStop:  # fmt: skip
    """The figure against minutes of work, with the most likely constants; its band over draws of them and of the glass.

    Parameters
    ----------
    nominal : Trials
        With the most likely constants.
    start : State
        On the grids of the trials' accuracy.
    gauge : FigureGauge
        On the same radii.
    programme : tuple of Trying
    belief : Belief
        Its draws are those of the constants: not the search's weighted cases, which are too few for percentiles.
    measured : StartFigure
        Its draws are those of the glass.
    seed, draws : int
        As for :func:`wearsim.wear.predict.predict`: the same draws as of its band, by a coarser engine. None, no band.
    """
    minutes, errors = _course(nominal, start, gauge, programme, APART)
    line = _numbers(errors, gauge)
    if not (programme and draws) or (belief.is_certain and not measured.is_uncertain):
        return EarlyStop(minutes, *line)
    glass = on_grid(nominal.bench, measured, nominal.accuracy).draws(draws, seed + 1)
    found = []
    for height, constants in zip(glass, belief.draws(draws, seed), strict=True):
        trials = Trials(nominal.bench, nominal.limits, constants, nominal.accuracy)
        try:
            looks, drawn = _course(trials, replace(start, height=height), gauge, programme, APART_DRAWN)
        except ContactError:
            continue
        between = np.array([np.interp(minutes, looks, one) for one in np.eye(looks.size)]).T
        found.append(_numbers(between @ drawn, gauge))
    if not found:
        return EarlyStop(minutes, *line)
    rms, roll = (percentiles([one[which] for one in found]).T for which in (0, 1))
    return EarlyStop(minutes, *line, rms, roll)


def _course(
    trials: Trials, state: State, gauge: FigureGauge, programme: tuple[Trying, ...], apart: float
) -> tuple[Array, Array]:
    """Minutes of work (m,) [min] and the figure error then (m, n) [m]."""
    minutes, heights = [0.0], [state.height]
    for tried in programme:
        if tried.shape.is_press:
            state = trials.after(state, tried)
            continue
        parts = max(1, round(tried.minutes / apart))
        for _ in range(parts):
            state = trials.after(state, Trying(tried.shape, tried.minutes / parts))
            minutes.append(minutes[-1] + tried.minutes / parts)
            heights.append(state.height)
    return np.array(minutes), np.array([gauge.error(height) for height in heights])


def _numbers(errors: Array, gauge: FigureGauge) -> tuple[Array, Array]:
    """RMS and edge roll of figure errors (m, n), each (m,) [m]."""
    rms, roll = (
        np.array([take(error) for error in errors]) for take in (gauge.aperture.rms, gauge.edge_roll)
    )
    return rms, roll
