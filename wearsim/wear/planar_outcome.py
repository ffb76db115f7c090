"""What people read of a programme that was walked on maps."""

from __future__ import annotations

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.files import dump_programme
from wearsim.bench.programme import Programme, Spell
from wearsim.figure.numbers import FigureGauge
from wearsim.figure.zernike import astigmatism
from wearsim.wear.grid import Array
from wearsim.wear.outcome import Outcome, SpellSummary
from wearsim.wear.planar import SpellReport
from wearsim.wear.planar_bench import PlanarResult
from wearsim.wear.planar_grid import ring_mean
from wearsim.wear.predict import describe, gauge_for
from wearsim.wear.radial import tipping_offset
from wearsim.wear.turns import bias_left, is_turned

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
        details=_details(result, programme),
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
