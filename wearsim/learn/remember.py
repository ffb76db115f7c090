"""What a folder was found to say, kept beside it so that ``predict`` and ``propose`` need not work it out again.

``calibration.toml`` is a cache: it names, by a digest of everything it rests on, what it was made from, and counts
for nothing once any of that has changed. It may be deleted at any time; what counts is checked
(:mod:`wearsim.learn.calibration_file`). Only the hands' spread, which costs more to
find and is found where it is asked for alone, goes on into the sessions after those that told it.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import wearsim
from wearsim.bench.input_errors import read_text
from wearsim.errors import InputError, WearsimError
from wearsim.learn.calibrate import DRAWS, Calibration, calibrate_chain, chain_of
from wearsim.learn.calibration_file import FILE, HANDS, made_from, read_hands, read_remembered, read_tables
from wearsim.learn.chain import Chain
from wearsim.learn.discrepancy import Discrepancy
from wearsim.learn.folder import BENCH, MirrorFolder
from wearsim.learn.inference import Progress
from wearsim.learn.present_state import Standing, standing_after
from wearsim.wear.constants import Belief, prior
from wearsim.wear.hdf5 import digest, whole_file


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
    jitter : float
        Factor on the spread of the bench's hands that all of it was found with [1].
    """

    belief: Belief
    spread: float
    misfits: tuple[int, ...] = ()
    jitter: float = 1.0

    @classmethod
    def of(cls, calibration: Calibration, jitter: float = 1.0) -> Known:
        """The lasting part of a calibration; ``jitter`` where it was not asked there."""
        used = jitter if calibration.jitter is None else calibration.jitter.used
        return cls(calibration.belief, calibration.posterior.spread, calibration.misfits, used)


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
    jitter = remembered_jitter(folder, count)
    found = _read(folder, count, seed, draws, jitter)
    if found is None:
        whole = chain if chain is not None and jitter == 1.0 else chain_of(folder.with_jitter(jitter))
        told = calibrate_chain(whole.upto(count), before, seed=seed, draws=draws, progress=progress)
        found = Known.of(told, jitter)
        keep(folder, count, found, seed, draws)
    return found


def remembered_jitter(folder: MirrorFolder, count: int | None = None) -> float:
    """Factor on the spread of the bench's hands that the newest of a folder's first sessions to be asked told [1].

    1 where none was asked, where they could not tell, and where a file that they rest on has changed since.

    Raises
    ------
    InputError
        Where ``calibration.toml`` is damaged.
    """
    tables = read_tables(folder.path)
    for number in range(len(folder.sessions) if count is None else count, 0, -1):
        table = tables.get(str(number))
        hands = table.get(HANDS) if isinstance(table, dict) else None
        if hands is not None:
            told = read_hands(folder.path, number, hands)
            if told.made_from == _digest(folder, number):
                return told.factor
    return 1.0


def fault_in(folder: MirrorFolder, seed: int = 0, draws: int = DRAWS) -> InputError | None:
    """What is wrong with a folder's ``calibration.toml``; None where all that counts in it is as it was written.

    Parameters
    ----------
    folder : MirrorFolder
    seed, draws : int
        As for :func:`wearsim.learn.calibrate.calibrate`.
    """
    try:
        for count in range(1, len(folder.sessions) + 1):
            for how in {(seed, draws), (0, DRAWS)}:
                recalled(folder, count, seed=how[0], draws=how[1])
    except InputError as error:
        return error
    return None


def recalled(folder: MirrorFolder, count: int | None = None, *, seed: int = 0, draws: int = DRAWS) -> Known | None:
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
    count = len(folder.sessions) if count is None else count
    return _read(folder, count, seed, draws, remembered_jitter(folder, count))


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
    known = known_after(folder, seed=seed, draws=draws, progress=progress)
    folder = folder.with_jitter(known.jitter)
    return standing_after(
        folder, chain_of(folder), len(folder.sessions), known.belief, known.spread, frozenset(known.misfits)
    )


def keep(
    folder: MirrorFolder, count: int, known: Known, seed: int, draws: int, *, asked: bool = False,
    anew: bool = False,
) -> None:  # fmt: skip
    """Remember what was found; a folder that cannot be written simply does not remember.

    Parameters
    ----------
    folder : MirrorFolder
    count : int
        Sessions that it was found from.
    known : Known
    seed, draws : int
        That it was found with.
    asked : bool
        Whether these sessions were asked about the hands' spread; otherwise what was told before stays.
    anew : bool
        Whether nothing of the file is kept: it is damaged.
    """
    import tomli_w

    kept = {} if anew else read_tables(folder.path)
    tables = {name: table for name, table in kept.items() if name.isdigit()}
    before = tables.get(str(count))
    hands = before.get(HANDS) if isinstance(before, dict) else None
    if asked:
        hands = {"factor": known.jitter, "made_from": _digest(folder, count)}
    tables[str(count)] = {
        "made_from": _made_from(folder, count, seed, draws, known.jitter),
        "mean": known.belief.mean.tolist(),
        "covariance": known.belief.covariance.tolist(),
        **({} if known.belief.points is None else {"points": known.belief.points.tolist()}),
        "session_spread": known.spread,
        "misfits": list(known.misfits),
        **({} if hands is None else {HANDS: hands}),
    }
    head = "# Kept by wearsim so that it need not calibrate twice; may be deleted. After so many sessions:\n"
    head += "# logarithms of the factors on preston, stiffness, relaxation_time, edge_gain; under hands the\n"
    head += "# factor on the spread of their strokes.\n\n"
    try:
        with whole_file(folder.path / FILE, force=True) as part:
            part.write_text(head + tomli_w.dumps(tables), encoding="utf-8")
    except WearsimError:
        return


def _read(folder: MirrorFolder, count: int, seed: int, draws: int, jitter: float) -> Known | None:
    table = read_tables(folder.path).get(str(count))
    if table is None or made_from(folder.path, count, table) != _made_from(folder, count, seed, draws, jitter):
        return None
    found = read_remembered(folder.path, count, table)
    return Known(found.belief, found.session_spread, tuple(found.misfits), jitter)


def _made_from(folder: MirrorFolder, count: int, seed: int, draws: int, jitter: float) -> str:
    """Digest of everything that a calibration rests on."""
    return _digest(folder, count, f"{seed} {draws}" if jitter == 1.0 else f"{seed} {draws} {jitter!r}")


def _digest(folder: MirrorFolder, count: int, how: str = "") -> str:
    """Digest of a folder's files up to a session, and of how they were worked on."""
    first = folder.first_figure
    texts = [wearsim.__version__, how, repr(Discrepancy()), read_text(folder.path / BENCH)]
    texts += [read_text(Path(first))] if first is not None else []
    texts += [session.text for session in folder.sessions[:count]]
    return digest("\n\0\n".join(texts))
