"""Sessions whose record is wrong: how each one fits, which are set aside, and which removed another amount than recorded.

A session is set aside where the measurements are likelier with its record disbelieved, its removal unknown in size
and shape, or in size alone, the rarity of a wrong record weighed in. Where one misses by more than chance explains and none
can be named, all are believed less: the whole is taken to be as uncertain as it turned out (:func:`birge_ratio`).

A session's shape may fit well and its size be another: constants that wear less explain minutes that were written too
many. So beside the records as they stand, each session's removal is given a factor of its own, and the measurements
say how likely that is. Where they speak for it but do not settle it, the posterior holds both, each with its chance,
and is as wide as that.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.special import chdtrc, logsumexp

from wearsim.kernels.arrays import Floats
from wearsim.learn.inference import Inference, StageReport
from wearsim.learn.posterior import ConstantsPosterior
from wearsim.learn.session_filter import FilterStep, SessionFilter, SessionModel
from wearsim.wear.constants import Belief

LEAST_FIT_CHANCE = 0.01
"""A session of a smaller chance than this is looked at twice [1]."""
WRONG_SHARE = 0.02
"""Share of sessions in which something was worked that no record suggests: one in fifty. A judgement."""
SIZE_SHARE = 0.05
"""Share of sessions that removed another amount than their record says, beyond what varies anyhow. A judgement."""
CLEAR_FACTOR = 1.4
"""Factors nearer to 1 than this are not spoken of, unless they are likelier than not [1]."""
DOUBT_CHANCE = 0.2
"""From this chance on a session's size is said to be in doubt [1]."""
LEAST_CHANCE = 2.0 * SIZE_SHARE
"""What is less likely than this is left out of the posterior: the measurements do not speak for it, and its rarity alone
would widen the intervals of every folder [1]."""
DRAWS_DIVISOR = 4
"""Draws of another size are so many times fewer, where it has less than :data:`DOUBT_CHANCE`."""


@dataclass(frozen=True, eq=False)
class SessionFit:
    """How one session fits the others and the prior.

    Attributes
    ----------
    chi_square : float
        Squared innovation in its own covariance, its record believed [1]. Of a session that is set aside: by how much
        less all the others and the prior are missed without it, for with it the constants are bent to it and the miss is
        spread over all.
    compared : int
        Numbers compared: what ``chi_square`` is about where all is well.
    chance : float
        Of a chi-square this large or larger [1].
    fits : bool
        Whether its record is believed.
    removal : float
        RMS of the removal's shape, as the engine has it [m].
    factor : float
        Likeliest factor on its removal, were its size not as recorded [1].
    size_chance : float
        That it is not [1].
    """

    number: int
    chi_square: float
    compared: int
    chance: float
    fits: bool
    removal: float
    factor: float = 1.0
    size_chance: float = 0.0

    @property
    def has_size_in_doubt(self) -> bool:
        """Whether its removal may well be of another size than its record says."""
        is_large = max(self.factor, 1.0 / self.factor) >= CLEAR_FACTOR
        return self.is_of_other_size or (self.fits and is_large and self.size_chance >= DOUBT_CHANCE)

    @property
    def is_of_other_size(self) -> bool:
        """Whether that is likelier than not."""
        return self.fits and self.size_chance > 0.5

    @property
    def is_doubtful(self) -> bool:
        """Whether it misses by more than chance explains although no session could be named as the wrong one."""
        return self.fits and self.chance < LEAST_FIT_CHANCE

    def to_json(self) -> dict[str, Any]:
        """Plain numbers, as part of what ``calibrate --json`` gives."""
        return {
            "number": self.number, "chi_square": self.chi_square, "compared": self.compared, "chance": self.chance,
            "fits": self.fits, "doubtful": self.is_doubtful, "removal_shape_rms_m": self.removal,
            "other_size": {"chance": self.size_chance, "factor": self.factor, "in_doubt": self.has_size_in_doubt},
        }  # fmt: skip


def session_fit(step: FilterStep, model: SessionModel, set_aside: float | None = None) -> SessionFit:
    """How a session fits, followed with the likeliest constants; ``set_aside``: the chi-square of its record believed."""
    size = step.innovation.size
    about = step.removal - step.removal.mean()
    chi_square = step.chi_square if set_aside is None else set_aside
    chance = float(chdtrc(size, chi_square))
    rms = float(np.sqrt(np.mean(about**2)))
    return SessionFit(model.number, chi_square, size, chance, set_aside is None, rms)


def birge_ratio(fits: Iterable[SessionFit]) -> float:
    """How many times as uncertain as stated everything turned out, where sessions are doubtful [1].

    Root of chi-square over the numbers compared, as R. T. Birge had it (Physical Review 40, 207, 1932; from memory),
    over the doubtful sessions alone, so that one of them does not hide among many good ones. 1 where none is doubtful.
    """
    doubtful = [fit for fit in fits if fit.is_doubtful]
    compared = sum(fit.compared for fit in doubtful)
    return float(np.sqrt(sum(fit.chi_square for fit in doubtful) / compared)) if compared else 1.0


def without_misfits(
    session_filter: SessionFilter, before: Belief, progress: StageReport
) -> tuple[Inference, dict[int, float]]:
    """The most likely constants; sessions that fit nothing set aside, the worst first, each with its chi-square.

    A session is set aside where the measurements are likelier with its record disbelieved (its removal unknown in
    size and shape), the rarity of a wrong record weighed in. Where they are likelier still with its size alone unknown,
    only that is disbelieved: it is one of the ``sizes`` of what is found, and not set aside.
    """
    found, set_aside = Inference(session_filter, before).with_modes(), dict[int, float]()
    while believed := [n for n in _numbers(session_filter) if n not in found.misfits and n not in found.sizes]:
        fits = _fits(session_filter, found.best.steps, {})
        if min(fits[number - 1].chance for number in believed) > LEAST_FIT_CHANCE:
            break
        progress("a session that does not fit")
        best, log_odds = max(
            (one for number in believed for one in _without_record(found, number)),
            key=lambda one: one[0].best.evidence + one[1],
        )
        if best.best.evidence + log_odds <= found.best.evidence:
            break
        for number in best.misfits - found.misfits:
            set_aside[number] = _chi_square_kept(found, best, number)
        found = best
    return found, set_aside


def _numbers(session_filter: SessionFilter) -> list[int]:
    return [model.number for model in session_filter.models]


def _without_record(found: Inference, number: int) -> list[tuple[Inference, float]]:
    """One more session's record disbelieved, wholly and in its size alone; each with the logarithm of its odds."""
    # linearised anew: about constants that are bent a size looks likelier than it is
    plain = replace(found, linearisations=None, modes=())
    unknown_removal = replace(plain, misfits=found.misfits | {number}).with_modes()
    starts = [mode.middle for mode in (*found.modes, unknown_removal.best)]
    places = [np.append(start, sign) for start in starts for sign in (-1.0, 1.0)]
    size = replace(plain, sizes=(*found.sizes, number)).with_modes(places)
    return [(unknown_removal, _log_odds(WRONG_SHARE)), (size, _log_odds(SIZE_SHARE))]


def _log_odds(share: float) -> float:
    return float(np.log(share / (1.0 - share)))


def _chi_square_kept(believed: Inference, without: Inference, number: int) -> float:
    """Squared miss that believing a session's record brings: in that session and, the constants bent, in the rest [1].

    For an engine linear in the constants it is the squared miss of what the others and the prior predict, in its own
    spread; never less than what is missed in the session itself with the constants bent to it.
    """
    in_session = believed.best.steps[number - 1].chi_square
    elsewhere = [
        sum(step.chi_square for step in one.best.steps) - one.best.steps[number - 1].chi_square
        + float(one.best.middle @ one.best.middle)
        for one in (believed, without)
    ]  # fmt: skip
    return max(in_session, in_session + elsewhere[0] - elsewhere[1])


@dataclass(frozen=True, eq=False)
class SizeHypothesis:
    """One session removed another amount than its record says; or none did.

    Parameters
    ----------
    number : int
        Of the session; 0 for the records as they stand.
    inference : Inference
        Its modes found.
    log_odds : float
        How rare that is before any measurement, against the records as they stand [1].
    """

    number: int
    inference: Inference
    log_odds: float

    @property
    def factor(self) -> float:
        """Likeliest factor on that session's removal [1]."""
        return self.inference.sizes_at(self.inference.best.middle).get(self.number, 1.0)

    @property
    def weight(self) -> float:
        """Logarithm of its odds by the modes [1]."""
        return self.log_odds + float(logsumexp([mode.evidence for mode in self.inference.modes]))


def size_hypotheses(found: Inference) -> tuple[SizeHypothesis, ...]:
    """The records as they stand, ``found``; and each session's size disbelieved in turn, where it can be another."""
    hypotheses = [SizeHypothesis(0, found, 0.0)]
    for number in _numbers(found.session_filter):
        if number not in found.misfits and number not in found.sizes:
            other = found.with_size(number)
            if other.modes:
                hypotheses.append(SizeHypothesis(number, other, _log_odds(SIZE_SHARE)))
    close = plausible_places(tuple(hypotheses))[1:]
    for place in close:  # sought about the linearisations of others, which may flatter it
        other = hypotheses[place].inference
        hypotheses[place] = replace(
            hypotheses[place], inference=other.with_modes([mode.middle for mode in other.modes])
        )
    return tuple(hypotheses)


def chances_of(logs: Iterable[float]) -> Floats:
    """Chances from the logarithms of odds, their sum 1 [1]."""
    odds = np.array(list(logs))
    return np.asarray(np.exp(odds - logsumexp(odds)))


def plausible_places(hypotheses: tuple[SizeHypothesis, ...]) -> list[int]:
    """Places of the records as they stand, and of what else is not too unlikely to count (:data:`LEAST_CHANCE`)."""
    chances = chances_of(one.weight for one in hypotheses)
    return [place for place, chance in enumerate(chances) if place == 0 or chance >= LEAST_CHANCE]


def sample_hypotheses(
    hypotheses: tuple[SizeHypothesis, ...], draws: int, seed: int
) -> tuple[ConstantsPosterior, Floats]:
    """Weighed draws, ``draws`` a batch, of all that is plausible; and the chance (R,) of each hypothesis [1].

    The evidence is that of the records as they stand.
    """
    chances = chances_of(one.weight for one in hypotheses)
    kept = plausible_places(hypotheses)
    parts = []
    for place in kept:
        few = place and chances[place] < DOUBT_CHANCE
        inference = hypotheses[place].inference
        parts.append(inference.sample(*((max(1, draws // DRAWS_DIVISOR), seed, 1) if few else (draws, seed))))
    by_draws = chances_of(hypotheses[place].log_odds + part.evidence for place, part in zip(kept, parts, strict=True))
    posterior = replace(
        parts[0],
        logs=np.vstack([part.logs for part in parts]),
        spreads=np.concatenate([part.spreads for part in parts]),
        weights=np.concatenate([chance * part.weights for chance, part in zip(by_draws, parts, strict=True)]),
    )
    chances[kept] = chances[kept].sum() * by_draws
    return posterior, chances


def with_chances(
    fits: Iterable[SessionFit], hypotheses: tuple[SizeHypothesis, ...], chances: Iterable[float]
) -> tuple[SessionFit, ...]:
    """Fits with how likely each session's size is other than recorded; sizes that the first hypothesis disbelieves are."""
    weighed = list(zip(hypotheses, (float(chance) for chance in chances), strict=True))
    first = hypotheses[0].inference
    factors = first.sizes_at(first.best.middle) | {one.number: one.factor for one in hypotheses[1:]}
    return tuple(
        replace(
            fit,
            factor=factors.get(fit.number, 1.0),
            size_chance=sum((p for one, p in weighed if fit.number in one.inference.sizes), 0.0),
        )
        for fit in fits
    )


@dataclass(frozen=True, eq=False)
class RecordCheck:
    """All that is possible of the records.

    Parameters
    ----------
    hypotheses : tuple of SizeHypothesis
        The first: what fits best by the records as they stand, misfits aside.
    fits : tuple of SessionFit
        Each session against the likeliest constants, chances of another size not yet in it.
    ratio : float
        How many times as uncertain as stated everything is taken to be [1].
    steps : tuple of FilterStep
        The mirror followed with the likeliest constants.
    """

    hypotheses: tuple[SizeHypothesis, ...]
    fits: tuple[SessionFit, ...]
    ratio: float
    steps: tuple[FilterStep, ...]


def check_records(session_filter: SessionFilter, before: Belief, progress: StageReport) -> RecordCheck:
    """Weigh the records of a mirror's sessions; ``before`` is the prior of the constants."""
    progress("the most likely constants")
    found, set_aside = without_misfits(session_filter, before, progress)
    steps = found.best.steps
    fits = _fits(session_filter, steps, set_aside)
    ratio = birge_ratio(fits)
    if ratio != 1.0:
        widened = replace(session_filter, ratio=ratio)
        found = Inference(widened, before, found.misfits, found.sizes).with_modes()
    progress("each session of another size")
    return RecordCheck(size_hypotheses(found), fits, ratio, steps)


def _fits(
    session_filter: SessionFilter, steps: tuple[FilterStep, ...], set_aside: Mapping[int, float]
) -> tuple[SessionFit, ...]:
    return tuple(
        session_fit(step, model, set_aside.get(model.number))
        for step, model in zip(steps, session_filter.models, strict=True)
    )
