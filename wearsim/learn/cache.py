"""``calibration.toml``: what a folder's sessions were found to say, kept so that it need not be worked out twice.

The file may be deleted at any time. Each of its tables carries a digest of everything that it rests on and of its own
numbers; a table whose digest does not hold, or a file that cannot be read, counts for nothing and is worked out again.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

import wearsim
from wearsim.bench.input_errors import parse_toml, read_text
from wearsim.bench.whole_file import digest, whole_file
from wearsim.errors import InputError, WearsimError
from wearsim.learn.calibrate import DRAWS, Calibration, calibrate_sessions, filter_of
from wearsim.learn.inference import StageReport
from wearsim.learn.mirror_folder import BENCH, MirrorFolder
from wearsim.learn.posterior import GlassPosterior
from wearsim.learn.session_filter import SessionFilter, Tails
from wearsim.wear.constants import Belief, prior
from wearsim.wear.discrepancy import Discrepancy

FILE = "calibration.toml"
_HEAD = """\
# Kept by wearsim so that it need not calibrate twice; may be deleted. After so many sessions, the constants
# (logarithms of factors on preston, stiffness, relaxation_time, edge_gain and stroke_length; overhang_bias in m)
# and the glass.

"""
_DIGEST = "made_from"
GLASS = ("radius", "height", "covariance")


@dataclass(frozen=True, eq=False)
class KeptCalibration:
    """What was known after some of a folder's sessions.

    Parameters
    ----------
    spread : float
        Relative spread of the removal from session to session [1].
    glass : GlassPosterior or None
        The glass after the last of the sessions; None before the first.
    misfits : tuple of int
        Sessions whose record does not fit.
    """

    belief: Belief
    spread: float
    glass: GlassPosterior | None = None
    misfits: tuple[int, ...] = ()

    @classmethod
    def of(cls, calibration: Calibration) -> KeptCalibration:
        """The lasting part of a calibration."""
        return cls(calibration.belief, calibration.posterior.spread, calibration.posterior.glass, calibration.misfits)

    @classmethod
    def from_table(cls, table: dict[str, Any]) -> KeptCalibration:
        """As :meth:`to_table` wrote it."""
        points = np.array(table["points"]) if "points" in table else None
        belief = Belief(np.array(table["mean"]), np.array(table["covariance"]), points)
        glass = GlassPosterior(*(np.array(table["glass"][key]) for key in GLASS)) if "glass" in table else None
        return cls(belief, table["session_spread"], glass, tuple(table["misfits"]))

    def to_table(self) -> dict[str, Any]:
        """Plain lists and numbers; none is rounded."""
        points = self.belief.points
        return {
            "mean": self.belief.mean.tolist(),
            "covariance": self.belief.covariance.tolist(),
            **({} if points is None else {"points": points.tolist()}),
            "session_spread": self.spread,
            "misfits": list(self.misfits),
            **({} if self.glass is None else {"glass": {key: getattr(self.glass, key).tolist() for key in GLASS}}),
        }


def recall_or_calibrate(
    folder: MirrorFolder, count: int | None = None, *, session_filter: SessionFilter | None = None, seed: int = 0,
    draws: int = DRAWS, progress: StageReport | None = None,
) -> KeptCalibration:  # fmt: skip
    """What was known after the first ``count`` sessions: recalled, or calibrated and kept.

    Parameters
    ----------
    count : int, optional
        All sessions by default; 0: the prior.
    session_filter : SessionFilter, optional
        Of the folder, where it is at hand.
    seed, draws, progress
        As for :func:`wearsim.learn.calibrate.calibrate`.
    """
    count = len(folder.sessions) if count is None else count
    before = prior(folder.bench)
    if count == 0:
        return KeptCalibration(before, Discrepancy().spread)
    found = recalled(folder, count, seed=seed, draws=draws)
    if found is None:
        sessions = (session_filter or filter_of(folder)).upto(count)
        found = KeptCalibration.of(calibrate_sessions(sessions, before, seed=seed, draws=draws, progress=progress))
        keep(folder, count, found, seed, draws)
    return found


def recalled(
    folder: MirrorFolder, count: int | None = None, *, seed: int = 0, draws: int = DRAWS
) -> KeptCalibration | None:
    """What is kept of the first ``count`` sessions, all by default; None where it would have to be calibrated."""
    return _look_up_table(folder, count, seed, draws)[0]


def stale(folder: MirrorFolder, count: int | None = None, *, seed: int = 0, draws: int = DRAWS) -> str | None:
    """In one line why the kept calibration of these sessions is not used; None where it is, or nothing is kept."""
    return _look_up_table(folder, count, seed, draws)[1]


def _look_up_table(
    folder: MirrorFolder, count: int | None, seed: int, draws: int
) -> tuple[KeptCalibration | None, str | None]:
    """What is kept; or why what is kept does not count."""
    count = len(folder.sessions) if count is None else count
    reason = "was made with different files, seed or number of draws"
    try:
        table = _tables(folder.path).get(str(count))
        if table is None:
            return None, None
        if isinstance(table, dict):
            numbers = {key: value for key, value in table.items() if key != _DIGEST}
            if table.get(_DIGEST) == _made_from(numbers, folder, count, seed, draws):
                return KeptCalibration.from_table(numbers), None
    except InputError:
        reason = "cannot be read"
    return None, f"{folder.path / FILE} {reason}; calibrating again."


def keep(folder: MirrorFolder, count: int, known: KeptCalibration, seed: int, draws: int) -> None:
    """Keep what the first ``count`` sessions gave with this seed and so many draws, where the folder can be written."""
    import tomli_w

    try:
        before = _tables(folder.path)
    except InputError:
        before = {}
    tables = {name: table for name, table in before.items() if name.isdigit()}
    table = known.to_table()
    tables[str(count)] = {_DIGEST: _made_from(table, folder, count, seed, draws), **table}
    try:
        with whole_file(folder.path / FILE, force=True) as part:
            part.write_text(_HEAD + tomli_w.dumps(tables), encoding="utf-8")
    except WearsimError:
        return


def _tables(path: Path) -> dict[str, Any]:
    """The file's tables as they stand, none where there is no such file."""
    file = path / FILE
    return parse_toml(read_text(file), file) if file.exists() else {}


def _made_from(table: dict[str, Any], folder: MirrorFolder, count: int, seed: int, draws: int) -> str:
    """Digest of everything that a calibration rests on, and of what it gave."""
    import tomli_w

    texts = [wearsim.__version__, f"{seed} {draws}", repr((Discrepancy(), Tails())), read_text(folder.path / BENCH)]
    first = folder.bench.figure.path
    texts += [] if first is None else [read_text(first)]
    texts += [session.text for session in folder.sessions[:count]]
    return digest("\n\0\n".join([*texts, tomli_w.dumps(table)]))
