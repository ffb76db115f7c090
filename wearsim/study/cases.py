"""One case: from its place among the cases to the numbers that are kept, or the reason why it failed.

A worker is sent a :class:`Job` (all that cases have in common) and a :class:`Chunk` (the places of a few cases), and
sends back a :class:`ChunkResult`. What cases share (the glass at the start, the gauge of the figure) is kept between
them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import repeat
from typing import Any
from uuid import uuid4

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.programme import Programme
from wearsim.errors import ContactError, CouldNotError, InputError, TipsOffError
from wearsim.figure.metrics import FigureGauge
from wearsim.kernels.arrays import Floats
from wearsim.study.axes import Axis
from wearsim.study.plan import Study
from wearsim.study.quantities import QUANTITIES, CaseOutcome, DrawStatistics, kept_quantities
from wearsim.study.settings import Changes, by_table, changed_bench, changed_programme
from wearsim.wear.accuracy import DEFAULT, Accuracy
from wearsim.wear.constants import AS_STATED, Constants, constants_at, prior
from wearsim.wear.engine_protocol import Run
from wearsim.wear.initial_figure import StartFigure
from wearsim.wear.predict import Uncertainty, engine_for, gauge_for, with_shape_error
from wearsim.wear.state import glass_grid

FAILURES = ("none", "tips_off", "refused", "no_balance", "fault")
"""Why a case failed, by its code."""


@dataclass(frozen=True)
class Job:
    """All that the cases of a study have in common, as it travels to the workers.

    Parameters
    ----------
    shape : tuple of int
        Of the cases.
    keep : tuple of str
        Names of :data:`~wearsim.study.quantities.QUANTITIES`.
    edge_limit : float
        [waves]
    start : StartFigure or None
        The glass, where no axis touches it.
    token : str
        Its own: what one job has found out holds for no other.
    """

    bench: Bench
    programme: Programme
    bench_table: dict[str, Any]
    programme_table: dict[str, Any]
    axes: tuple[Axis, ...]
    sampled: tuple[Axis, ...]
    shape: tuple[int, ...]
    engine: str
    keep: tuple[str, ...]
    draws: int
    edge_limit: float
    seed: int
    accuracy: Accuracy = DEFAULT
    start: StartFigure | None = None
    token: str = field(default_factory=lambda: uuid4().hex)

    def bench_and_programme(self, place: int, row: Floats | None) -> tuple[Bench, Programme]:
        """Bench and programme of one case.

        Parameters
        ----------
        place : int
            Among all cases, the last axis running fastest.
        row : (number of sampled axes,) ndarray or None
            Its sample.

        Raises
        ------
        InputError
            Where these values do not go together.
        """
        at = np.unravel_index(place, self.shape)
        numbers: list[tuple[Axis, int | float]] = [(axis, int(n)) for axis, n in zip(self.axes, at, strict=False)]
        if row is not None:
            numbers += zip(self.sampled, map(float, row), strict=True)
        bench, programme = (
            _changed(_Keyed((self.token, spells, *(n for axis, n in numbers if axis.is_of(spells))), (self, numbers)))
            for spells in (False, True)
        )
        return bench, programme.check_on(bench)

    def changes(self, numbers: Iterable[tuple[Axis, int | float]], spells: bool) -> Changes:
        """What a case changes on the bench, or in the programme's spells.

        Parameters
        ----------
        numbers : iterable of Axis and its number
            A place along a grid or a list; of a sampled axis the value itself, in SI units.
        """
        changed = [pair for axis, n in numbers for pair in axis.changes(axis.raw_value(n))]
        return by_table((setting, raw) for setting, raw in changed if (setting.table == "spell") == spells)


@dataclass(frozen=True, eq=False)
class _Keyed:
    """A question whose answer cases share: the same key, the same answer, whatever else is given."""

    key: tuple[Any, ...]
    arguments: tuple[Any, ...]

    def __hash__(self) -> int:
        return hash(self.key)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Keyed) and self.key == other.key


@lru_cache(maxsize=256)
def _changed(case: _Keyed) -> Any:
    """The bench, or the programme, of cases that have the same numbers on the axes that touch it."""
    _, spells, *_ = case.key
    job, numbers = case.arguments
    changes = job.changes(numbers, spells)
    if spells:
        return changed_programme(job.programme, job.programme_table, changes)
    return changed_bench(job.bench, job.bench_table, changes)


def job_for(study: Study, seed: int = 0, accuracy: Accuracy = DEFAULT) -> Job:
    """The job of a study."""
    touched = {s.table for axis in (*study.axes, *study.sampled) for s in axis.settings}
    start = None
    if not touched & {"mirror", "figure"}:
        start = engine_for(study.about.engine, accuracy).measured(study.bench)
    about = study.about
    return Job(
        study.bench, study.programme, study.bench_table, study.programme_table, study.axes, study.sampled,
        study.shape, about.engine, kept_quantities(about.keep, about.draws), about.draws, about.edge_limit,
        seed, accuracy, start,
    )  # fmt: skip


@dataclass(frozen=True)
class ChunkResult:
    """Cases worked out: ``first`` and those behind it.

    Parameters
    ----------
    failure : (n,) int8 ndarray
        Codes of :data:`FAILURES`.
    reason : tuple of str
        In words; empty where the case did not fail.
    values : dict of str to (n, ...) ndarray
        What is kept; NaN where the case failed.
    inner : dict of str to (m,) ndarray
        Coordinates of profiles and maps [m]; empty where none is kept or all of these cases failed.
    """

    first: int
    failure: np.ndarray[Any, np.dtype[np.int8]]
    reason: tuple[str, ...]
    values: dict[str, Floats]
    inner: dict[str, Floats]

    def __len__(self) -> int:
        return len(self.failure)

    @property
    def failed(self) -> int:
        """How many of them failed."""
        return int((self.failure > 0).sum())


@dataclass(frozen=True)
class Chunk:
    """Cases that travel together: ``first`` to ``last`` (not included), and their samples."""

    number: int
    first: int
    last: int
    rows: Floats | None = None


def work_chunk(job: Job, chunk: Chunk) -> ChunkResult:
    """Work out the cases of a chunk; what workers run.

    Raises
    ------
    CouldNotError
        Where the memory does not suffice.
    """
    inner: dict[str, Floats] = {}
    rows = repeat(None) if chunk.rows is None else chunk.rows
    found = [_values_or_failure(job, *case, inner) for case in zip(range(chunk.first, chunk.last), rows, strict=False)]
    results, codes, reasons = zip(*found, strict=True)
    columns = {name: _column([values.get(name) for values in results]) for name in job.keep}
    return ChunkResult(chunk.first, np.array(codes, dtype=np.int8), tuple(reasons), columns, inner)


def _values_or_failure(
    job: Job, place: int, row: Floats | None, inner: dict[str, Floats]
) -> tuple[dict[str, Any], int, str]:
    """What is kept of a case, the code of its failure and why; ``inner`` is filled by the first case that works."""
    try:
        outcome = work_case(job, place, row)
    except TipsOffError as error:
        return {}, 1, _reason(error)
    except InputError as error:
        return {}, 2, _reason(error)
    except ContactError as error:
        return {}, 3, str(error)
    except MemoryError as error:
        raise CouldNotError(f"case {place + 1}: out of memory; finished cases are kept") from error
    except Exception as error:  # a fault of ours in one case must not cost the person all the others
        return {}, 4, f"a bug in wearsim: {type(error).__name__}: {error}"
    needed = {dimension for name in job.keep for dimension in QUANTITIES[name].inner} - {"percentile"}
    if needed and not inner:
        inner.update({name: outcome.radius if name == "radius" else outcome.maps[name] for name in needed})
    return {name: QUANTITIES[name].take(outcome) for name in job.keep}, 0, ""


def _reason(error: InputError) -> str:
    """Why, without the name of the file: the same wherever a study is worked out."""
    return str(InputError(error.message, key=error.key, value=error.value, expected=error.expected))


def _column(values: list[Any]) -> Floats:
    """Values of one quantity over a chunk; NaN for cases that have none, of the shape that the others have."""
    shape = next((np.shape(value) for value in values if value is not None), None)
    if shape is None:
        return np.full(len(values), np.nan)
    column = np.full((len(values), *shape), np.nan)
    for place, value in enumerate(values):
        if value is not None:
            column[place] = value
    return column


def work_case(job: Job, place: int, row: Floats | None) -> CaseOutcome:
    """Work out one case.

    Raises
    ------
    InputError
        Where the values do not go together or the top piece tips off.
    ContactError
        Where the contact could not be balanced.
    """
    bench, programme = job.bench_and_programme(place, row)
    start, gauge = start_and_gauge(job, bench)
    engine = engine_for(job.engine, job.accuracy)
    seed = int(np.random.SeedSequence(job.seed, spawn_key=(place, 2)).generate_state(1)[0])  # the case is its child
    uncertain = Uncertainty(prior(bench), None, None)
    begun = uncertain.prepared(engine, bench, programme, start, AS_STATED)
    found = _case_outcome(engine.run(bench, programme, begun, seed=seed), gauge)
    if not job.draws:
        return found
    drawn = []
    chances = uncertain.chances(job.draws, len(programme.spells), seed)
    for constants, chance in zip(draw_constants(bench, job.draws, job.seed, place), chances, strict=True):
        sizes = None if chance is None else chance.sizes
        try:
            begun = uncertain.prepared(engine, bench, programme, start, constants, chance)
            run = engine.run(bench, programme, begun, constants, seed=seed, sizes=sizes)
        except ContactError:
            continue
        drawn.append(replace(_case_outcome(with_shape_error(run, chance), gauge), maps={}, details={}))
    return replace(found, drawn=_gathered(job, bench, gauge, drawn))


@lru_cache(maxsize=32)
def _start_and_gauge(case: _Keyed) -> tuple[Any, FigureGauge]:
    job, bench = case.arguments
    engine = engine_for(job.engine, job.accuracy)
    start = engine.measured(bench) if job.start is None else job.start
    radius = glass_grid(bench.mirror, job.accuracy)
    return engine.begin(bench, start), gauge_for(bench, radius)


def start_and_gauge(job: Job, bench: Bench) -> tuple[Any, FigureGauge]:
    """The engine's state that a case starts from and the gauge of its figure, kept for the cases that share them."""
    laps = tuple((lap.name, lap.diameter, lap.start) for lap in bench.laps)
    key = (job.token, bench.mirror, laps, bench.figure, bench.light.wavelength)
    return _start_and_gauge(_Keyed(key, (job, bench)))


def draw_constants(bench: Bench, count: int, seed: int, place: int) -> list[Constants]:
    """Independent draws of the uncertain constants of one case, the same whichever worker does it.

    Parameters
    ----------
    bench : Bench
        Whose ``[spread]`` says how well they are known.
    seed : int
        Of the study.
    place : int
        Of the case.
    """
    belief = prior(bench)
    rng = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(place,)))
    axes = belief.axes
    return [constants_at(belief.mean + axes @ rng.standard_normal(axes.shape[1])) for _ in range(count)]


def _case_outcome(run: Run[Any], gauge: FigureGauge) -> CaseOutcome:
    return CaseOutcome(
        gauge, run.radius, run.heights[0], run.heights[-1], run.peak_pressure, run.lift_off_share, run.maps, run.details
    )


def _gathered(job: Job, bench: Bench, gauge: FigureGauge, cases: list[CaseOutcome]) -> DrawStatistics:
    if not cases:
        raise ContactError("the forces could not be balanced for any draw of the constants")
    return DrawStatistics(
        np.array([gauge.edge_roll(case.error) for case in cases]),
        np.array([gauge.aperture.rms(case.error) for case in cases]),
        np.array([case.edge_roll_change for case in cases]),
        np.array([case.rim_height_change for case in cases]),
        job.edge_limit * bench.light.wavelength,
        job.draws - len(cases),
        tuple(cases),
    )
