"""What the sessions say of the hands' spread: one factor on both of the bench's jitters.

The constants are found first, with the spread as the bench states it. About them everything is taken as linear: the misses
of all sessions in one row answer to the constants, to the removal's factor in each session, and to a change of the glass
after a session, which goes on into the sessions behind it as the filter carries it. What a spread does to the glass
is walked with the planar engine (wearsim.learn.jitter_effect), and so is what chance leaves. The row is then normal for
every factor, constants and session factors averaged over with their priors, so that nothing is counted twice.

Left out: how another spread wears the pitch that the next session begins on, and how the effect itself goes with the
constants. The discrepancy holds some of the chance of the bench's own spread already; it is counted again.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.linalg import block_diag, cho_factor, cho_solve
from scipy.special import logsumexp

from wearsim.kernels.arrays import Floats
from wearsim.learn.chain import Chain, Frame, Step
from wearsim.learn.inference import Progress
from wearsim.learn.jitter_effect import MOST_STROKES, Effect, effect_of, strokes_of
from wearsim.learn.posterior import PARTLY, constants_at, told_word
from wearsim.wear.constants import Belief

FACTOR = 2.0
"""One-sigma factor within which the bench's spread of the hands is believed [1]. A judgement."""
LEAST, MOST = 0.25, 8.0
"""Factors that are looked at."""
PER_OCTAVE = 8
"""Of them, evenly by their logarithm."""
BETTER = (2.0, 5.0, 10.0, 30.0, 100.0)
"""How many times better readings are tried, where these do not tell."""
STEP = 0.05
"""Of a constant in a difference, in sigmas of its prior [1]."""
NODES = ((-(3.0**0.5), 1.0 / 6.0), (0.0, 2.0 / 3.0), (3.0**0.5, 1.0 / 6.0))
"""Three places that stand for a normal distribution, and their weights."""


@dataclass(frozen=True, eq=False)
class Jitter:
    """What is known of the hands' spread.

    Parameters
    ----------
    factors, weights : (k,) ndarray
        Factors on the bench's spread and how likely each is, the sum 1; no factors where nothing could be asked.
    share : float
        Spread of the factor's logarithm now over that of the prior [1].
    used : float
        Factor that the constants were found with, and that predictions use [1].
    better : float or None
        So many times better readings would tell it at least partly, had the hands the spread of the bench; None where
        not even a hundred times better ones would, or where these do.
    asked : tuple of int
        Sessions that speak of it.
    left_out : mapping of int to str
        Sessions that do not, and why.
    """

    factors: Floats
    weights: Floats
    share: float
    used: float
    better: float | None
    asked: tuple[int, ...]
    left_out: dict[int, str]

    @property
    def told(self) -> str:
        """Whether the sessions tell it: "told", "partly" or "prior"."""
        return told_word(self.share)

    @property
    def factor(self) -> float:
        """In the middle of the posterior: exponential of the logarithm's mean [1]."""
        return float(np.exp(self.weights @ np.log(self.factors))) if self.factors.size else 1.0

    def interval(self, level: float = 0.9) -> tuple[float, float]:
        """Central interval of the factor on the hands' spread.

        Parameters
        ----------
        level : float
            Share of the posterior inside it [1].

        Returns
        -------
        low : float
            [1]
        high : float
            [1]
        """
        if not self.factors.size:
            factor = float(FACTOR**1.6448536)
            return 1.0 / factor, factor
        total = np.cumsum(self.weights) - 0.5 * self.weights
        ends = np.interp([0.5 - 0.5 * level, 0.5 + 0.5 * level], total, np.log(self.factors))
        return float(np.exp(ends[0])), float(np.exp(ends[1]))

    def to_json(self) -> dict[str, Any]:
        """Plain floats, as part of what ``calibrate --json`` gives.

        Returns
        -------
        dict
            Factors on what the bench states [1].
        """
        return {
            "factor": self.factor, "interval_90": list(self.interval()), "told": self.told,
            "spread_of_prior": self.share, "used": self.used, "better_readings": self.better,
            "sessions": list(self.asked), "left_out": {str(n): why for n, why in self.left_out.items()},
        }  # fmt: skip


@dataclass(frozen=True, eq=False)
class Row:
    """The misses of all sessions in one row (P,), linear about one set of constants.

    Parameters
    ----------
    miss : (P,) ndarray
        Observed less expected, the constants put back to the middle of their prior.
    spread : (P, P) ndarray
        Covariance: readings, glass and discrepancy, session factors of spread ``at_spread``, and the constants' prior.
    carried : mapping of int to (P, n) ndarray
        From a change of the glass after a session, by its number, to the row.
    factors : (P, P) ndarray
        Part of the covariance that goes with the square of the spread from session to session.
    at_spread : float
        [1]
    """

    miss: Floats
    spread: Floats
    carried: dict[int, Floats]
    factors: Floats
    at_spread: float

    def log_likelihood(self, effects: dict[int, Effect], factor: float, at: float, spread: float) -> float:
        """Of the row, with this factor on the hands' spread and this spread from session to session [1]."""
        miss, covariance = self.miss, self.spread + (spread**2 - self.at_spread**2) * self.factors
        for number, effect in effects.items():
            carried = self.carried[number]
            miss = miss - carried @ effect.change(factor, at)
            covariance = covariance + carried @ effect.covariance(factor, at) @ carried.T
        chi_square = float(miss @ cho_solve(cho_factor(covariance), miss))
        return -0.5 * (chi_square + float(np.linalg.slogdet(covariance)[1]))


def row_of(chain: Chain, before: Belief, logs: Floats, misfits: frozenset[int], frames: tuple[Frame, ...]) -> Row:
    """The chain's misses as one row.

    Parameters
    ----------
    chain : Chain
    before : Belief
        Prior of the constants.
    logs : (4,) ndarray
        Where it is linearised [1].
    misfits : frozenset of int
        Sessions whose record is not believed.
    frames : tuple of Frame
        Each session linearised there.
    """
    spread = chain.discrepancy.spread

    def follow(at: Floats) -> tuple[Step, ...]:
        return chain.follow(constants_at(at), spread, frames, misfits)

    def stacked(at: Floats) -> Floats:
        return np.concatenate([step.miss for step in follow(at)])

    steps = follow(logs)
    values, vectors = np.linalg.eigh(before.covariance)
    axes = (vectors * np.sqrt(np.clip(values, 0.0, None)))[:, values > 1e-12]
    answers = [(stacked(logs + STEP * axis) - stacked(logs - STEP * axis)) / (2.0 * STEP) for axis in axes.T]
    gradient = np.array(answers).T if answers else np.zeros((sum(s.miss.size for s in steps), 0))
    place = np.linalg.pinv(axes) @ (logs - before.mean) if answers else np.zeros(0)
    carried = {
        link.number: _carried(chain, steps, frames, at)
        for at, link in enumerate(chain.links) if link.number not in misfits
    }  # fmt: skip
    moved = [carried[link.number] @ frame.response for link, frame in zip(chain.links, frames, strict=True)
             if link.number in carried]  # fmt: skip
    factors = np.zeros((gradient.shape[0],) * 2) + sum(np.outer(one, one) for one in moved)
    miss = np.concatenate([step.miss for step in steps]) - gradient @ place
    total = block_diag(*(step.spread for step in steps)) + gradient @ gradient.T
    return Row(miss, total, carried, factors, spread)


def _carried(chain: Chain, steps: tuple[Step, ...], frames: tuple[Frame, ...], first: int) -> Floats:
    """From a change of the glass after session ``first`` (by place) to the misses of all, shape (P, n) [1]."""
    size = steps[0].predicted.size
    rows, change = [], np.eye(size)
    for place, (link, step, frame) in enumerate(zip(chain.links, steps, frames, strict=True)):
        if place < first:
            rows.append(np.zeros((step.miss.size, size)))
            continue
        change = frame.carrier @ change if place > first else change
        seen = link.observation.matrix @ change
        rows.append(seen)
        change = change - step.gain @ seen
    return np.vstack(rows)


def grid(largest: float = MOST, least: float = LEAST) -> tuple[Floats, Floats]:
    """Factors on the hands' spread and their prior weights, each (k,) [1]."""
    count = 1 + round(PER_OCTAVE * np.log2(MOST / LEAST))
    factors = np.geomspace(LEAST, MOST, count)
    factors = factors[(factors <= largest * (1.0 + 1e-9)) & (factors >= least * (1.0 - 1e-9))]
    weights = np.exp(-0.5 * (np.log(factors) / np.log(FACTOR)) ** 2)
    return factors, weights / weights.sum()


def _weighed(row: Row, effects: dict[int, Effect], at: float, chain: Chain, largest: float) -> tuple[Floats, Floats]:
    """Factors and how likely each is, the spread from session to session averaged over."""
    factors, prior = grid(largest)
    belief = chain.discrepancy
    spreads = [belief.spread * belief.spread_factor**node for node, _ in NODES]
    told = [[row.log_likelihood(effects, float(factor), at, spread) for spread in spreads] for factor in factors]
    logs = logsumexp(np.array(told) + np.log([weight for _, weight in NODES]), axis=1) + np.log(prior)
    return factors, np.exp(logs - logsumexp(logs))


def _width(factors: Floats, weights: Floats) -> float:
    """Standard deviation of the factor's logarithm [1]."""
    logs = np.log(factors)
    return float(np.sqrt(weights @ (logs - weights @ logs) ** 2))


def jitter_of(
    chain: Chain, before: Belief, logs: Floats, misfits: frozenset[int] = frozenset(), *, at: float = 1.0,
    seed: int = 0, progress: Progress | None = None,
) -> Jitter:  # fmt: skip
    """What the sessions of a chain say of the hands' spread.

    Parameters
    ----------
    chain : Chain
    before : Belief
        Prior of the constants.
    logs : (4,) ndarray
        The most likely logarithms of the constants [1].
    misfits : frozenset of int
        Sessions whose record is not believed.
    at : float
        Factor on the bench's spread that the chain's benches have in them already [1].
    seed : int
        Of the strokes.
    progress : callable, optional
    """
    spread, constants = chain.discrepancy.spread, constants_at(logs)
    frames = chain.frames(constants, chain.follow(constants, spread, None, misfits))
    begun = chain.begun(chain.follow(constants, spread, frames, misfits))
    effects, left_out = {}, {}
    for link, state in zip(chain.links, begun, strict=True):
        if link.number in misfits:
            left_out[link.number] = "its record does not fit"
        elif not link.bench.hands.vary:
            left_out[link.number] = "the bench states hands without any spread"
        elif strokes_of(link.programme) > MOST_STROKES:
            left_out[link.number] = f"more than {MOST_STROKES} strokes"
        else:
            if progress is not None:
                progress(f"session {link.number} with other hands")
            effect = effect_of(link, state, constants, at, seed)
            if effect is None:
                left_out[link.number] = "a wider spread would have tipped the top piece off"
            else:
                effects[link.number] = effect
    if not effects:
        return Jitter(np.zeros(0), np.zeros(0), 1.0, at, None, (), left_out)
    largest = max(at, min(_widest(chain, at), *(effect.largest for effect in effects.values())))
    row = row_of(chain, before, logs, misfits, frames)
    factors, weights = _weighed(row, effects, at, chain, largest)
    share = _width(factors, weights) / _width(*grid(largest))
    found = Jitter(factors, weights, share, at, None, tuple(effects), left_out)
    if found.told != "prior":
        return found

    def would_tell(times: float) -> bool:
        better = row_of(_read_better(chain, times), before, logs, misfits, frames)
        expected = replace(better, miss=np.zeros_like(better.miss))
        width = _width(*_weighed(expected, effects, at, chain, largest))
        return width < PARTLY * _width(*grid(largest))

    return replace(found, better=next((times for times in BETTER if would_tell(times)), None))


def _widest(chain: Chain, at: float) -> float:
    """Factor with which the length's jitter is 1, the most that a bench may say [1]."""
    stated = max(link.bench.hands.length_jitter for link in chain.links) / at
    return 1.0 / stated if stated > 0.0 else MOST


def _read_better(chain: Chain, times: float) -> Chain:
    """The same sessions, every measurement so many times better."""
    first = replace(chain.first, root=chain.first.root / times)
    links = tuple(
        replace(link, observation=replace(link.observation, covariance=link.observation.covariance / times**2))
        for link in chain.links
    )
    return replace(chain, first=first, links=links)
