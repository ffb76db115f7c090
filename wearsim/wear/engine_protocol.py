"""What an engine is: from a glass to begin with, through the spells of a programme, to a run that all else reads."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, ClassVar, Generic, TypeVar

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.lap import Lap
from wearsim.bench.programme import Programme, Spell
from wearsim.errors import InputError
from wearsim.kernels.arrays import Floats
from wearsim.wear.accuracy import DEFAULT, Accuracy
from wearsim.wear.constants import AS_STATED, Constants
from wearsim.wear.initial_figure import StartFigure, start_figure
from wearsim.wear.state import PitchProfile, State

S = TypeVar("S")
Progress = Callable[[float], None]
Misfit = Callable[[Lap, Floats], Floats]
"""From a lap and shares of its radius [1] to how much higher its pitch is there than it should be [m]."""
# A pressing takes far fewer poses than strokes do: it counts as this many strokes a minute in the progress.
PRESS_A_MINUTE = 5.0


@dataclass(frozen=True)
class SpellReport:
    """What a spell did in addition to its removal; zero where the engine does not say."""

    peak_pressure: float = 0.0  # largest per nominal area [Pa]
    lift_off_share: float = 0.0  # share of the overlap that carried no load, mean over time [1]
    reach: float = 0.0  # largest offset of the centres, of the stroke as meant or as walked [m]
    tip: float = 0.0  # where the top piece would tip [m]
    left_out: float = 0.0  # share of the jittered strokes that would have tipped off [1]
    mean_speed: float = 0.0  # of the top piece's centre [m/s]
    imbalance: float = 0.0  # largest relative one of force and moments that was left [1]
    steps: int = 0  # in time, or poses
    evaluations: int = 0  # of the rates
    iterations: int = 0  # passes over the contact that balancing took
    peak_place: tuple[float, float] = (0.0, 0.0)  # of the largest pressure on the mirror, in its own frame, on maps [m]
    redraws: int = 0  # jittered strokes that would have tipped the piece off and were drawn again


@dataclass(frozen=True, eq=False)
class Run(Generic[S]):
    """A programme worked by an engine.

    Parameters
    ----------
    end : object
        The engine's own state after the last spell.
    heights : (spells + 1, n) ndarray
        Glass at the start and after each spell at ``radius`` (n,), mean over circles, above the reference sphere [m].
    pitch : mapping of str to PitchProfile
        Every lap's pitch after, by the lap's name.
    maps : mapping of str to ndarray
        Of an engine that has them (:attr:`wearsim.wear.outcome.Outcome.maps`).
    details : mapping of str to float
        Numbers of the maps, SI units in their names.
    """

    engine: str
    programme: Programme
    end: S
    reports: tuple[SpellReport, ...]
    radius: Floats
    heights: Floats
    pitch: Mapping[str, PitchProfile]
    maps: Mapping[str, Floats] = field(default_factory=dict)
    details: Mapping[str, float] = field(default_factory=dict)

    @property
    def removal(self) -> Floats:
        """Glass removed, (n,) [m]."""
        return np.asarray(self.heights[0] - self.heights[-1])

    @property
    def peak_pressure(self) -> float:
        """Largest pressure [Pa]."""
        return max((report.peak_pressure for report in self.reports), default=0.0)

    @property
    def lift_off_share(self) -> float:
        """Share of the overlap that carried nothing, mean over the time worked [1]."""
        minutes = minutes_of(self.programme)
        shares = np.array([report.lift_off_share for report in self.reports])
        return float(shares @ minutes / minutes.sum()) if minutes.size else 0.0

    @property
    def redraws(self) -> int:
        """Jittered strokes drawn again because they would have tipped the piece off."""
        return sum(report.redraws for report in self.reports)


def minutes_of(programme: Programme) -> Floats:
    """Of each spell, shape (spells,) [min]."""
    return np.array([spell.minutes for spell in programme.spells])


class Engine(ABC, Generic[S]):
    """What predictions, studies and practice need of an engine.

    Attributes
    ----------
    name : str
        As people write it.
    band_draws : int
        Draws of a band where nobody says how many.
    runs_together : bool
        Whether several runs at once go quicker than one after the other; then a run is so short that it reports no
        progress.
    takes_uneven : bool
        Whether it works with glass that is not round; otherwise with the mean over rings.
    accuracy : Accuracy
        Its radii are those of the profiles.
    """

    name: ClassVar[str]
    band_draws: ClassVar[int]
    runs_together: ClassVar[bool]
    takes_uneven: ClassVar[bool] = False
    accuracy: Accuracy = DEFAULT

    def measured(self, bench: Bench) -> StartFigure | None:
        """The bench's figure as far as it is round; None where this engine takes one that is not as it is."""
        return start_figure(bench, self.accuracy)

    def cautions(self, bench: Bench, programme: Programme) -> tuple[str, ...]:
        """What this engine's own grids cannot show of a programme, each in one line."""
        return ()

    def check(self, bench: Bench, programme: Programme) -> None:
        """Refuse a programme that this engine would work for too long, before anything is worked.

        Raises
        ------
        InputError
        """
        return

    @abstractmethod
    def begin(self, bench: Bench, glass: StartFigure | None, laps: State | None = None) -> S:
        """The state at the start of a session.

        Of the glass from :meth:`measured` or another, None for the bench's own figure, which is not round; of laps as a
        session left them, round, by default as the bench starts them.
        """

    @abstractmethod
    def with_misfit(self, bench: Bench, state: S, misfit: Misfit) -> S:
        """The state with a misfit of the laps as a session begins, round, on top of what they have."""

    def pressed(self, bench: Bench, state: S, laps: Iterable[str | None], seconds: float, constants: Constants) -> S:
        """The state after laps were pressed on the glass at rest for so long, the tool on top [s].

        Parameters
        ----------
        laps : iterable of str or None
            As spells name them.

        Raises
        ------
        InputError
            Where the pitch flows too quickly for that.
        """
        for lap in laps if seconds > 0.0 else ():
            table = {"stroke": "press", "on_top": "tool", "lap": lap, "minutes": seconds / 60.0}
            try:
                state, _ = self.work_spell(bench, Spell.model_validate(table), state, constants=constants)
            except InputError as error:
                if not (error.key or "").endswith("minutes"):
                    raise
                raise InputError(  # its minutes are nobody's to change
                    error.message, file=bench.file, key="pressing before the first spell",
                    value=f"{seconds / 60.0:.3g} min", expected="a pitch that flows more slowly",
                ) from error  # fmt: skip
        return state

    @abstractmethod
    def work_spell(
        self, bench: Bench, spell: Spell, state: S, number: int = 1, constants: Constants = AS_STATED, *,
        seed: int = 0, file: Path | None = None, progress: Progress | None = None,
    ) -> tuple[S, SpellReport]:  # fmt: skip
        """One spell worked on a state.

        Parameters
        ----------
        number : int
            Of the spell, from 1: for messages, and for the stream of its jitter.
        constants : Constants
            Factors on the bench's constants.
        seed : int
            Entropy of the jitter, where strokes are drawn.
        file : path, optional
            Of the programme, for messages.
        progress : callable, optional
            Called with the share of the spell done.

        Raises
        ------
        TipsOffError, ContactError
        """

    @abstractmethod
    def stage(self, bench: Bench, state: S) -> Any:
        """What is kept of a state at the start or after a spell, until the run is over: little, there may be a thousand."""

    @abstractmethod
    def gather(
        self, bench: Bench, programme: Programme, ends: tuple[S, S], stages: Sequence[Any],
        reports: tuple[SpellReport, ...],
    ) -> Run[S]:  # fmt: skip
        """What all else reads of the first and the last state, of the stages in between and of the reports."""

    def run(
        self, bench: Bench, programme: Programme, state: S, constants: Constants = AS_STATED, *, seed: int = 0,
        sizes: Sequence[float] | Floats | None = None, progress: Progress | None = None,
    ) -> Run[S]:  # fmt: skip
        """A whole programme worked on a state; arguments and errors as for :meth:`work_spell`.

        ``sizes`` are factors on the removal of each spell (spells,) [1], all 1 by default.
        """
        first, stages, reports = state, [self.stage(bench, state)], []
        strokes = [s.minutes * (PRESS_A_MINUTE if s.is_press else s.rate or 0.0) for s in programme.spells]
        done, whole = 0.0, sum(strokes)
        each = [constants] * len(strokes) if sizes is None else [constants.times(float(size)) for size in sizes]
        for number, (spell, own) in enumerate(zip(programme.spells, strokes, strict=True), start=1):
            part = None if progress is None else _part(progress, done / whole, own / whole)
            about: dict[str, Any] = {"seed": seed, "file": programme.file, "progress": part}
            state, report = self.work_spell(bench, spell, state, number, each[number - 1], **about)
            stages.append(self.stage(bench, state))
            reports.append(report)
            done += own
        return self.gather(bench, programme, (first, state), stages, tuple(reports))


def _part(progress: Progress, before: float, own: float) -> Progress:
    """What turns the share of one spell done into the share of all."""
    return lambda share: progress(before + share * own)
