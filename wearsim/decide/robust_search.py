"""The search over strokes that hands do: the best of every number of spells and choice of pieces, in every scenario.

A response is the coupled engine's removal of one stroke from the present state, per minute, averaged over a spell of some
length, in every scenario at once: the responses of all scenarios lie one under the other, so that a mix of few strokes
that is best by its responses is best for everything uncertain together, the effect of one spell on the next left out. The
best mixes are worked by the coupled engine in every scenario, their minutes brought down by least squares, and taken to the
best programme of whole steps near them.

Every number of spells and every choice of pieces on top is looked into by itself, and so are fewer minutes than are
allowed. Whoever may do more has all of that to choose from: to allow more never makes the best worse.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import compress, permutations

import numpy as np
from numpy.typing import NDArray

from wearsim.bench.units import counted
from wearsim.decide.choice import is_workable
from wearsim.decide.coarse_engine import Plan, PlannedSpell, chunks, without_pressings, work_of
from wearsim.decide.least_squares import Candidate, Refiner, cost_of, distinct_programmes
from wearsim.decide.limits import COMMON, USUAL_SHORTEST, Limits
from wearsim.decide.objective import Objective, Scenario
from wearsim.decide.repertoire import LOOKED_AT, Gentle
from wearsim.decide.response_search import PASSES, SearchProgress, Subsets
from wearsim.decide.rounding import Rounder
from wearsim.decide.stroke_library import StrokeSpec
from wearsim.errors import ContactError
from wearsim.kernels.arrays import Floats
from wearsim.parallel import in_threads
from wearsim.wear.state import State

# Spell lengths over which responses are averaged [min].
SPELL_LENGTHS = (6.0, 15.0, 40.0)
# Single spells of more are tried one after the other [min].
TOO_LONG = 80.0
# Two of them take this share of their minutes [1]; so many second ones are kept with every first.
PART, SECONDS = 0.6, 2
# Minutes that single spells are tried for, where they may be long [min].
LONG = (40.0, 80.0, 160.0, 320.0)
# So many of those are worked in every scenario.
LONG_WORKED = 8
# Mixes of so many spells that are worked, of each choice of pieces, and those of them that are refined.
WORKED = {1: 6, 2: 5, 3: 4}
REFINED = {1: 3, 2: 2, 3: 1}
MOST_SPELLS = 3
# Evaluations of the residuals while minutes are brought down; rounds of whole steps.
STEPS, ROUNDS = 4, 3
# They may grow by this factor then [1].
ROOM = 2.0
# Mixes of one more spell are refined where they come so near to the best of fewer, unrefined.
PROMISING = 1.1
# The second of two spells is looked for again where they cost no more than this share of the best single one [1].
WORTH_A_LOOK = 0.95
# Mixes of several spells are refined where they come so near to the best of their kind, unrefined [1].
NEAR_BEST = 1.05
# Minutes are looked into by halves down to this [min].
LEAST_MINUTES = 10.0
# At most so many candidates are worked at once, whatever the number of cores.
BATCH = 8

Kind = tuple[int, tuple[str, ...]]
"""Number of spells, and the pieces that lie on top in them."""


@dataclass
class Found:
    """What a search has found.

    Parameters
    ----------
    best : dict
        Of every number of spells and choice of pieces the best programmes of whole steps.
    met : list of Candidate
        Every programme that was scored.
    """

    best: dict[Kind, list[Candidate]] = field(default_factory=dict)
    met: list[Candidate] = field(default_factory=list)

    @property
    def all(self) -> list[Candidate]:
        """The best of every kind that can be worked, cheapest first."""
        return sorted((one for those in self.best.values() for one in those), key=cost_of)


class RobustSearch:
    """Searches programmes of up to three spells of the strokes of a list, in every scenario.

    Parameters
    ----------
    refiner : Refiner
        Scores programmes in every scenario.
    strokes : tuple of StrokeSpec
        The first look; sizes between them are found from there.
    step : float
        Of sizes, in diameters [1].
    progress : callable, optional
    slack : float
        Factor by which strokes may press or lift off more than they should [1].
    refined : mapping of int to int
        How many mixes of so many spells are refined, of each choice of pieces.
    """

    def __init__(
        self,
        refiner: Refiner,
        strokes: tuple[StrokeSpec, ...],
        step: float,
        progress: SearchProgress | None = None,
        slack: float = 1.0,
        refined: Mapping[int, int] = REFINED,
    ) -> None:
        self.refiner, self.step, self.progress, self.most_refined = refiner, step, progress, refined
        self._report("strokes one by one", refiner.objective.rms_before)
        self.gentle = Gentle(refiner.nominal, refiner.objective.start, strokes, slack)
        self.strokes, self.among = strokes, frozenset[StrokeSpec]()
        self.columns, self.spells = self._responses(tuple(filter(self.gentle.allows_from_start, strokes)))

    def rougher(self, slack: float) -> RobustSearch | None:
        """A search for programmes with a stroke that is rougher than this one allows; None where there is none."""
        other = copy(self)
        other.gentle = self.gentle.with_slack(slack)
        more = [one for one in self.strokes if not self.gentle.allows_from_start(one)]
        columns, spells = self._responses(tuple(filter(other.gentle.allows_from_start, more)))
        if not spells:
            return None
        other.columns = np.concatenate([self.columns, columns]) if self.spells else columns
        other.spells, other.among = [*self.spells, *spells], frozenset(spells)
        return other

    def _responses(self, strokes: tuple[StrokeSpec, ...], after: Plan = ()) -> tuple[Floats, list[StrokeSpec]]:
        """Columns of removal per minute (N, q) in all scenarios, a few for every stroke, and the stroke of each.

        From the present state, or after the spells given.
        """
        refiner = self.refiner
        kept: list[tuple[StrokeSpec, Floats]] = []
        starts = [engine.states(refiner.objective.start, after)[-1] for engine in refiner.engines]
        for first in range(min(PASSES, len(strokes))):
            if kept and refiner.clock.is_over:
                break
            batch = strokes[first::PASSES]
            found = in_threads(lambda one: _response(refiner, one, starts), batch)
            kept += [(stroke, rows) for stroke, rows in zip(batch, found, strict=True) if rows is not None]
        if not kept:
            return np.empty((0, 0)), []
        return np.concatenate([rows for _, rows in kept]), [stroke for stroke, rows in kept for _ in rows]

    def run(
        self,
        objective: Objective | None = None,
        most: Callable[[tuple[str, ...]], float] = lambda _: np.inf,
        known: Sequence[Candidate] = (),
    ) -> Found:
        """Look into every number of spells and choice of pieces that the limits of an objective allow, for programmes that
        promise to cost no more than ``most`` says of these pieces on top [m]; those ``known`` are among what is found, where
        they keep the limits."""
        found = Found()
        if not self.spells:
            return found
        refiner = self.refiner if objective is None else self.refiner.on(objective)
        limits = refiner.objective.limits
        for one in known:
            if work_of(one.plan) <= limits.minutes and all(s.stroke.on_top in limits.pieces for s in one.plan):
                kind = len(one.plan), tuple(dict.fromkeys(s.stroke.on_top for s in one.plan))
                found.best.setdefault(kind, []).append(one)
        target = _stacked(refiner, [refiner.objective.error] * len(refiner.cases))
        what = self._what(limits)
        for count in range(1, min(limits.spells, MOST_SPELLS) + 1):
            fewer = min(map(cost_of, found.all), default=np.inf)
            for pieces in choices_of_pieces(limits.pieces, count):
                least = min(fewer, most(pieces) / PROMISING)
                if found.best and refiner.clock.is_over:
                    return found
                best = min((one.score.expected_rms for one in found.all), default=refiner.objective.rms_before)
                self._report(f"{counted(count, 'spell')}, {' and '.join(pieces)} on top{what}", best)
                self._look_into(refiner, target, (count, pieces), least, found)
        return found

    def _what(self, limits: Limits) -> str:
        """What sets this round apart from the first, for whoever waits."""
        if limits.repertoire != COMMON:
            return ", any stroke"
        rougher = ", rougher strokes" if self.among else ""
        return f"{rougher}, short spells" if limits.shortest < USUAL_SHORTEST else rougher

    def _report(self, stage: str, best: float) -> None:
        if self.progress is not None:
            self.progress(stage, best)

    def _look_into(self, refiner: Refiner, target: Floats, kind: Kind, least: float, found: Found) -> None:
        long = self._long(refiner, found, kind)
        done = self._worked(refiner, [long], kind, least, found, kind[0]) if long else []
        mixes = self._mixes(refiner, target, kind, least)
        done += self._worked(refiner, mixes, kind, least, found, 1 if long else self.most_refined[kind[0]])
        done.sort(key=cost_of)
        is_common = refiner.objective.limits.repertoire == COMMON  # there are too many of all
        if (
            kind[0] == 2
            and is_common
            and not long
            and done
            and done[0].score.cost <= WORTH_A_LOOK * least
            and not refiner.clock.is_over
        ):
            *begun, last = done[0].plan
            plans = self._continued(refiner, tuple(begun), last.stroke.on_top)
            done += self._worked(refiner, [plans], kind, done[0].score.cost, found, self.most_refined[kind[0]])
        if done:
            found.best[kind] = sorted([*found.best.get(kind, ()), *done], key=cost_of)

    def _worked(
        self, refiner: Refiner, sets: Iterable[list[Plan]], kind: Kind, least: float, found: Found, count_refined: int
    ) -> list[Candidate]:
        """The best of programmes that promise enough, so many refined, and those of them that can be worked.

        Of several sets, one after the other for fewer minutes, as many are refined as if the later ones were all: whoever
        is allowed more minutes has what fewer would give.
        """
        count, levels = kind[0], list(sets)
        plans = dict.fromkeys(plan for level in levels for plan in level)
        worked = [one for one in in_threads(refiner.attempt, list(plans)) if one is not None]
        found.met += worked
        promising = sorted((one for one in worked if one.score.cost <= PROMISING * least), key=cost_of)
        workable = {one.plan for one in promising if is_workable(refiner, self.gentle, one)}
        near = list[Candidate]()
        for place in range(len(levels)):
            fewer = {plan for level in levels[place:] for plan in level}
            able = [one for one in promising if one.plan in fewer & workable]
            best = distinct_programmes(able or [one for one in promising if one.plan in fewer], count_refined)
            near += [one for one in best if count == 1 or one.score.cost <= NEAR_BEST * best[0].score.cost]
        near = list({one.plan: one for one in near}.values())
        done: list[Candidate] = []
        for batch in chunks(near, BATCH):
            done += in_threads(lambda one: self.refined(refiner, one), batch)
        fit = (one for one in done if len(without_pressings(one.plan)) == count)
        done = sorted((one for one in fit if is_workable(refiner, self.gentle, one)), key=cost_of)
        found.met += done
        return done

    def _continued(self, refiner: Refiner, begun: Plan, on_top: str) -> list[Plan]:
        """A programme that is begun with one more spell, this piece on top, by the responses after what is begun."""
        state = refiner.nominal.states(refiner.objective.start, begun)[-1]
        strokes = [one for one in self.strokes if one.on_top == on_top]
        gentle = in_threads(lambda one: self.gentle.allows(state, PlannedSpell(one, LOOKED_AT)), strokes)
        columns, spells = self._responses(tuple(compress(strokes, gentle)), begun)
        if not spells:
            return []
        objective, start = refiner.objective, refiner.objective.start
        worn = [start.height - engine.states(start, begun)[-1].height for engine in refiner.engines]
        target = _stacked(refiner, [objective.error - one for one in worn])
        left = objective.limits.minutes - sum(one.work for one in begun)
        mixes = Subsets(columns, target, objective.limits.spread, left, _groups(spells)).best(1, WORKED[2])
        return [(*begun, PlannedSpell(spells[mix.columns[0]], mix.minutes[0])) for mix in mixes if mix.minutes[0] > 0.5]

    def _long(self, refiner: Refiner, found: Found, kind: Kind) -> list[Plan]:
        """Programmes of spells too long for the responses to say what they do, cheapest first in a few scenarios."""
        if refiner.objective.limits.repertoire != COMMON or kind[0] != len(kind[1]):
            return []
        few = _few_scenarios(refiner)
        spells = [self._long_spells(few, top) for top in kind[1]]
        plans = list[Plan]()
        if kind[0] == 1 and spells[0] and spells[0][0].minutes > LONG[0]:
            plans += [(one,) for one in spells[0] if self._is_asked((one,))][:LONG_WORKED]
        elif kind[0] == 2 and all(spells) and max(one[0].minutes for one in spells) > TOO_LONG:
            best = [[one.plan[-1] for one in found.best.get((1, (top,)), ())[:1]] for top in kind[1]]
            both = [refined + tried for refined, tried in zip(best, spells, strict=True)]
            plans += [*self._pairs(few, *both), *self._pairs(few, *both[::-1])]
        refiner.count(few.evaluations)
        return plans

    def _pairs(self, few: Refiner, begun: list[PlannedSpell], ended: list[PlannedSpell]) -> list[Plan]:
        """Pairs of long spells, cheapest first: every second to the best first, then every first to the best of those."""
        seconds = _cheapest(few, (_shared((begun[0], one), few) for one in ended))
        best = {one.plan[-1].stroke for one in seconds[:SECONDS]}
        pairs = [_shared((one, other), few) for other in ended if other.stroke in best for one in begun]
        return [one.plan for one in _cheapest(few, filter(self._is_asked, pairs))[: LONG_WORKED // 2]]

    def _long_spells(self, few: Refiner, on_top: str) -> list[PlannedSpell]:
        """Every gentle stroke with this piece on top in the cheapest of the lengths that are tried, cheapest first."""
        strokes = [one for one in self.strokes if one.on_top == on_top and self.gentle.allows_from_start(one)]
        lengths = [one for one in LONG if one <= few.objective.limits.minutes]
        by_stroke: dict[StrokeSpec, PlannedSpell] = {}
        for one in _cheapest(few, ((PlannedSpell(one, m),) for one in strokes for m in lengths)):
            by_stroke.setdefault(one.plan[0].stroke, one.plan[0])
        return list(by_stroke.values())

    def _is_asked(self, plan: Plan) -> bool:
        """Whether a programme has one of the strokes that this search is for."""
        return not self.among or any(one.stroke in self.among for one in plan)

    def _mixes(self, refiner: Refiner, target: Floats, kind: Kind, least: float) -> Iterable[list[Plan]]:
        """The best programmes by their responses that promise enough, in their orders: of all the minutes, then of fewer."""
        count, pieces = kind
        rows = np.flatnonzero([stroke.on_top in pieces for stroke in self.spells])
        strokes = [self.spells[row] for row in rows]
        group = _groups(strokes)
        piece = np.array([pieces.index(one.on_top) for one in strokes])
        minutes = refiner.objective.limits.minutes
        while True:
            plans = list[Plan]()
            subsets = Subsets(self.columns[rows], target, refiner.objective.limits.spread, minutes, group)
            for mix in subsets.best(count, WORKED[count], piece if len(pieces) > 1 else None):
                spells = [PlannedSpell(strokes[c], m) for c, m in zip(mix.columns, mix.minutes, strict=True) if m > 0.5]
                if len(spells) == count and self._is_asked(tuple(spells)) and mix.squares <= (PROMISING * least) ** 2:
                    plans += permutations(spells) if count < MOST_SPELLS else (tuple(spells), tuple(spells[::-1]))
            yield plans
            minutes *= 0.5
            if minutes < LEAST_MINUTES:
                return

    def refined(self, refiner: Refiner, one: Candidate, only_minutes: bool = False) -> Candidate:
        """The best programme near one of whole minutes and steps that can be worked; or of whole minutes, whatever it is."""
        try:
            limits = refiner.objective.limits  # the same way, whatever is allowed beyond what is in reach
            near = replace(limits, minutes=min(limits.minutes, max(limits.shortest, ROOM * work_of(one.plan))))
            better = refiner.on(refiner.objective.limited(near)).improve(one.plan, steps=STEPS, free="minutes")
            can_be_worked = (lambda _: True) if only_minutes else partial(is_workable, refiner, self.gentle)
            rounder = Rounder(refiner, self.step, can_be_worked)
            done = rounder.best_near(better.plan, rounds=ROUNDS, sizes_too=not only_minutes)
            return tidied(refiner, done)
        except ContactError:  # in a scenario of hands that go farther than is meant
            return one


def choices_of_pieces(pieces: tuple[str, ...], count: int = MOST_SPELLS) -> list[tuple[str, ...]]:
    """Each piece alone, and both where there are two spells or more."""
    return [*((one,) for one in pieces), *([tuple(pieces)] if len(pieces) > 1 and count > 1 else [])]


def pieces_of(one: Candidate) -> set[str]:
    """The pieces on top in a programme."""
    return {spell.stroke.on_top for spell in without_pressings(one.plan)}


def of_pieces(found: Iterable[Candidate], pieces: Iterable[str]) -> list[Candidate]:
    """Those with no other piece on top: what a search would have found to which the others are not allowed."""
    return [one for one in found if pieces_of(one) <= set(pieces)]


def _cheapest(few: Refiner, plans: Iterable[Plan]) -> list[Candidate]:
    """Those of the programmes whose contact is solved, cheapest first."""
    return sorted((one for one in in_threads(few.attempt, list(plans)) if one is not None), key=cost_of)


def _shared(pair: Plan, refiner: Refiner) -> Plan:
    """Two spells in a share of the minutes that each would take alone, no more than are allowed in all."""
    share = min(PART, refiner.objective.limits.minutes / work_of(pair))
    return tuple(replace(one, minutes=share * one.minutes) for one in pair)


def _few_scenarios(refiner: Refiner) -> Refiner:
    """With the most likely constants, and those of the scenarios in which glass wears slowest and fastest."""
    pairs = sorted(zip(refiner.cases, refiner.engines, strict=True), key=lambda pair: pair[0].constants.preston)
    kept = [
        (Scenario(refiner.nominal.constants, 1.0), refiner.nominal),
        *(pairs[:: len(pairs) - 1] if len(pairs) > 1 else []),
    ]
    cases = tuple(replace(case, weight=1.0 / len(kept)) for case, _ in kept)
    return Refiner(refiner.objective, [one for _, one in kept], cases, refiner.nominal, refiner.clock)


def _groups(strokes: list[StrokeSpec]) -> NDArray[np.int_]:
    """Which columns (N,) are of one stroke."""
    return np.asarray(np.unique([strokes.index(one) for one in strokes], return_inverse=True)[1])


def _stacked(refiner: Refiner, errors: list[Floats]) -> Floats:
    """Figure errors in all scenarios (n,) each in rows whose norm is what the objective makes small [m]."""
    objective = refiner.objective
    root = np.vstack([objective.root, objective.ripple])
    return np.concatenate(
        [np.sqrt(case.weight) * (root @ one) for case, one in zip(refiner.cases, errors, strict=True)]
    )


def _response(refiner: Refiner, stroke: StrokeSpec, starts: list[State]) -> Floats | None:
    """Removal per minute of a stroke from a state of every scenario, over each of SPELL_LENGTHS; None where its contact is
    not solved."""
    states, done, rows = starts, 0.0, []
    try:
        for minutes in SPELL_LENGTHS:
            spell = PlannedSpell(stroke, minutes - done)
            states = [engine.after(state, spell) for engine, state in zip(refiner.engines, states, strict=True)]
            done = minutes
            worn = [before.height - state.height for before, state in zip(starts, states, strict=True)]
            rows.append(_stacked(refiner, worn) / minutes)
    except ContactError:
        return None
    return np.array(rows)


def tidied(refiner: Refiner, one: Candidate) -> Candidate:
    """The programme with its longer spells in fives of minutes, where that costs next to nothing."""
    best = one
    for place, spell in enumerate(one.plan):
        if spell.minutes <= ROUND_FROM or spell.stroke.is_press:
            continue
        tried = [
            refiner.attempt((*best.plan[:place], PlannedSpell(spell.stroke, minutes), *best.plan[place + 1 :]))
            for minutes in {5.0 * np.floor(spell.minutes / 5.0), 5.0 * np.ceil(spell.minutes / 5.0)}
        ]
        limit = refiner.objective.limits.minutes
        fit = [t for t in tried if t is not None and sum(s.work for s in t.plan) <= limit]
        nearest = min(fit, key=cost_of, default=best)
        if nearest.score.cost <= TIDY_COST * best.score.cost:
            best = nearest
    return best


# Minutes above this go in fives, where the cost grows by no more than this factor.
ROUND_FROM, TIDY_COST = 12.0, 1.01
