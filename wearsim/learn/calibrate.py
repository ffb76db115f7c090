"""Calibration: from a mirror's folder to what its sessions say of hands and pitch."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.errors import CouldNotError
from wearsim.learn.inference import StageReport
from wearsim.learn.mirror_folder import MirrorFolder
from wearsim.learn.observation import observe
from wearsim.learn.posterior import ConstantsPosterior
from wearsim.learn.session_filter import LEARNING, FilterStep, SessionFilter, SessionModel
from wearsim.learn.wrong_records import SessionFit, check_records, sample_hypotheses, with_chances
from wearsim.wear.constants import NAMES, Belief, normal_draws, prior
from wearsim.wear.initial_figure import start_figure

DRAWS = 128
"""Weighed draws of the posterior; docs/learning.md says what more of them would change."""
DETERMINED, PARTLY = 0.5, 0.85
"""A constant is determined by the data below the first share of the prior's spread, partly below the second."""
FACTOR_90 = 1.6448536
"""Half of a central 90 % interval, in sigmas [1]."""


@dataclass(frozen=True, eq=False)
class Calibration:
    """What a folder says of the constants.

    Parameters
    ----------
    prior : Belief
        Before any session, from the bench.
    posterior : ConstantsPosterior
    sessions : tuple of SessionFit
    steps : tuple of FilterStep
        The mirror followed with the constants in the middle of the posterior.
    ratio : float
        How many times as uncertain as stated the posterior takes everything, where sessions are doubtful [1].
    """

    prior: Belief
    posterior: ConstantsPosterior
    sessions: tuple[SessionFit, ...]
    steps: tuple[FilterStep, ...]
    ratio: float = 1.0

    @property
    def belief(self) -> Belief:
        """Of the constants, sessions taken in."""
        return self.posterior.belief

    @property
    def shares(self) -> dict[str, float]:
        """Spread of each constant's logarithm now over that of the prior; 1 where it was known exactly [1]."""
        before = np.sqrt(np.diagonal(self.prior.covariance))
        now = np.sqrt(np.diagonal(self.belief.covariance))
        shares = np.divide(now, before, out=np.ones_like(now), where=before > 0.0)
        return dict(zip(NAMES, (float(share) for share in shares), strict=True))

    def determined(self, name: str) -> str:
        """Whether the data determine a constant.

        Parameters
        ----------
        name : str
            One of :data:`wearsim.wear.constants.NAMES`.

        Returns
        -------
        {"told", "partly", "prior", "known"}
            "told": they do; "prior": the data say no more than the bench did; "known": stated as exact.
        """
        if self.prior.covariance[NAMES.index(name), NAMES.index(name)] == 0.0:
            return "known"
        share = self.shares[name]
        return "told" if share < DETERMINED else "partly" if share < PARTLY else "prior"

    @property
    def outside(self) -> dict[str, float]:
        """Factors on what the bench states, of constants that the data determine and that lie beyond its 90 % interval."""
        about = self.belief.mean - self.prior.mean
        beyond = np.abs(about) > FACTOR_90 * np.sqrt(np.diagonal(self.prior.covariance))
        return {
            name: float(np.exp(about[i])) for i, name in enumerate(NAMES)
            if beyond[i] and self.determined(name) in ("told", "partly")
        }  # fmt: skip

    def to_json(self, bench: Bench) -> dict[str, Any]:
        """One object for ``--json``: plain lists and floats, SI units in the key names.

        Parameters
        ----------
        bench : Bench
            That of the folder.

        Returns
        -------
        dict
            The constants with their 90 % intervals, and every session's fit.
        """
        return {
            "constants": self._constants_json(bench),
            "session_spread": self.posterior.spread,
            "uncertainty_ratio": self.ratio,
            "log_mean": self.belief.mean.tolist(),
            "log_covariance": self.belief.covariance.tolist(),
            "effective_draws": self.posterior.effective,
            "sessions": [session.to_json() for session in self.sessions],
        }

    def _constants_json(self, bench: Bench) -> dict[str, Any]:
        low, high = np.exp(self.posterior.interval())
        middle, outside = np.exp(self.belief.mean), self.outside
        constants = {}
        for i, name in enumerate(NAMES):
            stated, unit = stated_constant(bench, name)
            constants[f"{name}{unit}"] = {
                "stated": stated, "now": stated * float(middle[i]), "told": self.determined(name),
                "interval_90": [stated * float(low[i]), stated * float(high[i])],
                "spread_of_prior": self.shares[name], "outside_stated": name in outside,
            }  # fmt: skip
        return constants

    @property
    def misfits(self) -> tuple[int, ...]:
        """Numbers of the sessions whose record does not fit, or whose size is likelier another than that of the record."""
        return tuple(one.number for one in self.sessions if not one.fits or one.is_of_other_size)


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


def filter_of(folder: MirrorFolder) -> SessionFilter:
    """A folder's sessions, ready to be followed."""
    bench, first = folder.bench, start_figure(folder.bench, LEARNING)
    models = tuple(
        SessionModel(
            session.number, session.note.bench_for(bench), session.programme, session.note.lap,
            observe(bench, session.measurement, first.radius),
        ) for session in folder.sessions
    )  # fmt: skip
    return SessionFilter(first, models, LEARNING)


def check_sessions(folder: MirrorFolder) -> None:
    """Raise ``CouldNotError`` where a folder has no session yet."""
    if not folder.sessions:
        raise CouldNotError(f"{folder.path}: no session yet, so there is nothing to learn from")


def calibrate(
    folder: MirrorFolder, *, seed: int = 0, draws: int = DRAWS, progress: StageReport | None = None
) -> Calibration:
    """What all sessions of a folder say of the constants.

    Parameters
    ----------
    folder : MirrorFolder
        With a session at least.
    seed : int
        Of the weighed draws.
    draws : int
        In a batch; batches are drawn until they are worth enough.
    progress : callable, optional
        Receives what is being done.

    Returns
    -------
    Calibration
        The constants with their spread, and how each session fits.

    Raises
    ------
    CouldNotError
        Where there is no session yet.
    """
    check_sessions(folder)
    return calibrate_sessions(filter_of(folder), prior(folder.bench), seed=seed, draws=draws, progress=progress)


def calibrate_sessions(
    session_filter: SessionFilter, before: Belief, *, seed: int = 0, draws: int = DRAWS, progress: StageReport | None = None
) -> Calibration:  # fmt: skip
    """The same for sessions that are read already; ``before`` is the prior of the constants."""
    report = progress or (lambda _: None)
    checked = check_records(session_filter, before, report)
    report("weighing draws")
    posterior, chances = sample_hypotheses(checked.hypotheses, draws, seed)
    fits = with_chances(checked.fits, checked.hypotheses, chances)
    return Calibration(before, posterior, fits, checked.steps, checked.ratio)
