"""From bench and programme to an outcome with the planar engine."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.lengths import length_unit
from wearsim.bench.programme import Programme
from wearsim.errors import ContactError, TipsOffError
from wearsim.wear.accuracy import DEFAULT, Accuracy
from wearsim.wear.advice import warnings_for
from wearsim.wear.bands import Drawn, band_of
from wearsim.wear.constants import Belief, Constants, prior
from wearsim.wear.grid import Array
from wearsim.wear.outcome import Outcome
from wearsim.wear.planar import PlanarAccuracy
from wearsim.wear.planar_bench import PlanarResult, SpellProgress, pieces_for, run_planar
from wearsim.wear.planar_grid import RoundStart
from wearsim.wear.planar_outcome import spread_of_maps, summarise_planar
from wearsim.wear.predict import Progress, gauge_for, minutes_of, why_no_band
from wearsim.wear.start import StartFigure, start_figure
from wearsim.wear.start_map import uneven_start
from wearsim.wear.state import State, glass_grid

UNEVEN = ("map", "zernike")  # figures that are not round
# A pressing takes far fewer poses than strokes do: it counts as this many strokes a minute in the progress.
PRESS_A_MINUTE = 5.0
Surface = RoundStart | Array


def predict_planar(
    bench: Bench, programme: Programme, *, seed: int = 0, draws: int = 0, accuracy: Accuracy = DEFAULT,
    belief: Belief | None = None, start: StartFigure | None = None, laps: State | None = None,
    planar: PlanarAccuracy | None = None, progress: Progress | None = None,
) -> Outcome:  # fmt: skip
    """What a programme will do, walked stroke by stroke.

    Parameters
    ----------
    bench : Bench
    programme : Programme
    seed : int
        Of the jitter of the strokes, and of the draws.
    draws : int
        Draws of the constants and of the measured glass for the band, each walked with the same strokes.
    accuracy : Accuracy
        Its radii are those of the profiles.
    belief : Belief, optional
        What is known of the constants; the maps are those of the middle of it.
    start : StartFigure, optional
        The measured glass, if round; by default the bench's figure, round or not.
    laps : State, optional
        Laps as a session left them, round; by default as the bench starts them.
    planar : PlanarAccuracy, optional
    progress : callable, optional
        Called after some strokes with the share of the work done.

    Returns
    -------
    Outcome
        Profiles and numbers of the mean over rings; ``maps`` in the mirror's frame, and each lap's pitch in its
        own; ``details`` of the figure's map.

    Raises
    ------
    InputError
        Where the figure's file cannot be used, or a stroke tips the top piece off.
    ContactError
        Where a balance was not found.
    """
    planar = planar or PlanarAccuracy()
    belief = prior(bench) if belief is None else belief
    if start is None and bench.figure.kind not in UNEVEN:
        start = start_figure(bench, accuracy)
    is_measured = start is not None and start.is_uncertain
    certain = belief.is_certain and not is_measured
    draws = draws if programme.spells and not certain else 0
    radius = glass_grid(bench.mirror, accuracy)
    shares = _shares(programme, 1 + draws, progress)

    def walked(surface: Surface, constants: Constants) -> PlanarResult:
        try:
            return run_planar(
                bench, programme, surface, radius=radius, seed=seed, accuracy=planar, constants=constants,
                laps=laps, progress=next(shares),
            )  # fmt: skip
        except TipsOffError as error:  # told where the bench is known
            raise error.told_in(length_unit(bench).text, programme.file) from None

    surfaces = _surfaces(bench, start, planar, draws, seed)
    outcome = summarise_planar(bench, programme, walked(surfaces[0], belief.best()))
    if draws:
        gauge = gauge_for(bench, radius)

        def one(surface: Surface, constants: Constants) -> Drawn | None:
            try:
                result = walked(surface, constants)
            except ContactError:
                return None
            return Drawn(
                np.array([result.profile(stage) for stage in range(len(result.stages))]),
                np.array([report.peak_pressure for report in result.reports]),
                np.array([report.lift_off_share for report in result.reports]),
                spread_of_maps(result),
            )

        found = list(map(one, surfaces[1:], belief.draws(draws, seed)))
        band = band_of(found, gauge, draws, minutes_of(programme), is_measured=is_measured)
        outcome = replace(outcome, band=band)
    else:
        outcome = replace(outcome, no_band=why_no_band(programme, belief, start))
    return replace(outcome, warnings=(*outcome.warnings, *warnings_for(bench, programme, outcome)))


def _surfaces(
    bench: Bench, start: StartFigure | None, planar: PlanarAccuracy, draws: int, seed: int
) -> list[Surface]:
    """The measured glass, and draws of it."""
    if start is None:
        glass = pieces_for(bench, bench.laps[0]).glass(planar.cells)
        return [uneven_start(bench, glass)] * (1 + draws)
    heights = [start.height, *(start.draws(draws, seed + 1) if draws else [])]
    return [RoundStart(start.radius, height) for height in heights]


def _shares(programme: Programme, runs: int, progress: Progress | None) -> Iterator[SpellProgress | None]:
    """For each run what turns the share of one of its spells into the share of everything."""
    strokes = [s.minutes * (PRESS_A_MINUTE if s.is_press else s.rate or 0.0) for s in programme.spells]
    before = np.concatenate([[0.0], np.cumsum(strokes)])
    for run in range(runs):
        if progress is None:
            yield None
        else:

            def tell(spell: int, share: float, run: int = run, told: Progress = progress) -> None:
                done = before[spell] + share * strokes[spell]
                told(float((run + done / before[-1]) / runs))

            yield tell
