"""A proposal: the programme, what it is predicted to do, how good that is, and the figure if it is stopped early."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from wearsim.bench.programme import Programme
from wearsim.bench.toml_io import spell_table
from wearsim.decide.choice import Alternative
from wearsim.decide.coarse_engine import CoarseEngine, Plan, PlannedSpell, without_pressings
from wearsim.decide.limits import Limits
from wearsim.decide.trade_off import TradeOff
from wearsim.errors import ContactError
from wearsim.figure.metrics import FigureGauge, percentiles
from wearsim.kernels.arrays import Floats
from wearsim.wear.constants import Belief
from wearsim.wear.discrepancy import Discrepancy
from wearsim.wear.initial_figure import StartFigure, on_grid
from wearsim.wear.outcome import Outcome
from wearsim.wear.predict import BAND_DRAWS
from wearsim.wear.state import State

# Between two looks at the figure, about: of the line, of a draw [min]. Between looks the figure goes evenly.
STEP, DRAWN_STEP = 2.0, 5.0
RISK, WORTH_STOPPING, WORTH_A_TEST = 1.1, 0.7, 10.0
"""A programme is tested on the way where the upper end of the RMS band grows by more than this factor, not later than after
this share of it [1], and only where it takes so many minutes [min]. Judgements."""


@dataclass(frozen=True, eq=False)
class EarlyStop:
    """How the figure stands if the programme is stopped early.

    Parameters
    ----------
    minutes : (n,) ndarray
        Minutes of work done [min].
    rms : (n,) ndarray
        RMS figure error [m].
    edge_roll : (n,) ndarray
        [m]
    rms_band, edge_roll_band : (n, 2) ndarray or None
        5th and 95th percentile of them over draws of the constants and of the measured glass, by the coarse engine of the
        search (:func:`wearsim.decide.proposal.stopped_early`) [m]; None where nothing is uncertain or no draws were asked
        for.
    """

    minutes: Floats
    rms: Floats
    edge_roll: Floats
    rms_band: Floats | None = None
    edge_roll_band: Floats | None = None

    @property
    def test_after(self) -> float | None:
        """Minutes after which to test first [min]: up to there the band's upper end is no higher than it is before.

        None where it rises by little to the end, where little would be left to work, and where there is no band.
        """
        is_short = self.minutes[-1] < WORTH_A_TEST
        if self.rms_band is None or is_short or self.rms_band[-1, 1] <= RISK * self.rms_band[0, 1]:
            return None
        safe = self.minutes[max(1, int(np.argmax(self.rms_band[:, 1] > self.rms_band[0, 1])) - 1)]
        return float(np.ceil(safe)) if safe <= WORTH_STOPPING * self.minutes[-1] else None

    def advice(self, outcome: Outcome) -> tuple[str, ...]:
        """A sentence where the whole programme might leave the figure clearly worse: when to stop and test first.

        The ends of the outcome's own band, which is worked at full accuracy, stand for the first and the last of these.
        """
        if self.test_after is None or self.rms_band is None:
            return ()
        before, *between, after = self.rms_band[:, 1]
        if outcome.band is not None:
            before = outcome.band.numbers_before.get("surface_rms", (before, before))[1]
            after = outcome.band.surface_rms[1]
        after = max(*between, after)
        return (
            f"test before you work all of it: the RMS, at most {before * 1e9:.0f} nm now, may become {after * 1e9:.0f} nm. "
            f"Stop after {self.test_after:.0f} minutes, test and record: that shows how fast your glass wears",
        )

    def to_json(self) -> dict[str, Any]:
        """One object: lists over the minutes, bands where there are any as pairs, minutes after which to test or null."""
        result: dict[str, Any] = {
            "test_after_minutes": self.test_after,
            "minutes": self.minutes.tolist(),
            "time_s": (60.0 * self.minutes).tolist(),
            "surface_rms_m": self.rms.tolist(),
            "edge_roll_m": self.edge_roll.tolist(),
        }
        if self.rms_band is not None and self.edge_roll_band is not None:
            result["surface_rms_band_m"] = self.rms_band.tolist()
            result["edge_roll_band_m"] = self.edge_roll_band.tolist()
        return result


@dataclass(frozen=True, eq=False)
class LaterSession:
    """A later session, in outline.

    Parameters
    ----------
    programme : Programme
        As it would be if everything went as predicted.
    outcome : Outcome
        Predicted by the coupled engine at full accuracy, from the glass that the session before is predicted to leave;
        its band over draws of the constants as they are believed to be known by then, and of the error of the test
        before it.
    expected_rms : float
        Root of the expected mean square over the same [m].
    """

    programme: Programme
    outcome: Outcome
    expected_rms: float

    @property
    def rms(self) -> float:
        """RMS figure error after it [m]."""
        return self.outcome.surface_rms

    def to_json(self) -> dict[str, Any]:
        """One object: the programme, and RMS and edge roll after it with their bands or why there are none."""
        outcome, band = self.outcome, self.outcome.band
        bands: dict[str, Any] = {"no_band": outcome.no_band}
        if band is not None:
            bands = {"surface_rms_band_m": band.surface_rms.tolist(), "edge_roll_band_m": band.edge_roll.tolist()}
        return {
            "programme": [spell_table(spell) for spell in self.programme.spells],
            "surface_rms_m": self.rms,
            "edge_roll_m": outcome.edge_roll,
            **bands,
            "expected_rms_m": self.expected_rms,
        }


@dataclass(frozen=True, eq=False)
class Proposal:
    """What to do next.

    Parameters
    ----------
    programme : Programme
        Empty where nothing allowed is predicted to be better than stopping.
    outcome : Outcome
        Predicted by the coupled engine at full accuracy.
    floor : float
        Linear floor: proven lower bound of the RMS figure error of any mix of the allowed strokes, wear rates
        frozen [m].
    expected_rms : float
        Root of the expected mean square figure error over everything uncertain [m].
    stopped_rms : float
        The same where nothing is worked [m].
    share : float
        Share of the error that the programme removes: of the removal that would serve best [1].
    reason : str
        Why it stops where it stops, in a sentence.
    advice : tuple of str
        What would lower the floor, where it is bad.
    trade_off : tuple of TradeOff
        Empty unless it was asked for.
    early : EarlyStop
    later : tuple of LaterSession
    limits : Limits
    pressings : mapping of str to float
        For how long each lap is to be pressed before the first spell [s], by its name as spells have it.
    evaluations : int
        Coupled runs of the search.
    seconds : float
        That the search took [s].
    stopped : bool
        Whether the time limit ended it.
    no_more_sessions : str
        Why fewer sessions are planned than were asked for; empty where all are.
    left_out : tuple of str
        What the time limit left no time to look into.
    choices : tuple of Alternative
        The programme and what it was chosen from; empty where nothing is proposed.
    least_rms : float
        What nobody can promise to better: the larger of the floor, the print of the lap's channels, and the engine's own
        error [m]; nothing where nothing is proposed.
    """

    programme: Programme
    outcome: Outcome
    floor: float
    expected_rms: float
    stopped_rms: float
    share: float
    reason: str
    advice: tuple[str, ...]
    trade_off: tuple[TradeOff, ...]
    early: EarlyStop
    later: tuple[LaterSession, ...]
    limits: Limits
    pressings: Mapping[str | None, float]
    evaluations: int
    seconds: float
    stopped: bool
    no_more_sessions: str = ""
    left_out: tuple[str, ...] = ()
    choices: tuple[Alternative, ...] = ()
    least_rms: float = 0.0

    @property
    def gap(self) -> float:
        """RMS figure error after, less the floor; negative where the lap's flow beats the frozen floor [m]."""
        return self.outcome.surface_rms - self.floor

    @property
    def gap_band(self) -> Floats | None:
        """5th and 95th percentile of the gap over the draws of the outcome's band (2,) [m]; None where it has none.

        The floor is one number, that of the most likely constants and the figure as measured: what spreads is the RMS.
        """
        return None if self.outcome.band is None else self.outcome.band.surface_rms - self.floor

    @property
    def share_band(self) -> Floats | None:
        """5th and 95th percentile of that share (2,) [1]; None where the outcome has no band."""
        return None if self.outcome.band is None else self.outcome.band.share

    def to_json(self) -> dict[str, Any]:
        """One object for ``--json``: plain lists and floats, SI units in the key names.

        Returns
        -------
        dict
            The programme's spells with the keys of a file; all else in SI units. Beside every ``time_s`` stand the
            same times as ``minutes``, as programmes have them.
        """
        bands = {"gap_to_floor_band_m": self.gap_band, "share_of_the_way_band": self.share_band}
        return {
            "programme": [spell_table(spell) for spell in self.programme.spells],
            "outcome": self.outcome.to_json(),
            "floor": self.floor,
            "gap_to_floor_m": self.gap,
            "expected_rms_m": self.expected_rms,
            "expected_rms_if_stopped_m": self.stopped_rms,
            "least_rms_m": self.least_rms,
            "share_of_the_way": self.share,
            **{key: ends.tolist() for key, ends in bands.items() if ends is not None},
            "reason": self.reason,
            "advice": list(self.advice),
            "trade_off": [
                {
                    "spells": one.spells,
                    "minutes": one.minutes.tolist(),
                    "time_s": (60.0 * one.minutes).tolist(),
                    "expected_rms_m": one.expected_rms.tolist(),
                    "looked_into_time_s": (60.0 * one.evaluated).tolist(),
                }
                for one in self.trade_off
            ],
            "choices": [
                {
                    "name": one.name,
                    "words": one.words,
                    "expected_rms_m": one.expected_rms,
                    "surface_rms_m": one.candidate.score.rms,
                    "effort_min": one.effort,
                    "programme": one.candidate.plan
                    and [
                        spell_table(spell.stroke.spell(spell.minutes, self.limits.strokes_a_minute))
                        for spell in one.candidate.plan
                    ],
                }
                for one in self.choices
            ],
            "stopped_early": self.early.to_json(),
            "later_sessions": [one.to_json() for one in self.later],
            "pressing_s": {lap or "lap": seconds for lap, seconds in self.pressings.items()},
            "evaluations": self.evaluations,
            "no_more_sessions": self.no_more_sessions,
            "stopped_by_time_limit": self.stopped,
            "left_out_by_time_limit": list(self.left_out),
        }


def stopped_early(
    nominal: CoarseEngine,
    start: State,
    gauge: FigureGauge,
    plan: Plan,
    belief: Belief,
    measured: StartFigure,
    discrepancy: Discrepancy,
    *,
    seed: int = 0,
    draws: int = BAND_DRAWS,
) -> EarlyStop:
    """The figure against minutes of work, with the most likely constants; its band over draws of them and of the glass.

    The draws are those of the band of :func:`wearsim.wear.predict.predict`, by a coarser engine, and not the search's
    weighted cases, which are too few for percentiles. Without draws there is no band.
    """
    minutes, errors = _time_course(nominal, start, gauge, plan, STEP)
    line = _numbers(errors, gauge)
    if not (plan and draws) or (belief.is_certain and not measured.is_uncertain):
        return EarlyStop(minutes, *line)
    glass = on_grid(nominal.bench, measured, nominal.accuracy).draws(draws, seed + 1)
    found = []
    chances = discrepancy.chances(draws, len(without_pressings(plan)), seed + 2)
    for height, constants, chance in zip(glass, belief.draws(draws, seed), chances, strict=True):
        size = 1.0 if belief.is_certain else float(chance.sizes.mean())
        engine = CoarseEngine(nominal.bench, nominal.limits, constants.times(size), nominal.accuracy)
        try:
            times, drawn = _time_course(engine, replace(start, height=height), gauge, plan, DRAWN_STEP)
        except ContactError:
            continue
        if not belief.is_certain:
            drawn[1:] += [chance.shape_error(drawn[0] - error, start.radius) for error in drawn[1:]]
        between = np.array([np.interp(minutes, times, one) for one in np.eye(times.size)]).T
        found.append(_numbers(between @ drawn, gauge))
    if not found:
        return EarlyStop(minutes, *line)
    rms, roll = (percentiles([one[which] for one in found]).T for which in (0, 1))
    return EarlyStop(minutes, *line, rms, roll)


def _time_course(
    engine: CoarseEngine, state: State, gauge: FigureGauge, plan: Plan, step: float
) -> tuple[Floats, Floats]:
    """Minutes of work (m,) [min] and the figure error then (m, n) [m]."""
    minutes, heights = [0.0], [state.height]
    for spell in plan:
        if spell.stroke.is_press:
            state = engine.after(state, spell)
            continue
        parts = max(1, round(spell.minutes / step))
        part = PlannedSpell(spell.stroke, spell.minutes / parts)
        for _ in range(parts):
            state = engine.after(state, part)
            minutes.append(minutes[-1] + part.minutes)
            heights.append(state.height)
    return np.array(minutes), np.array([gauge.error(height) for height in heights])


def _numbers(errors: Floats, gauge: FigureGauge) -> tuple[Floats, Floats]:
    """RMS and edge roll of figure errors (m, n), each (m,) [m]."""
    rms, roll = (np.array([take(error) for error in errors]) for take in (gauge.aperture.rms, gauge.edge_roll))
    return rms, roll
