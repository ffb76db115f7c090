"""From bench and programme to an outcome with the planar engine."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.files import dump_programme
from wearsim.bench.programme import Programme, Spell
from wearsim.figure.numbers import FigureGauge
from wearsim.wear.accuracy import DEFAULT, Accuracy
from wearsim.wear.advice import warnings_for
from wearsim.wear.constants import Belief, prior
from wearsim.wear.grid import Array
from wearsim.wear.outcome import Outcome, SpellSummary
from wearsim.wear.planar import PlanarAccuracy, SpellReport
from wearsim.wear.planar_bench import PlanarResult, SpellProgress, frame_for, pieces_for, run_planar
from wearsim.wear.planar_grid import RoundStart, ring_mean
from wearsim.wear.predict import describe, gauge_for
from wearsim.wear.radial import tipping_offset
from wearsim.wear.start import StartFigure
from wearsim.wear.start_map import planar_start
from wearsim.wear.state import glass_grid


def predict_planar(
    bench: Bench, programme: Programme, *, seed: int = 0, accuracy: Accuracy = DEFAULT, belief: Belief | None = None,
    start: StartFigure | None = None, planar: PlanarAccuracy | None = None, progress: SpellProgress | None = None,
) -> Outcome:  # fmt: skip
    """What a programme will do, walked stroke by stroke.

    Parameters
    ----------
    bench : Bench
    programme : Programme
    seed : int
        Of the jitter of the strokes.
    accuracy : Accuracy
        Its radii are those of the profiles.
    belief : Belief, optional
        What is known of the constants; the spells are walked with the middle of it, without a band.
    start : StartFigure, optional
        The measured glass, if round; by default the bench's figure, round or not.
    planar : PlanarAccuracy, optional
    progress : callable, optional
        Called with the spell's number, from 0, and the share of it done.

    Returns
    -------
    Outcome
        Profiles and numbers of the mean over rings; ``maps`` in the mirror's frame, and the first lap's pitch in its
        own; ``details`` of the figure's map.

    Raises
    ------
    InputError
        Where the figure's file cannot be used, or a stroke tips the top piece off.
    ContactError
        Where a balance was not found.
    """
    planar = planar or PlanarAccuracy()
    constants = (prior(bench) if belief is None else belief).best()
    radius = glass_grid(bench.mirror, accuracy)
    glass = pieces_for(bench, bench.laps[0]).glass(planar.cells)
    surface = (
        RoundStart(start.radius, start.height)
        if start
        else planar_start(bench, frame_for(bench), glass, accuracy)
    )
    result = run_planar(
        bench, programme, surface, radius=radius, seed=seed, accuracy=planar, constants=constants, progress=progress
    )  # fmt: skip
    outcome = summarise_planar(bench, programme, result)
    return replace(outcome, warnings=(*outcome.warnings, *warnings_for(bench, programme, outcome)))


def summarise_planar(bench: Bench, programme: Programme, result: PlanarResult) -> Outcome:
    """An outcome from the maps through a programme, without band and the usual warnings."""
    gauge = gauge_for(bench, result.radius)
    heights = [result.profile(stage) for stage in range(len(result.stages))]
    stages = np.array([gauge.error(height) for height in heights])
    minutes = np.array([spell.minutes for spell in programme.spells])
    shares = np.array([report.lift_off_share for report in result.reports])
    laps = {
        name: np.linspace(0.0, bench.lap(None if len(bench.laps) == 1 else name).radius, 60)
        for name in result.laps
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
        pitch_height={
            name: ring_mean(lap.height, lap.across, laps[name]) for name, lap in result.laps.items()
        },
        spells=tuple(
            _summary(bench, spell, report, gauge, error)
            for spell, report, error in zip(programme.spells, result.reports, stages[1:], strict=True)
        ),
        peak_pressure=result.peak.peak_pressure,
        lift_off_share=float(shares @ minutes / minutes.sum()) if minutes.size else 0.0,
        warnings=_redrawn(result),
        maps=_maps(result),
        details=_details(result),
        bench_text=bench.text,
        programme_text=programme.text or dump_programme(programme),
    )


def _summary(
    bench: Bench, spell: Spell, report: SpellReport, gauge: FigureGauge, error: Array
) -> SpellSummary:
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


def _maps(result: PlanarResult) -> dict[str, Array]:
    lap = next(iter(result.laps.values()))
    return {
        "x": result.across,
        "y": result.across,
        "before": result.before.error,
        "after": result.after.error,
        "removal": result.removal,
        "pitch": lap.height,
        "pitch_x": lap.across,
        "pitch_y": lap.across,
    }


def _details(result: PlanarResult) -> dict[str, float]:
    """Numbers of the maps, SI units in their names."""
    found = {f"zernike_{j}_m": float(value) for j, value in enumerate(result.after.zernike)}
    for name, figure in (("before", result.before), ("after", result.after)):
        found[f"astigmatism_{name}_m"] = figure.astigmatism.amplitude
        found[f"astigmatism_axis_{name}_rad"] = figure.astigmatism.axis
        found[f"map_rms_{name}_m"] = figure.rms
        found[f"map_pv_{name}_m"] = figure.peak_to_valley
    ripple = result.frame.ripple(result.removal, result.glass)
    period, amplitude = ripple.strongest
    found |= {"ripple_rms_m": ripple.rms, "ripple_period_m": period, "ripple_amplitude_m": amplitude}
    found |= {"peak_x_m": result.peak.peak_place[0], "peak_y_m": result.peak.peak_place[1]}
    found["strokes_redrawn"] = float(result.redraws)
    return found
