"""What a folder was found to say, kept beside it so that ``predict`` and ``propose`` need not work it out again.

``calibration.toml`` is a cache: it names, by a digest of everything it rests on, what it was made from, and counts
for nothing once any of that has changed. It may be deleted at any time.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

import wearsim
from wearsim.bench.reading import read_text
from wearsim.errors import WearsimError
from wearsim.learn.calibrate import DRAWS, Calibration, Progress, calibrate_chain, chain_of
from wearsim.learn.chain import Chain
from wearsim.learn.discrepancy import Discrepancy
from wearsim.learn.folder import BENCH, MirrorFolder
from wearsim.learn.standing import Standing, standing_after
from wearsim.wear.constants import NAMES, Belief, prior
from wearsim.wear.store import digest, whole_file

FILE = "calibration.toml"


@dataclass(frozen=True, eq=False)
class Known:
    """What was known after some of a folder's sessions.

    Parameters
    ----------
    belief : Belief
    spread : float
        Relative spread of the removal from session to session [1].
    misfits : tuple of int
        Sessions whose record does not fit.
    """

    belief: Belief
    spread: float
    misfits: tuple[int, ...] = ()

    @classmethod
    def of(cls, calibration: Calibration) -> Known:
        """The lasting part of a calibration."""
        return cls(calibration.belief, calibration.posterior.spread, calibration.misfits)


def known_after(
    folder: MirrorFolder, count: int | None = None, *, chain: Chain | None = None, seed: int = 0,
    draws: int = DRAWS, progress: Progress | None = None,
) -> Known:  # fmt: skip
    """What was known after the first ``count`` sessions: remembered, or worked out and remembered.

    Parameters
    ----------
    folder : MirrorFolder
    count : int, optional
        All sessions by default; 0: the prior.
    chain : Chain, optional
        Of the folder, where it is at hand.
    seed, draws, progress
        As for :func:`wearsim.learn.calibrate.calibrate`.
    """
    count = len(folder.sessions) if count is None else count
    before = prior(folder.bench)
    if count == 0:
        return Known(before, Discrepancy().spread)
    found = _read(folder, count, seed, draws)
    if found is None:
        links = (chain or chain_of(folder)).upto(count)
        found = Known.of(calibrate_chain(links, before, seed=seed, draws=draws, progress=progress))
        keep(folder, count, found, seed, draws)
    return found


def recalled(
    folder: MirrorFolder, count: int | None = None, *, seed: int = 0, draws: int = DRAWS
) -> Known | None:
    """What is remembered of the first ``count`` sessions; nothing is worked out for it.

    Parameters
    ----------
    folder : MirrorFolder
    count : int, optional
        All sessions by default.
    seed, draws : int
        As for :func:`wearsim.learn.calibrate.calibrate`.

    Returns
    -------
    Known or None
        None where it would have to be worked out.
    """
    return _read(folder, len(folder.sessions) if count is None else count, seed, draws)


def standing_of(
    folder: MirrorFolder, *, seed: int = 0, draws: int = DRAWS, progress: Progress | None = None
) -> Standing:
    """Where a folder's mirror stands now: what ``predict`` and ``propose`` take.

    Parameters
    ----------
    folder : MirrorFolder
    seed : int
        Of the draws of the constants.
    draws : int
        As for :func:`wearsim.learn.calibrate.calibrate`.
    progress : callable, optional
        Told what is being done.

    Returns
    -------
    Standing
    """
    chain = chain_of(folder)
    known = known_after(folder, chain=chain, seed=seed, draws=draws, progress=progress)
    return standing_after(
        folder, chain, len(folder.sessions), known.belief, known.spread, frozenset(known.misfits)
    )


def keep(folder: MirrorFolder, count: int, known: Known, seed: int, draws: int) -> None:
    """Remember what was found; a folder that cannot be written simply does not remember."""
    import tomli_w

    tables = {name: table for name, table in _tables(folder).items() if name.isdigit()}
    tables[str(count)] = {
        "made_from": _made_from(folder, count, seed, draws),
        "mean": known.belief.mean.tolist(),
        "covariance": known.belief.covariance.tolist(),
        **({} if known.belief.points is None else {"points": known.belief.points.tolist()}),
        "session_spread": known.spread,
        "misfits": list(known.misfits),
    }
    head = "# Kept by wearsim so that it need not calibrate twice; may be deleted. After so many sessions:\n"
    head += "# logarithms of the factors on preston, stiffness, relaxation_time, edge_gain.\n\n"
    try:
        with whole_file(folder.path / FILE, force=True) as part:
            part.write_text(head + tomli_w.dumps(tables), encoding="utf-8")
    except WearsimError:
        return


def _tables(folder: MirrorFolder) -> dict[str, Any]:
    """What is remembered, nothing where there is no such file or it is damaged: it is only a cache."""
    from wearsim.bench.reading import parse_toml

    file = folder.path / FILE
    if not file.exists():
        return {}
    try:
        return parse_toml(read_text(file), file)
    except WearsimError:
        return {}


def _read(folder: MirrorFolder, count: int, seed: int, draws: int) -> Known | None:
    table = _tables(folder).get(str(count))
    if not isinstance(table, dict) or table.get("made_from") != _made_from(folder, count, seed, draws):
        return None
    try:
        mean = np.array(table["mean"], dtype=float)
        covariance = np.array(table["covariance"], dtype=float)
        points = np.array(table["points"], dtype=float)
        spread, misfits = float(table["session_spread"]), tuple(int(n) for n in table["misfits"])
    except (KeyError, TypeError, ValueError):
        return None
    sound = mean.shape == (len(NAMES),) and covariance.shape == (len(NAMES), len(NAMES))
    sound = sound and points.ndim == 2 and points.shape[1] == len(NAMES) and len(points) > 0
    if not sound or not all(np.isfinite(part).all() for part in (mean, covariance, points)):
        return None
    return Known(Belief(mean, covariance, points), spread, misfits)


def _made_from(folder: MirrorFolder, count: int, seed: int, draws: int) -> str:
    """Digest of everything that a calibration rests on."""
    first = folder.first_figure
    texts = [wearsim.__version__, f"{seed} {draws}", repr(Discrepancy()), read_text(folder.path / BENCH)]
    texts += [read_text(Path(first))] if first is not None else []
    texts += [session.text for session in folder.sessions[:count]]
    return digest("\n\0\n".join(texts))
