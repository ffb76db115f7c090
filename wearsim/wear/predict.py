"""From bench and programme to an outcome with its band."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.programme import Programme, Spell
from wearsim.bench.toml_io import dump_programme
from wearsim.bench.units import stroke_unit
from wearsim.errors import ContactError
from wearsim.figure.metrics import FigureGauge
from wearsim.kernels.arrays import Floats
from wearsim.wear.accuracy import DEFAULT, Accuracy
from wearsim.wear.constants import Belief, Constants, prior
from wearsim.wear.initial_figure import StartFigure, start_figure
from wearsim.wear.outcome import EXACT, NOT_ASKED, NOTHING_DONE, Band, Drawn, Outcome, SpellSummary, band_of
from wearsim.wear.radial.engine import Worked, work
from wearsim.wear.state import State, start_state
from wearsim.wear.warnings import warnings_for

if TYPE_CHECKING:
    from wearsim.wear.planar.engine import PlanarAccuracy

Progress = Callable[[float], None]
BAND_DRAWS = 32
WORKERS = 2


def gauge_for(bench: Bench, radius: Floats) -> FigureGauge:
    """The figure's numbers for profiles on one grid."""
    return FigureGauge(radius, bench.mirror.geometry, bench.light.wavelength)


def predict(
    bench: Bench, programme: Programme, engine: str = "radial", *, seed: int = 0, draws: int | None = None,
    accuracy: Accuracy = DEFAULT, belief: Belief | None = None, start: StartFigure | None = None,
    laps: State | None = None, planar: PlanarAccuracy | None = None, progress: Progress | None = None,
) -> Outcome:  # fmt: skip
    """What a programme will do.

    Parameters
    ----------
    bench : Bench
    programme : Programme
    engine : {"radial", "planar"}
    seed : int
        Of the draws of constants and measurement, and of the planar engine's strokes.
    draws : int, optional
        Draws for the band; 0 for none. By default 32; none with the planar engine, which walks the whole programme
        again for each.
    accuracy : Accuracy
    belief : Belief, optional
        What is known of the constants; by default the bench's own values and spread.
    start : StartFigure, optional
        The measured glass; by default the bench's figure.
    laps : State, optional
        Laps as a session left them; by default as the bench starts them.
    planar : PlanarAccuracy, optional
        Numerical settings of the planar engine.
    progress : callable, optional
        Called now and then with the share of the work done; what it raises stops it.

    Returns
    -------
    Outcome
        Before and after, with its band and warnings.

    Raises
    ------
    InputError
        Where the figure's file cannot be used, a stroke tips the top piece off, or the radial engine is asked for a
        lap that is a ring or a star.
    ContactError
        Where a balance was not found.
    ValueError
        Where ``engine`` is neither, or ``planar`` is given to the radial engine.
    """
    if engine == "planar":
        from wearsim.wear.planar.predict import predict_planar

        return predict_planar(
            bench, programme, seed=seed, draws=draws or 0, accuracy=accuracy, belief=belief, start=start, laps=laps,
            planar=planar, progress=progress,
        )  # fmt: skip
    if engine != "radial":
        raise ValueError(f'engine is "radial" or "planar", not {engine!r}')
    if planar is not None:
        raise ValueError("settings of the planar engine given to the radial one")
    draws = BAND_DRAWS if draws is None else draws
    belief = prior(bench) if belief is None else belief
    start = start_figure(bench, accuracy) if start is None else start
    worked = work(bench, programme, _state(bench, start.height, start, laps, accuracy), belief.best(), accuracy)
    gauge = gauge_for(bench, start.radius)
    outcome = summarise(bench, programme, worked, gauge)
    if draws and is_spread(programme, belief, start):
        told = _told(progress, draws)
        band = _band(bench, programme, start, laps, gauge, belief, draws, seed, accuracy, told)
        outcome = replace(outcome, band=band)
    else:
        outcome = replace(outcome, no_band=why_no_band(programme, belief, start))
    return replace(outcome, warnings=(*start.warnings, *warnings_for(bench, programme, outcome)))


def is_spread(programme: Programme, belief: Belief, start: StartFigure) -> bool:
    """Whether a prediction can have a band: something is done, and something is uncertain."""
    return bool(programme.spells) and not (belief.is_certain and not start.is_uncertain)


def why_no_band(programme: Programme, belief: Belief, start: StartFigure | None) -> str:
    """Why a prediction has no band, in a few words; ``start`` is None for a figure that is not round."""
    if not programme.spells:
        return NOTHING_DONE
    is_exact = belief.is_certain and (start is None or not start.is_uncertain)
    return EXACT if is_exact else NOT_ASKED


def _told(progress: Progress | None, draws: int) -> Callable[[], None]:
    """Tell that one more draw is done; the prediction itself counts as one."""
    done = itertools.count(2)
    return (lambda: None) if progress is None else (lambda: progress(next(done) / (draws + 1)))


def _state(bench: Bench, height: Floats, start: StartFigure, laps: State | None, accuracy: Accuracy) -> State:
    state = start_state(bench, start.radius, height, accuracy)
    return state if laps is None else replace(state, laps=laps.laps)


def minutes_of(programme: Programme) -> Floats:
    """Of each spell, shape (spells,) [min]."""
    return np.array([spell.minutes for spell in programme.spells])


def describe(spell: Spell, bench: Bench) -> str:
    """A spell in a few words: piece on top, stroke and sizes."""
    lap = f" with lap {spell.lap}" if spell.lap else ""
    if spell.is_press:
        return f"press, {spell.on_top} on top{lap}"
    stroke, size = spell.stroke_on(bench.mirror.diameter), stroke_unit(bench).short
    parts = [f"{spell.on_top} on top{lap}, {stroke.kind}"]
    if stroke.kind != "one-third":
        parts.append(f"{size(stroke.length)} long")
    if stroke.side_sweep:
        parts.append(f"{size(stroke.side_sweep)} to each side")
    if stroke.side_overhang:
        parts.append(f"{size(stroke.side_overhang)} off centre")
    return " ".join(parts)


def summarise(bench: Bench, programme: Programme, worked: Worked, gauge: FigureGauge) -> Outcome:
    """An outcome from the states through a programme, without band and warnings."""
    first, last = worked.states[0], worked.states[-1]
    stages = np.array([gauge.error(state.height) for state in worked.states])
    minutes = minutes_of(programme)
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
    belief: Belief, draws: int, seed: int, accuracy: Accuracy, told: Callable[[], None],
) -> Band:  # fmt: skip
    """Spread of the outcome over draws of the constants and of the measured glass."""

    def one(height: Floats, constants: Constants) -> Drawn | None:
        try:
            worked = work(bench, programme, _state(bench, height, start, laps, accuracy), constants, accuracy)
        except ContactError:
            return None
        return Drawn(
            np.array([state.height for state in worked.states]),
            np.array([report.peak_pressure for report in worked.reports]),
            np.array([report.lift_off_share for report in worked.reports]),
        )

    drawn = spread_over(one, start.draws(draws, seed + 1), belief.draws(draws, seed), told)
    return band_of(drawn, gauge, draws, minutes_of(programme), is_measured=start.is_uncertain)


T = TypeVar("T")


def spread_over(
    one: Callable[[Floats, Constants], T], heights: Floats, constants: tuple[Constants, ...],
    told: Callable[[], None] = lambda: None,
) -> list[T]:  # fmt: skip
    """``one(height, constants)`` for each pair, on the machine's cores; the kernels let go of the lock.

    ``told`` is called, in this thread, as each is there.
    """
    found = []
    with ThreadPoolExecutor(max_workers=WORKERS) as pool:
        for error in pool.map(one, heights, constants):
            found.append(error)
            told()
    return found
