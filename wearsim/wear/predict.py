"""From bench and programme to an outcome with its band."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.programme import Programme, Spell
from wearsim.bench.toml_io import dump_programme
from wearsim.bench.units import counted, stroke_unit
from wearsim.errors import ContactError, InputError
from wearsim.figure.metrics import FigureGauge
from wearsim.kernels.arrays import Floats
from wearsim.parallel import in_threads
from wearsim.wear.accuracy import DEFAULT, Accuracy, PlanarAccuracy
from wearsim.wear.constants import Belief, Constants, prior
from wearsim.wear.discrepancy import Discrepancy, SessionChance
from wearsim.wear.engine_protocol import Engine, Progress, Run, minutes_of
from wearsim.wear.initial_figure import StartFigure, round_mean
from wearsim.wear.outcome import EXACT, NOT_ASKED, NOTHING_DONE, Band, Draw, Outcome, SpellSummary, band_of
from wearsim.wear.radial.engine import RadialEngine
from wearsim.wear.state import State
from wearsim.wear.warnings import astigmatism_warning, warnings_for

BAND_DRAWS = RadialEngine.band_draws
MOST_DRAWN_SPELLS = 500_000
"""Spells of a programme, times draws: the glass after each is kept until the band is made, 400 bytes of it."""


def gauge_for(bench: Bench, radius: Floats) -> FigureGauge:
    """The figure's numbers for profiles on one grid."""
    return FigureGauge(radius, bench.mirror.geometry, bench.light.wavelength)


def check_draws(programme: Programme, draws: int | None, key: str = "draws", file: Path | None = None) -> None:
    """Refuse more draws of a programme than memory should hold.

    Raises
    ------
    InputError
        With this key of this file.
    """
    spells = len(programme.spells)
    if draws is not None and draws * spells > MOST_DRAWN_SPELLS:
        expected = f"at most {MOST_DRAWN_SPELLS // spells:,} with {counted(spells, 'spell')}"
        message = "too many draws of so long a programme"
        raise InputError(message, file=file, key=key, value=f"{draws:,}", expected=expected)


def predict(
    bench: Bench, programme: Programme, engine: str = "radial", *, seed: int = 0, draws: int | None = None,
    accuracy: Accuracy = DEFAULT, belief: Belief | None = None, start: StartFigure | None = None,
    laps: State | None = None, discrepancy: Discrepancy | None = None, planar: PlanarAccuracy | None = None,
    progress: Progress | None = None,
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
    discrepancy : Discrepancy, optional
        What a session does beyond the engine, drawn in the band where the constants are uncertain.
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
        Where the figure's file cannot be used, a stroke tips the top piece off, the radial engine is asked for a
        lap that is a ring or a star, an engine for work that would take it too long, or for too many draws of it.
    ContactError
        Where a balance was not found.
    ValueError
        Where ``engine`` is neither, or ``planar`` is given to the radial engine.
    """
    one = engine_for(engine, accuracy, planar)
    one.check(bench, programme)
    check_draws(programme, draws)
    start = one.measured(bench) if start is None else start
    uncertain = Uncertainty(prior(bench) if belief is None else belief, start, laps, discrepancy or Discrepancy())
    draws = one.band_draws if draws is None else draws
    draws = 0 if uncertain.is_exact or not programme.spells else draws
    first = one.run(
        bench, programme, uncertain.begin(one, bench, programme, start, uncertain.belief.best()),
        uncertain.belief.best(), seed=seed, progress=_share(progress, 0, 1 + draws, one),
    )  # fmt: skip
    gauge = gauge_for(bench, first.radius)
    outcome = summarise(bench, first, gauge)
    if draws:
        outcome = replace(outcome, band=_band(one, bench, programme, uncertain, gauge, draws, seed, progress))
    else:
        why = NOTHING_DONE if not programme.spells else EXACT if uncertain.is_exact else NOT_ASKED
        outcome = replace(outcome, no_band=why)
    said = (*_of_start(one, bench, first.radius, start), *one.cautions(bench, programme), *outcome.warnings)
    return replace(outcome, warnings=(*said, *warnings_for(bench, programme, outcome)))


def _of_start(engine: Engine[Any], bench: Bench, radius: Floats, start: StartFigure | None) -> tuple[str, ...]:
    """What is to be said of the glass that a prediction starts from."""
    not_round = round_mean(bench, radius)[1] if start is None else start.not_round
    lines = () if start is None else start.warnings
    if not_round is None:
        return lines
    left_out = () if engine.takes_uneven else (not_round.left_out(),)
    return (*lines, *left_out, *astigmatism_warning(bench, not_round.astigmatism))


def engine_for(name: str, accuracy: Accuracy = DEFAULT, planar: PlanarAccuracy | None = None) -> Engine[Any]:
    """The engine of this name, ``"radial"`` or ``"planar"``; the profiles have the radii of ``accuracy``.

    Raises
    ------
    ValueError
        Where ``name`` is neither, or ``planar`` is given to the radial engine.
    """
    if name == "planar":
        from wearsim.wear.planar.engine import PlanarEngine  # slow to load, and most predictions are radial

        return PlanarEngine(planar or PlanarAccuracy(), accuracy)
    if name != "radial":
        raise ValueError(f'engine is "radial" or "planar", not {name!r}')
    if planar is not None:
        raise ValueError("settings of the planar engine given to the radial one")
    return RadialEngine(accuracy)


def _share(progress: Progress | None, run: int, runs: int, engine: Engine[Any]) -> Progress | None:
    """What turns the share of one run done into the share of all; None where a run does not report."""
    if progress is None or engine.runs_together:
        return None
    return lambda share: progress((run + share) / runs)


@dataclass(frozen=True, eq=False)
class Uncertainty:
    """Everything that differs from draw to draw of a band.

    Parameters
    ----------
    belief : Belief
        Of the constants.
    start : StartFigure or None
        The glass as it was measured; None where the engine takes a figure that is not round, as exact.
    laps : State or None
        Laps as a session left them; None where they begin as the bench says.
    discrepancy : Discrepancy
        What a session does beyond the engine.
    """

    belief: Belief
    start: StartFigure | None
    laps: State | None
    discrepancy: Discrepancy = field(default_factory=Discrepancy)

    @property
    def is_exact(self) -> bool:
        """Whether nothing differs."""
        return self.belief.is_certain and (self.start is None or not self.start.is_uncertain)

    def draws(
        self, engine: Engine[Any], bench: Bench, programme: Programme, count: int, seed: int, *,
        progress: Callable[[int], Progress | None] = lambda _: None, done: Callable[[], None] = lambda: None,
    ) -> list[Draw | None]:  # fmt: skip
        """The programme worked so often, with other constants, other glass and other chances each time.

        None stands for a draw that could not be balanced. Where the constants are taken as exact, a session does what the
        engine says.
        """
        start, spells = self.start, len(programme.spells)
        glasses = [None] * count if start is None else [replace(start, height=h) for h in start.draws(count, seed + 1)]
        chances = self.chances(count, spells, seed + 2)

        def drawn(
            number: int, glass: StartFigure | None, constants: Constants, chance: SessionChance | None
        ) -> Draw | None:
            sizes = None if chance is None else chance.sizes
            try:
                state = self.begin(engine, bench, programme, glass, constants, chance)
                run = engine.run(bench, programme, state, constants, seed=seed, sizes=sizes, progress=progress(number))
            except ContactError:
                return None
            return Draw.of(with_shape_error(run, chance))

        workers = None if engine.runs_together else 1
        constants = self.belief.draws(count, seed)
        return in_threads(drawn, range(1, 1 + count), glasses, constants, chances, workers=workers, done=done)

    def chances(self, count: int, spells: int, seed: int) -> Sequence[SessionChance | None]:
        """Draws of what a session of so many spells does of its own accord; None where the constants are exact."""
        return [None] * count if self.belief.is_certain else self.discrepancy.chances(count, spells, seed)

    def begin(
        self, engine: Engine[Any], bench: Bench, programme: Programme, glass: StartFigure | None, constants: Constants,
        chance: SessionChance | None = None,
    ) -> Any:  # fmt: skip
        """The engine's state as the session begins: laps that are pressed for as long as a card asks.

        They begin from the shape that chance made, if it is given. Where the constants are taken as exact, laps fit as the
        bench says.
        """
        return self.prepared(engine, bench, programme, engine.begin(bench, glass, self.laps), constants, chance)

    def prepared(
        self, engine: Engine[Any], bench: Bench, programme: Programme, state: Any, constants: Constants,
        chance: SessionChance | None = None,
    ) -> Any:  # fmt: skip
        """The same from an engine's state whose laps are not prepared yet."""
        if self.belief.is_certain:
            return state
        if chance is not None:
            rms = self.discrepancy.fresh_misfit if self.laps is None else self.discrepancy.sag
            state = engine.with_misfit(bench, state, lambda _, share: chance.misfit(share, rms))
        for lap, seconds in self.pressings(bench, programme).items():
            state = engine.pressed(bench, state, [lap], seconds, constants)
        return state

    def pressings(self, bench: Bench, programme: Programme) -> dict[str | None, float]:
        """For how long each lap is to be pressed before the programme [s], by the lap's name as spells have it.

        None that the programme presses first itself, or that is to begin spherical.
        """
        fresh, best = self.laps is None, self.belief.best()
        return {
            lap: self.discrepancy.pressing(bench, bench.lap(lap), best, is_fresh=fresh)
            for lap in unpressed_laps(programme)
            if not fresh or bench.lap(lap).start == "pressed"
        }


def pressings_before(
    bench: Bench, programme: Programme, *, belief: Belief | None = None, start: StartFigure | None = None,
    laps: State | None = None, discrepancy: Discrepancy | None = None,
) -> dict[str | None, float]:  # fmt: skip
    """For how long each lap is to be pressed before a programme [s], as :func:`predict` takes it with these arguments."""
    belief = prior(bench) if belief is None else belief
    return Uncertainty(belief, start, laps, discrepancy or Discrepancy()).pressings(bench, programme)


def unpressed_laps(programme: Programme) -> list[str | None]:
    """Laps that a programme works with and does not press first, as its spells name them."""
    first = {spell.lap: spell.is_press for spell in reversed(programme.spells)}
    return [lap for lap, is_press in first.items() if not is_press]


def with_shape_error(run: Run[Any], chance: SessionChance | None) -> Run[Any]:
    """A run with the shape of its removal as chance made it."""
    if chance is None:
        return run
    errors = [chance.shape_error(run.heights[0] - height, run.radius) for height in run.heights[1:]]
    return replace(run, heights=run.heights + np.array([np.zeros_like(run.radius), *errors]))


def _band(
    engine: Engine[Any], bench: Bench, programme: Programme, uncertain: Uncertainty, gauge: FigureGauge, draws: int,
    seed: int, progress: Progress | None,
) -> Band:  # fmt: skip
    """Spread of the outcome over draws of everything uncertain."""
    there = itertools.count(2)  # the prediction itself counts as one

    def one_more() -> None:
        if progress is not None:
            progress(next(there) / (1 + draws))

    found = uncertain.draws(
        engine, bench, programme, draws, seed, done=one_more,
        progress=lambda number: _share(progress, number, 1 + draws, engine),
    )  # fmt: skip
    is_measured = uncertain.start is not None and uncertain.start.is_uncertain
    return band_of(found, gauge, draws, minutes_of(programme), is_measured=is_measured)


def describe(spell: Spell, bench: Bench) -> str:
    """A spell in a few words: piece on top, stroke and sizes."""
    lap = f" with lap {spell.lap}" if spell.lap else ""
    if spell.is_press:
        return f"press, {spell.on_top} on top{lap}"
    stroke, size = spell.stroke_on(bench.mirror.diameter), stroke_unit(bench).short
    parts = [f"{spell.on_top} on top{lap}, {stroke.kind}", f"{size(stroke.length)} long"]
    if stroke.side_sweep:
        parts.append(f"{size(stroke.side_sweep)} to each side")
    if stroke.side_overhang:
        parts.append(f"{size(stroke.side_overhang)} off centre")
    return " ".join(parts)


def summarise(bench: Bench, run: Run[Any], gauge: FigureGauge) -> Outcome:
    """An outcome from a run of any engine, without band and the usual warnings."""
    stages = np.array([gauge.error(height) for height in run.heights])
    redrawn = f"{counted(run.redraws, 'stroke')} drawn again because they would have tipped the top piece off"
    return Outcome(
        engine=run.engine,
        radius=run.radius,
        removal=run.removal,
        before=stages[0],
        figure_error=stages[-1],
        stages=stages,
        numbers_before=gauge.numbers(run.heights[0]),
        numbers=gauge.numbers(run.heights[-1]),
        height=run.heights[-1],
        pitch_radius={name: pitch.radius for name, pitch in run.pitch.items()},
        pitch_height={name: pitch.height for name, pitch in run.pitch.items()},
        spells=tuple(
            SpellSummary(
                describe(spell, bench), spell.minutes, report.peak_pressure, report.lift_off_share, report.reach,
                report.tip, report.left_out, gauge.aperture.rms(error), gauge.edge_roll(error),
                gauge.rim_height(error), gauge.rim_width(error),
            )
            for spell, report, error in zip(run.programme.spells, run.reports, stages[1:], strict=True)
        ),
        peak_pressure=run.peak_pressure,
        lift_off_share=run.lift_off_share,
        warnings=(redrawn,) if run.redraws else (),
        maps=run.maps,
        details=run.details,
        bench_text=bench.text,
        programme_text=run.programme.text or dump_programme(run.programme),
    )  # fmt: skip
