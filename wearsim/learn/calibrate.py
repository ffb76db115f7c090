"""From a mirror's folder to what is known of hands and pitch."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.special import chdtrc

from wearsim.bench.bench import Bench
from wearsim.errors import CouldNotError
from wearsim.learn.chain import LEARNING, Chain, Link, Step
from wearsim.learn.discrepancy import Discrepancy
from wearsim.learn.folder import MirrorFolder
from wearsim.learn.jitter import Jitter, jitter_of
from wearsim.learn.measured import measured_figure, observe
from wearsim.learn.posterior import Inference, Posterior, Progress, told_word
from wearsim.learn.session import Session
from wearsim.wear.accuracy import Accuracy
from wearsim.wear.constants import NAMES, Belief, normal_draws, prior
from wearsim.wear.grid import Array

DRAWS = 128
"""Weighed draws of the posterior; docs/learning.md says what more of them would change."""
SUSPECT = 0.01
"""A session this unlikely is looked at twice [1]."""
AGAIN = 2
"""Times at most that the constants are found anew with other hands."""
NEAR = 0.15
"""Hands are the same where the logarithm of their spread differs by less [1]."""
RARE = 0.02
"""Share of sessions whose record is wrong: one in fifty. A judgement."""


@dataclass(frozen=True, eq=False)
class SessionFit:
    """How one session fits the others and the prior.

    Parameters
    ----------
    number : int
    chi_square : float
        Squared miss in its own spread, its record believed [1]. Of a session that is set aside: by how much less all
        the others and the prior are missed without it, for with it the constants are bent to it and the miss is
        spread over all.
    compared : int
        Numbers compared: what ``chi_square`` is about where all is well.
    chance : float
        Of a chi-square this large or larger [1].
    fits : bool
        Whether its record is believed.
    removal : float
        RMS of the removal's shape, as the engine has it [m].
    """

    number: int
    chi_square: float
    compared: int
    chance: float
    fits: bool
    removal: float

    @property
    def is_doubtful(self) -> bool:
        """Whether it misses by more than chance explains although no session could be named as the wrong one."""
        return self.fits and self.chance < SUSPECT

    def to_json(self) -> dict[str, Any]:
        """Plain numbers, as part of what ``calibrate --json`` gives.

        Returns
        -------
        dict
            One entry an attribute, and whether the session is doubtful.
        """
        return {
            "number": self.number, "chi_square": self.chi_square, "compared": self.compared, "chance": self.chance,
            "fits": self.fits, "doubtful": self.is_doubtful,
            "removal_shape_rms_m": self.removal,
        }  # fmt: skip


@dataclass(frozen=True, eq=False)
class Calibration:
    """What a folder says of the constants.

    Parameters
    ----------
    prior : Belief
        Before any session, from the bench.
    posterior : Posterior
    sessions : tuple of SessionFit
    steps : tuple of Step
        The mirror followed with the constants in the middle of the posterior.
    jitter : Jitter, optional
        Of the hands' spread, where that was asked.
    """

    prior: Belief
    posterior: Posterior
    sessions: tuple[SessionFit, ...]
    steps: tuple[Step, ...]
    jitter: Jitter | None = None

    @property
    def belief(self) -> Belief:
        """Of the constants, sessions taken in."""
        return self.posterior.belief

    @property
    def for_next_session(self) -> Belief:
        """Of the constants in a session to come: the spread from session to session on top of the removal's."""
        return with_session_spread(self.belief, self.posterior.spread)

    @property
    def shares(self) -> dict[str, float]:
        """Spread of each constant's logarithm now over that of the prior; 1 where it was known exactly [1]."""
        before = np.sqrt(np.diagonal(self.prior.covariance))
        now = np.sqrt(np.diagonal(self.belief.covariance))
        shares = np.divide(now, before, out=np.ones_like(now), where=before > 0.0)
        return dict(zip(NAMES, (float(share) for share in shares), strict=True))

    def told(self, name: str) -> str:
        """Whether the data tell a constant.

        Parameters
        ----------
        name : str
            One of :data:`wearsim.wear.constants.NAMES`.

        Returns
        -------
        {"told", "partly", "prior", "known"}
            "prior": the data say no more than the bench did; "known": stated as exact.
        """
        if self.prior.covariance[NAMES.index(name), NAMES.index(name)] == 0.0:
            return "known"
        return told_word(self.shares[name])

    def to_json(self, bench: Bench, jitter: float = 1.0) -> dict[str, Any]:
        """One object for ``--json``: plain lists and floats, SI units in the key names.

        Parameters
        ----------
        bench : Bench
            That of the folder.
        jitter : float
            Factor on the spread of its hands, where it was not asked for here [1].

        Returns
        -------
        dict
            The constants with their 90 % intervals, and every session's fit.
        """
        low, high = np.exp(self.posterior.interval())
        middle = np.exp(self.belief.mean)
        constants = {}
        for i, name in enumerate(NAMES):
            stated, unit = stated_constant(bench, name)
            constants[f"{name}{unit}"] = {
                "stated": stated, "now": stated * float(middle[i]), "told": self.told(name),
                "interval_90": [stated * float(low[i]), stated * float(high[i])],
                "spread_of_prior": self.shares[name],
            }  # fmt: skip
        return {
            "constants": constants,
            "session_spread": self.posterior.spread,
            "log_mean": self.belief.mean.tolist(),
            "log_covariance": self.belief.covariance.tolist(),
            "effective_draws": self.posterior.effective,
            "sessions": [session.to_json() for session in self.sessions],
            "jitter": {"used": jitter, "asked": False}
            if self.jitter is None
            else {"asked": True, **self.jitter.to_json()},
        }

    @property
    def misfits(self) -> tuple[int, ...]:
        """Numbers of the sessions whose record does not fit."""
        return tuple(session.number for session in self.sessions if not session.fits)


def stated_constant(bench: Bench, name: str) -> tuple[float, str]:
    """A constant as the bench states it, SI, of the first lap; and its unit as the end of a key."""
    lap = bench.laps[0]
    stated = {
        "preston": (bench.preston, "_per_pa"),
        "stiffness": (lap.stiffness, "_pa_per_m"),
        "relaxation_time": (lap.relaxation_time, "_s"),
        "edge_gain": (bench.wear.edge_gain, ""),
    }
    return stated[name]


def with_session_spread(belief: Belief, spread: float) -> Belief:
    """A belief with the session-to-session spread [1] added to that of the removal."""
    covariance = belief.covariance.copy()
    covariance[0, 0] += spread**2
    if belief.points is None:
        return Belief(belief.mean, covariance)
    points = belief.points.copy()
    points[:, 0] += spread * normal_draws(len(points), 1, seed=0)[:, 0]
    return Belief(belief.mean, covariance, points)


def chain_of(
    folder: MirrorFolder, accuracy: Accuracy = LEARNING, discrepancy: Discrepancy | None = None
) -> Chain:
    """A folder's sessions as a chain.

    Parameters
    ----------
    folder : MirrorFolder
    accuracy : Accuracy
        Of the engine; the default is good to half a percent of the removal's range.
    discrepancy : Discrepancy, optional
    """
    first = measured_figure(folder.bench, None, accuracy)
    links = tuple(_link(folder, session, first.radius) for session in folder.sessions)
    return Chain(first, links, accuracy, discrepancy or Discrepancy())


def _link(folder: MirrorFolder, session: Session, radius: Array) -> Link:
    bench = folder.bench
    return Link(
        number=session.number,
        bench=session.note.bench_for(bench),
        programme=session.programme,
        lap=session.note.lap,
        observation=observe(bench, session.measured, radius),
    )


def calibrate(
    folder: MirrorFolder, *, seed: int = 0, draws: int = DRAWS, progress: Progress | None = None
) -> Calibration:  # fmt: skip
    """What all sessions of a folder say of the constants.

    Parameters
    ----------
    folder : MirrorFolder
    seed : int
        Of the weighed draws.
    draws : int
    progress : callable, optional
        Told what is being done.

    Returns
    -------
    Calibration

    Raises
    ------
    CouldNotError
        Where there is no session yet.
    """
    if not folder.sessions:
        raise CouldNotError(f"{folder.path}: no session yet, so there is nothing to learn from")
    return calibrate_chain(chain_of(folder), prior(folder.bench), seed=seed, draws=draws, progress=progress)


def calibrate_with_jitter(
    folder: MirrorFolder, *, seed: int = 0, draws: int = DRAWS, progress: Progress | None = None
) -> Calibration:  # fmt: skip
    """The same, and what the sessions say of the hands' spread: some ten seconds a session more.

    Where they tell it the constants are found again with the spread that was found, and it is asked again about those.

    Parameters
    ----------
    folder : MirrorFolder
        Its hands as the bench states them.
    seed, draws, progress : int, int, callable
        As for :func:`calibrate`.

    Returns
    -------
    Calibration
        Its ``jitter.used`` is the factor on the bench's spread that its constants belong to.
    """
    stated = found = _with_jitter(folder, 1.0, seed, draws, progress)
    for _ in range(AGAIN):
        told = found.jitter
        if told is None or told.told != "told" or abs(np.log(told.factor / told.used)) < NEAR:
            break
        found = _with_jitter(folder, told.factor, seed, draws, progress)
    if found.jitter is None or found.jitter.told == "told" or stated.jitter is None:
        return found
    return replace(stated, jitter=replace(found.jitter, used=1.0))


def _with_jitter(
    folder: MirrorFolder, at: float, seed: int, draws: int, progress: Progress | None
) -> Calibration:
    other = folder.with_jitter(at)
    found = calibrate(other, seed=seed, draws=draws, progress=progress)
    misfits = frozenset(found.misfits)
    jitter = jitter_of(
        chain_of(other), found.prior, found.posterior.likeliest, misfits, at=at, seed=seed, progress=progress
    )
    return replace(found, jitter=jitter)


def calibrate_chain(
    chain: Chain, before: Belief, *, seed: int = 0, draws: int = DRAWS, progress: Progress | None = None
) -> Calibration:  # fmt: skip
    """The same for a chain that is built already.

    Parameters
    ----------
    chain : Chain
    before : Belief
        The prior.
    seed, draws, progress
        As for :func:`calibrate`.
    """
    tell = progress or (lambda _: None)
    tell("the most likely constants")
    found, set_aside = _without_misfits(chain, before, tell)
    tell("weighing draws")
    posterior = found.sample(draws, seed)
    fits = tuple(
        _fit(step, link, set_aside.get(link.number))
        for step, link in zip(found.best.steps, chain.links, strict=True)
    )
    return Calibration(before, posterior, fits, found.best.steps)


def _fit(step: Step, link: Link, set_aside: float | None) -> SessionFit:
    size = step.miss.size
    about = step.removal - step.removal.mean()
    chi_square = step.chi_square if set_aside is None else set_aside
    chance = float(chdtrc(size, chi_square))
    return SessionFit(
        link.number, chi_square, size, chance, set_aside is None, float(np.sqrt(np.mean(about**2)))
    )


def _without_misfits(chain: Chain, before: Belief, tell: Progress) -> tuple[Inference, dict[int, float]]:
    """The most likely constants; sessions that fit nothing set aside, the worst first, each with its chi-square.

    A session is set aside where the measurements are likelier with its record disbelieved (its removal unknown in
    size and shape), the rarity of a wrong record weighed in.
    """
    found, set_aside = _found(chain, before, frozenset()), dict[int, float]()
    while len(found.misfits) < len(chain.links):
        chances = [
            _fit(step, link, None).chance for step, link in zip(found.best.steps, chain.links, strict=True)
        ]
        open_ones = [link.number for link in chain.links if link.number not in found.misfits]
        if min(chances[number - 1] for number in open_ones) > SUSPECT:
            break
        tell("a session that does not fit")
        others = [_found(chain, before, found.misfits | {number}) for number in open_ones]
        best = max(others, key=lambda one: one.best.evidence)
        if best.best.evidence + np.log(RARE / (1.0 - RARE)) <= found.best.evidence:
            break
        (number,) = best.misfits - found.misfits
        set_aside[number] = _chi_square_believed(found, best, number)
        found = best
    return found, set_aside


def _chi_square_believed(believed: Inference, without: Inference, number: int) -> float:
    """Squared miss that believing a session's record brings: in that session and, the constants bent, in the rest [1].

    For an engine linear in the constants it is the squared miss of what the others and the prior predict, in its own
    spread; never less than what is missed in the session itself with the constants bent to it.
    """
    own = believed.best.steps[number - 1].chi_square
    rest = [
        sum(step.chi_square for step in one.best.steps) - one.best.steps[number - 1].chi_square
        + float(one.best.middle @ one.best.middle)
        for one in (believed, without)
    ]  # fmt: skip
    return max(own, own + rest[0] - rest[1])


def _found(chain: Chain, before: Belief, misfits: frozenset[int]) -> Inference:
    inference = Inference(chain, before, misfits)
    inference.find()
    return inference
