"""What people read of a programme that was walked on maps.

From bench and programme to an outcome with the planar engine.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.programme import Programme, Spell
from wearsim.bench.toml_io import dump_programme
from wearsim.bench.units import length_unit
from wearsim.errors import ContactError, TipsOffError
from wearsim.figure.metrics import FigureGauge
from wearsim.figure.zernike import astigmatism
from wearsim.kernels.arrays import Floats
from wearsim.wear.accuracy import DEFAULT, Accuracy
from wearsim.wear.constants import Belief, Constants, prior
from wearsim.wear.initial_figure import StartFigure, start_figure, uneven_start
from wearsim.wear.outcome import Drawn, Outcome, SpellSummary, band_of
from wearsim.wear.planar.engine import PlanarAccuracy, SpellReport
from wearsim.wear.planar.grid import RoundStart, ring_mean
from wearsim.wear.planar.setup import PlanarResult, SpellProgress, pieces_for, run_planar
from wearsim.wear.predict import Progress, describe, gauge_for, minutes_of, why_no_band
from wearsim.wear.radial.engine import tipping_offset
from wearsim.wear.rotation import bias_left, is_turned
from wearsim.wear.state import State, glass_grid
from wearsim.wear.warnings import warnings_for

TERMS = {"coma": (7, 8), "trefoil": (6, 9)}
"""Pairs of Zernike terms, by single index, that are told as one amplitude."""
NO_SPREAD = ("axis", "peak_", "strokes_redrawn", "steady_bias", "period")
"""In the names of details that are places, axes or counts: percentiles over draws say nothing of them."""


def summarise_planar(bench: Bench, programme: Programme, result: PlanarResult) -> Outcome:
    """An outcome from the maps through a programme, without band and the usual warnings."""
    gauge = gauge_for(bench, result.radius)
    heights = [result.profile(stage) for stage in range(len(result.stages))]
    stages = np.array([gauge.error(height) for height in heights])
    minutes = np.array([spell.minutes for spell in programme.spells])
    shares = np.array([report.lift_off_share for report in result.reports])
    laps = {
        name: np.linspace(0.0, bench.lap(None if len(bench.laps) == 1 else name).radius, 60) for name in result.laps
    }
    return Outcome(
        engine="planar",
        radius=result.radius,
        removal=result.removal_profile,
        before=stages[0],
        figure_error=stages[-1],
        stages=stages,
        numbers_before=gauge.numbers(heights[0]),
        numbers=gauge.numbers(heights[-1]),
        height=heights[-1],
        pitch_radius=laps,
        pitch_height={name: ring_mean(lap.height, lap.across, laps[name]) for name, lap in result.laps.items()},
        spells=tuple(
            _summary(bench, spell, report, gauge, error)
            for spell, report, error in zip(programme.spells, result.reports, stages[1:], strict=True)
        ),
        peak_pressure=result.peak.peak_pressure,
        lift_off_share=float(shares @ minutes / minutes.sum()) if minutes.size else 0.0,
        warnings=_redrawn(result),
        maps=_maps(result),
        details=_details(result, programme),
        bench_text=bench.text,
        programme_text=programme.text or dump_programme(programme),
    )


def _summary(bench: Bench, spell: Spell, report: SpellReport, gauge: FigureGauge, error: Floats) -> SpellSummary:
    lap = bench.lap(spell.lap)
    tip = bench.mirror.radius if spell.is_press else tipping_offset(bench, lap, spell.on_top)
    strokes = 0.0 if spell.is_press else spell.duration * spell.stroke_on(bench.mirror.diameter).frequency
    drawn = strokes + report.redraws
    return SpellSummary(
        describe(spell, bench), spell.minutes, report.peak_pressure, report.lift_off_share, report.reach, tip,
        report.redraws / drawn if drawn else 0.0, gauge.aperture.rms(error), gauge.edge_roll(error),
    )  # fmt: skip


def _redrawn(result: PlanarResult) -> tuple[str, ...]:
    if not result.redraws:
        return ()
    return (f"{result.redraws} strokes would have tipped the top piece off and were drawn again",)


def _maps(result: PlanarResult) -> dict[str, Floats]:
    """Everything on grids, with its coordinates; the first lap's pitch without its name."""
    ripple = result.ripple
    found = {
        "x": result.across,
        "y": result.across,
        "before": result.before.error,
        "after": result.after.error,
        "removal": result.removal,
        "glass": result.covered,
        "zernike_index": np.arange(result.terms.shape[1], dtype=np.float64),
        "zernike": result.terms,
        "ripple_frequency": ripple.frequency,
        "ripple_amplitude": ripple.amplitude,
    }
    for number, (name, lap) in enumerate(result.laps.items()):
        before = "" if number == 0 else f"{name}: "
        found |= {f"{before}pitch": lap.height, f"{before}facets": lap.share}
        found |= {f"{before}pitch_x": lap.across, f"{before}pitch_y": lap.across}
    return found


def spread_of_maps(result: PlanarResult) -> dict[str, float]:
    """The details of a draw that a band is made of, SI units in their names."""
    return {
        name: value
        for name, value in _details(result, Programme()).items()
        if not any(part in name for part in NO_SPREAD)
    }


def _details(result: PlanarResult, programme: Programme) -> dict[str, float]:
    """Numbers of the maps, SI units in their names."""
    found = {f"zernike_{j}_m": float(value) for j, value in enumerate(result.after.zernike)}
    for name, figure in (("before", result.before), ("after", result.after)):
        found[f"astigmatism_{name}_m"] = figure.astigmatism.amplitude
        found[f"astigmatism_axis_{name}_rad"] = figure.astigmatism.axis
        found[f"map_rms_{name}_m"] = figure.rms
        found[f"map_pv_{name}_m"] = figure.peak_to_valley
    for name, index in TERMS.items():
        found[f"{name}_before_m"], found[f"{name}_after_m"] = (
            float(np.hypot(*result.terms[stage, list(index)])) for stage in (0, -1)
        )
    for number, terms in enumerate(result.terms[1:], start=1):
        found[f"astigmatism_after_spell_{number}_m"] = astigmatism(terms).amplitude
    found["removal_most_m"] = float(result.removal[result.covered > 0.5].max())
    period, amplitude = result.ripple.strongest
    found |= {"ripple_rms_m": result.ripple.rms, "ripple_period_m": period, "ripple_amplitude_m": amplitude}
    found |= {"peak_x_m": result.peak.peak_place[0], "peak_y_m": result.peak.peak_place[1]}
    found["strokes_redrawn"] = float(result.redraws)
    if is_turned(programme):
        found["steady_bias_left"] = float(bias_left(programme)[-1])
    return found


UNEVEN = ("map", "zernike")  # figures that are not round
# A pressing takes far fewer poses than strokes do: it counts as this many strokes a minute in the progress.
PRESS_A_MINUTE = 5.0
Surface = RoundStart | Floats


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
            raise error.in_unit(length_unit(bench).text, programme.file) from None

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


def _surfaces(bench: Bench, start: StartFigure | None, planar: PlanarAccuracy, draws: int, seed: int) -> list[Surface]:
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
