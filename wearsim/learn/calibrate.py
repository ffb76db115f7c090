"""Calibration: from a mirror's folder to what its sessions say of hands and pitch."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.errors import CouldNotError
from wearsim.kernels.arrays import Floats
from wearsim.learn.inference import Inference, StageReport
from wearsim.learn.mirror_folder import MirrorFolder
from wearsim.learn.observation import observe
from wearsim.learn.posterior import ConstantsPosterior
from wearsim.learn.session_filter import LEARNING, FilterStep, SessionFilter, SessionModel
from wearsim.learn.session_fit import SessionFit, session_fit
from wearsim.wear.constants import IS_FACTOR, NAMES, PRODUCTS, Belief, powers, prior
from wearsim.wear.discrepancy import Discrepancy
from wearsim.wear.engine_protocol import Progress
from wearsim.wear.initial_figure import start_figure

DRAWS = 64
"""Weighed draws of the posterior; docs/learning.md says what more of them would change."""
DETERMINED, PARTLY = 0.5, 0.85
"""A constant is determined by the data below the first share of the prior's spread, partly below the second."""
FACTOR_90 = 1.6448536
"""Half of a central 90% interval, in sigmas [1]."""


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
    """

    prior: Belief
    posterior: ConstantsPosterior
    sessions: tuple[SessionFit, ...]
    steps: tuple[FilterStep, ...]

    @property
    def belief(self) -> Belief:
        """What is known of the constants after the sessions."""
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
        return self.determined_of(np.eye(len(NAMES))[NAMES.index(name)])

    def determined_of(self, row: Floats) -> str:
        """The same for a combination of constants.

        Parameters
        ----------
        row : (n,) ndarray
            Their powers, in the order of ``NAMES`` [1].

        Returns
        -------
        str
            As for one constant.
        """
        before = float(row @ self.prior.covariance @ row)
        if before == 0.0:
            return "known"
        share = float(np.sqrt(row @ self.belief.covariance @ row / before))
        return "told" if share < DETERMINED else "partly" if share < PARTLY else "prior"

    @property
    def knows_spread(self) -> bool:
        """Whether the sessions say something of how far removals vary from one to the next."""
        logs = np.log(self.posterior.spreads)
        about = logs - self.posterior.weights @ logs
        share = float(np.sqrt(self.posterior.weights @ about**2)) / float(np.log(Discrepancy().spread_factor))
        return len(self.sessions) > 1 and share < PARTLY

    @property
    def outside(self) -> dict[str, float]:
        """Factors on (or biases of) what the bench states, of constants that the data determine and that are beyond its 90%
        interval."""
        about = self.belief.mean - self.prior.mean
        beyond = np.abs(about) > FACTOR_90 * np.sqrt(np.diagonal(self.prior.covariance))
        return {
            name: as_stated(float(IS_FACTOR[i]), float(about[i]), i) for i, name in enumerate(NAMES)
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
            The constants with their 90% intervals, and every session's fit.
        """
        return {
            "constants": self._constants_json(bench),
            "session_spread": self.posterior.spread,
            "products": {name: self.product(name).tolist() for name in PRODUCTS},
            "mean": self.belief.mean.tolist(),
            "covariance": self.belief.covariance.tolist(),
            "effective_draws": self.posterior.effective,
            "sessions": [session.to_json() for session in self.sessions],
        }

    def _constants_json(self, bench: Bench) -> dict[str, Any]:
        low, high = self.posterior.interval()
        middle, outside = self.belief.mean, self.outside
        constants = {}
        for i, name in enumerate(NAMES):
            stated, unit = stated_constant(bench, name)
            now, least, most = (as_stated(stated, float(one), i) for one in (middle[i], low[i], high[i]))
            constants[f"{name}{unit}"] = {
                "stated": stated, "now": now, "told": self.determined(name), "interval_90": [least, most],
                "spread_of_prior": self.shares[name], "outside_stated": name in outside,
            }  # fmt: skip
        return constants

    def product(self, name: str) -> Floats:
        """A product of constants that sessions show more directly than its parts.

        Parameters
        ----------
        name : str
            One of :data:`wearsim.wear.constants.PRODUCTS`.

        Returns
        -------
        (3,) ndarray
            Lower end, middle and upper end of its 90% interval, as factors on the bench's [1].
        """
        values = self.posterior.vectors @ powers(name)
        low, high = self.posterior.interval_of(values)
        return np.exp([low, float(self.posterior.weights @ values), high])

    @property
    def misfits(self) -> tuple[int, ...]:
        """Numbers of the sessions that do not fit."""
        return tuple(one.number for one in self.sessions if not one.fits)


def as_stated(stated: float, value: float, place: int) -> float:
    """A constant as the bench has it, from its place in a vector: a factor on what is stated, or what is added to it."""
    return stated * float(np.exp(value)) if IS_FACTOR[place] else stated + value


def stated_constant(bench: Bench, name: str) -> tuple[float, str]:
    """A constant as the bench states it, SI, of the first lap; and its unit as the end of a key."""
    lap = bench.laps[0]
    stated = {
        "preston": (bench.preston, "_per_pa"),
        "stiffness": (lap.stiffness, "_pa_per_m"),
        "relaxation_time": (lap.relaxation_time, "_s"),
        "edge_gain": (bench.wear.edge_gain, ""),
        "stroke_length": (1.0, ""),
        "overhang_bias": (0.0, "_m"),
    }
    return stated[name]


def filter_of(folder: MirrorFolder) -> SessionFilter:
    """A folder's sessions, ready to be followed."""
    bench, first = folder.bench, start_figure(folder.bench, LEARNING)
    models = tuple(
        SessionModel(
            session.number, session.note.bench_for(bench), session.programme, session.note.lap,
            observe(bench, session.measurement, first.radius), session.note.pressed, session.note.confirmed,
        ) for session in folder.sessions
    )  # fmt: skip
    return SessionFilter(first, models, LEARNING)


def check_sessions(folder: MirrorFolder) -> None:
    """Raise ``CouldNotError`` where a folder has no session yet."""
    if not folder.sessions:
        raise CouldNotError(f"{folder.path}: no session yet, so there is nothing to learn from")


def calibrate(
    folder: MirrorFolder, *, seed: int = 0, draws: int = DRAWS, progress: StageReport | None = None,
    weighed: Progress | None = None,
) -> Calibration:  # fmt: skip
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
    weighed : callable, optional
        Receives the share of the first batch that is done [1].

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
    before, how = prior(folder.bench), {"seed": seed, "draws": draws}
    return calibrate_sessions(filter_of(folder), before, **how, progress=progress, weighed=weighed)


def calibrate_sessions(
    session_filter: SessionFilter, before: Belief, *, seed: int = 0, draws: int = DRAWS, progress: StageReport | None = None,
    weighed: Progress | None = None,
) -> Calibration:  # fmt: skip
    """The same for sessions that are read already; ``before`` is the prior of the constants."""
    report = progress or (lambda _: None)
    report("the most likely constants")
    found = Inference(session_filter, before).with_modes()
    report("weighing draws")
    posterior = found.sample(draws, seed, progress=weighed)
    steps = found.best.steps
    fits = tuple(
        session_fit(step, model, session_filter.tails) for step, model in zip(steps, session_filter.models, strict=True)
    )
    return Calibration(before, posterior, fits, steps)
