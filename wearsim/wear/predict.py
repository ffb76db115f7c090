"""From bench and programme to an outcome with its band."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.files import dump_programme
from wearsim.bench.programme import Programme, Spell
from wearsim.errors import ContactError
from wearsim.figure.numbers import FigureGauge
from wearsim.wear.accuracy import DEFAULT, Accuracy
from wearsim.wear.advice import warnings_for
from wearsim.wear.constants import Belief, Constants, prior
from wearsim.wear.grid import Array
from wearsim.wear.outcome import Band, Outcome, SpellSummary
from wearsim.wear.radial import Worked, work
from wearsim.wear.start import StartFigure, start_figure
from wearsim.wear.state import State, start_state

BAND_DRAWS = 32
WORKERS = 2


def gauge_for(bench: Bench, radius: Array) -> FigureGauge:
    """The figure's numbers for profiles on one grid."""
    mirror = bench.mirror
    return FigureGauge(
        radius, R=mirror.radius_of_curvature, conic=mirror.conic, inner=mirror.hole_radius,
        outer=mirror.clear_radius, wavelength=bench.light.wavelength,
    )  # fmt: skip


def predict(
    bench: Bench, programme: Programme, engine: str = "radial", *, seed: int = 0, draws: int = BAND_DRAWS,
    accuracy: Accuracy = DEFAULT, belief: Belief | None = None, start: StartFigure | None = None,
    laps: State | None = None,
) -> Outcome:  # fmt: skip
    """What a programme will do.

    Parameters
    ----------
    bench : Bench
    programme : Programme
    engine : {"radial", "planar"}
    seed : int
        Of the draws of constants and measurement, and of the planar engine's strokes.
    draws : int
        Draws for the band; 0 for none.
    accuracy : Accuracy
    belief : Belief, optional
        What is known of the constants; by default the bench's own values and spread.
    start : StartFigure, optional
        The measured glass; by default the bench's figure.
    laps : State, optional
        Laps as a session left them; by default as the bench starts them.

    Returns
    -------
    Outcome
        Before and after, with its band and warnings.

    Raises
    ------
    InputError
        Where the figure's file cannot be used, or a stroke tips the top piece off.
    ContactError
        Where a balance was not found.
    ValueError
        Where ``engine`` is neither.
    """
    if engine == "planar":
        from wearsim.wear.predict_planar import predict_planar

        return predict_planar(bench, programme, seed=seed, accuracy=accuracy, belief=belief, start=start)
    if engine != "radial":
        raise ValueError(f'engine is "radial" or "planar", not {engine!r}')
    belief = prior(bench) if belief is None else belief
    start = start_figure(bench, accuracy) if start is None else start
    best = belief.best()
    worked = work(bench, programme, _state(bench, start.height, start, laps, accuracy), best, accuracy)
    gauge = gauge_for(bench, start.radius)
    outcome = summarise(bench, programme, worked, gauge)
    if draws and programme.spells and not (belief.is_certain and start.root.shape[1] == 0):
        band = _band(bench, programme, start, laps, gauge, belief, draws, seed, accuracy)
        outcome = replace(outcome, band=band)
    return replace(outcome, warnings=warnings_for(bench, programme, outcome))


def _state(bench: Bench, height: Array, start: StartFigure, laps: State | None, accuracy: Accuracy) -> State:
    state = start_state(bench, start.radius, height, accuracy)
    return state if laps is None else replace(state, laps=laps.laps)


def describe(spell: Spell, bench: Bench) -> str:
    """A spell in a few words: piece on top, stroke and sizes."""
    lap = f" with lap {spell.lap}" if spell.lap else ""
    if spell.is_press:
        return f"press, {spell.on_top} on top{lap}"
    stroke = spell.stroke_on(bench.mirror.diameter)
    parts = [f"{spell.on_top} on top{lap}, {stroke.kind}"]
    if stroke.kind != "one-third":
        parts.append(f"{stroke.length * 1e3:.0f} mm long")
    if stroke.side_sweep:
        parts.append(f"{stroke.side_sweep * 1e3:.0f} mm to each side")
    if stroke.side_overhang:
        parts.append(f"{stroke.side_overhang * 1e3:.0f} mm off centre")
    return " ".join(parts)


def summarise(bench: Bench, programme: Programme, worked: Worked, gauge: FigureGauge) -> Outcome:
    """An outcome from the states through a programme, without band and warnings."""
    first, last = worked.states[0], worked.states[-1]
    stages = np.array([gauge.error(state.height) for state in worked.states])
    minutes = np.array([spell.minutes for spell in programme.spells])
    shares = np.array([report.lift_off_share for report in worked.reports])
    spells = tuple(
        SpellSummary(
            describe(spell, bench), spell.minutes, report.peak_pressure, report.lift_off_share, report.reach,
            report.tip, report.left_out, gauge.aperture.rms(error), gauge.edge_roll(error),
        )
        for spell, report, error in zip(programme.spells, worked.reports, stages[1:], strict=True)
    )  # fmt: skip
    return Outcome(
        engine="radial",
        radius=first.radius,
        removal=first.height - last.height,
        before=stages[0],
        figure_error=stages[-1],
        stages=stages,
        numbers_before=gauge.numbers(first.height),
        numbers=gauge.numbers(last.height),
        height=last.height,
        pitch_radius={name: pitch.radius for name, pitch in last.laps.items()},
        pitch_height={name: pitch.height for name, pitch in last.laps.items()},
        spells=spells,
        peak_pressure=max((report.peak_pressure for report in worked.reports), default=0.0),
        lift_off_share=float(shares @ minutes / minutes.sum()) if minutes.size else 0.0,
        bench_text=bench.text,
        programme_text=programme.text or dump_programme(programme),
    )


def _band(
    bench: Bench, programme: Programme, start: StartFigure, laps: State | None, gauge: FigureGauge,
    belief: Belief, draws: int, seed: int, accuracy: Accuracy,
) -> Band:  # fmt: skip
    """Spread of the outcome over draws of the constants and of the measured glass."""

    def one(height: Array, constants: Constants) -> Array | None:
        try:
            worked = work(bench, programme, _state(bench, height, start, laps, accuracy), constants, accuracy)
        except ContactError:
            return None
        return gauge.error(worked.states[-1].height)

    errors = spread_over(one, start.draws(draws, seed + 1), belief.draws(draws, seed))
    kept = np.array([error for error in errors if error is not None])
    if not len(kept):
        raise ContactError("no draw of the constants found a balance")
    return Band(
        figure_error=np.percentile(kept, [5.0, 95.0], axis=0),
        surface_rms=np.percentile([gauge.aperture.rms(error) for error in kept], [5.0, 95.0]),
        edge_roll=np.percentile([gauge.edge_roll(error) for error in kept], [5.0, 95.0]),
        draws=draws,
        failed=draws - len(kept),
    )


def spread_over(
    one: Callable[[Array, Constants], Array | None], heights: Array, constants: tuple[Constants, ...]
) -> list[Array | None]:
    """``one(height, constants)`` for each pair, on the machine's cores; the kernels let go of the lock."""
    with ThreadPoolExecutor(max_workers=WORKERS) as pool:
        return list(pool.map(one, heights, constants))
