"""Before something long is worked: what it would be, and about how long, from a little of it timed now."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, ClassVar

from wearsim.bench.bench import Bench
from wearsim.bench.programme import Programme
from wearsim.wear.predict import BAND_DRAWS, is_spread, predict

TIMED_STROKES = 40.0
"""Strokes of a programme that the planar engine is timed on: more would keep people waiting (judgement)."""
TIMED_DRAWS = 4
"""Draws of a band that the radial engine is timed on."""
LONGEST_START = 5.0
"""A start that took longer compiled the kernels, which is done by then [s] (judgement)."""


@dataclass(frozen=True)
class Ahead:
    """What a command would do, and about how long that takes on this machine.

    Parameters
    ----------
    work : str
        In words.
    predictions : int
        Programmes that would be worked, at least; draws of a band counted each.
    strokes : float
        Strokes of one of them, 0 where they differ [1].
    least, most : float
        Expected time [s].
    timed : str
        In words, what was timed for it just now.
    timed_seconds : float
        How long that took [s].
    """

    work: str
    predictions: int
    strokes: float
    least: float
    most: float
    timed: str
    timed_seconds: float

    def to_json(self) -> dict[str, Any]:
        """One object for ``--json``.

        Returns
        -------
        dict
            Times in seconds; ``time_s`` is the longer of the two expected.
        """
        return {
            "work": self.work, "predictions": self.predictions, "strokes": self.strokes,
            "time_least_s": self.least, "time_s": self.most, "timed_s": self.timed_seconds,
        }  # fmt: skip


def strokes_of(programme: Programme) -> float:
    """Strokes of a whole programme, pressings not counted.

    Parameters
    ----------
    programme : Programme

    Returns
    -------
    float
        [1]
    """
    return float(sum(0.0 if spell.is_press else spell.minutes * (spell.rate or 0.0) for spell in programme.spells))


def seconds_of(work: Callable[[], object]) -> float:
    """How long something takes, done once [s].

    Parameters
    ----------
    work : callable

    Returns
    -------
    float
        [s]
    """
    begun, spent = time.perf_counter(), time.process_time()
    work()
    took = time.perf_counter() - begun
    _Timed.seconds += time.process_time() - spent
    _Timed.waited += took
    return took


class _Timed:
    """Processor time that was spent on timing in this process, and how long that took [s]."""

    seconds: ClassVar[float] = 0.0
    waited: ClassVar[float] = 0.0


def started(ahead: Ahead) -> Ahead:
    """The same with the time that starting takes: Python, imports, reading files, loading kernels.

    It is the processor time of this process so far, less what was timed in it, as the command itself will start in
    the same way; on a machine that is busy with other things as well it is as much longer as the timing was.

    Parameters
    ----------
    ahead : Ahead

    Returns
    -------
    Ahead
    """
    start = min(LONGEST_START, max(0.0, time.process_time() - _Timed.seconds))
    if _Timed.seconds > 0.0:
        start *= max(1.0, _Timed.waited / _Timed.seconds)
    return replace(ahead, least=ahead.least + start, most=ahead.most + start)


def predict_ahead(
    bench: Bench, programme: Programme, *, engine: str = "radial", draws: int | None = None, ways: int = 1, **known: Any
) -> Ahead:  # fmt: skip
    """What ``predict`` would take: a part of the programme, or of the band, is worked and timed.

    Parameters
    ----------
    bench : Bench
    programme : Programme
    engine : {"radial", "planar"}
    draws : int, optional
        As :func:`wearsim.wear.predict.predict` has it.
    ways : int
        How often: 2 where either piece lies on top in turn.
    **known
        What else the prediction would be called with.

    Returns
    -------
    Ahead

    Raises
    ------
    InputError, ContactError
        As the prediction would.
    """
    planar = engine == "planar"
    drawn = (0 if planar else BAND_DRAWS) if draws is None else draws
    if known.get("belief") is not None and known.get("start") is not None:
        drawn = drawn if is_spread(programme, known["belief"], known["start"]) else 0
    drawn = drawn if programme.spells else 0
    strokes = strokes_of(programme)
    if planar:
        timed, took, seconds = _planar_ahead(bench, programme, strokes, known)
        seconds *= 1 + drawn
    else:
        timed, took, seconds = _radial_ahead(bench, programme, drawn, known)
    runs = ways * (1 + drawn)
    work = f"{runs} prediction{'s' if runs > 1 else ''} of {strokes:.0f} strokes, {engine} engine"
    return Ahead(work, runs, strokes, ways * seconds, ways * seconds, timed, took)


def _radial_ahead(bench: Bench, programme: Programme, draws: int, known: dict[str, Any]) -> tuple[str, float, float]:
    """What was timed, how long that took, and how long the whole takes [s]."""

    def worked(some: int) -> float:
        return seconds_of(lambda: predict(bench, programme, draws=some, **known))

    predict(bench, programme, draws=0, **known)  # loads, and compiles where that is still to do
    alone = worked(0)
    if not draws:
        return "one prediction", alone, alone
    some = min(draws, TIMED_DRAWS)
    took = worked(some)
    return f"a prediction with {some} draws", took, alone + max(0.0, took - alone) / some * draws


def _planar_ahead(
    bench: Bench, programme: Programme, strokes: float, known: dict[str, Any]
) -> tuple[str, float, float]:
    """The same for one walk: what does not depend on the number of strokes is told from what does."""
    part = min(1.0, TIMED_STROKES / strokes) if strokes > 0.0 else 1.0

    def worked(share: float) -> float:
        short = shortened(programme, share)
        return seconds_of(lambda: predict(bench, short, engine="planar", draws=0, **known))

    predict(
        bench, shortened(programme, 0.25 * part), engine="planar", draws=0, **known
    )  # loads, and compiles where that is still to do
    half, took = worked(0.5 * part), worked(part)
    fixed = min(took, max(0.0, 2.0 * half - took))
    return f"{part * strokes:.0f} strokes", took, fixed + (took - fixed) / part


def shortened(programme: Programme, share: float) -> Programme:
    """A programme whose spells last only a share of their minutes.

    Parameters
    ----------
    programme : Programme
    share : float
        Above 0 [1].

    Returns
    -------
    Programme
    """
    spells = tuple(spell.model_copy(update={"minutes": share * spell.minutes}) for spell in programme.spells)
    return programme.model_copy(update={"spells": spells})
