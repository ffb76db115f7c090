"""How long ``calibrate``, ``history`` and ``rehearse`` would take, from a few runs timed now."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.fields import Extent
from wearsim.bench.programme import Programme, Spell
from wearsim.decide.ahead import propose_ahead
from wearsim.decide.limits import Limits
from wearsim.learn.calibrate import AGAIN, DRAWS, chain_of
from wearsim.learn.chain import LEARNING
from wearsim.learn.folder import MirrorFolder, open_folder
from wearsim.learn.inference import FIRST_STEPS, MOST_LOTS, ROUNDS, SCOUTS, STEPS, Inference
from wearsim.learn.jitter_effect import EFFECT, MOST_STROKES, WALKS, strokes_of
from wearsim.learn.observation import measured_bench
from wearsim.learn.practice.file import Practice, read_practice
from wearsim.learn.remember import recalled, standing_of
from wearsim.learn.sizes import FEWER
from wearsim.learn.suspicions import MOST_CLIMBED, MOST_FOUND
from wearsim.parallel import worker_count
from wearsim.wear.accuracy import PlanarAccuracy
from wearsim.wear.ahead import Ahead, predict_ahead, seconds_of
from wearsim.wear.constants import NAMES, prior
from wearsim.wear.initial_figure import on_grid, start_figure
from wearsim.wear.predict import predict

PARTS = 6
"""Parts of the prior, each of which may have a hill of its own to climb."""
LOOKED_AT = 15, 45
"""Other records of one session that are looked at, fewest and most: those of one spell, and of four."""
TIMED, MOST_SESSIONS = 8, 4
"""Runs through one session that are timed at most, and sessions that they are taken from."""


def runs_of(size: int, draws: int = DRAWS, sessions: int = 1) -> tuple[int, int]:
    """Fewest and most runs through all sessions that a calibration makes, sessions that do not fit aside.

    Parameters
    ----------
    size : int
        Constants that are not known exactly.
    draws : int
        In a lot.
    sessions : int
        Whose sizes, and what was worked in them, are disbelieved one at a time.

    Returns
    -------
    fewest : int
        One hill climbed and one lot weighed; from it each session's other size is climbed to, and other records looked at.
    most : int
        Every part's hill climbed to the end and every lot weighed; of each session's other size two, and a smaller lot;
        and as many other records climbed to and weighed as ever are.
    """
    slopes = 1 + size
    fewest = 1 + SCOUTS + slopes * (FIRST_STEPS + STEPS) + draws
    most = 1 + SCOUTS + slopes * (PARTS * (FIRST_STEPS + STEPS) + ROUNDS * STEPS) + MOST_LOTS * draws
    climbs = 2 * (1 + slopes) * FIRST_STEPS
    # each look is a run of its own session, and one of that session and those after it
    few, many = (slopes + looks * (sessions + 3) // 2 for looks in LOOKED_AT)
    others = MOST_CLIMBED * slopes * FIRST_STEPS + MOST_FOUND * (slopes * (ROUNDS + 1) * STEPS + MOST_LOTS * draws)
    return (fewest + sessions * climbs // 2 + few, most + sessions * (2 * climbs + draws // FEWER) + many + others)


def calibrate_ahead(folder: MirrorFolder, *, draws: int = DRAWS) -> Ahead:
    """What ``calibrate`` would take: some runs through the first sessions are timed.

    Parameters
    ----------
    folder : MirrorFolder
    draws : int
        In a lot.

    Returns
    -------
    Ahead

    Raises
    ------
    InputError
        Where a session's file cannot be used.
    """
    chain, belief = chain_of(folder), prior(folder.bench)
    inference = Inference(chain, belief)
    count, asked = len(folder.sessions), min(len(folder.sessions), MOST_SESSIONS)
    part = Inference(chain.upto(asked), belief)
    runs = max(worker_count(), TIMED // max(1, asked))
    places = np.random.default_rng(0).uniform(-1.0, 1.0, (runs, inference.size))
    spread = chain.discrepancy.spread

    def some() -> None:
        with ThreadPoolExecutor(max_workers=worker_count()) as pool:
            list(pool.map(part.log_posterior, places, [spread] * runs))

    # loads, and compiles where that is still to do
    Inference(chain.upto(1), belief).log_posterior(places[0], spread)
    took = seconds_of(some)
    one = took / runs * count / max(1, asked)
    fewest, most = runs_of(inference.size, draws, count)
    return Ahead(
        f"{fewest} to {most} runs through {_counted(count, 'session')}", fewest, 0.0, fewest * one, most * one,
        f"{runs} runs through {_counted(asked, 'session')}", took,
    )  # fmt: skip


def with_hands(folder: MirrorFolder, first: Ahead) -> Ahead:
    """What ``calibrate --jitter`` would take: every session walked by the planar engine with other hands.

    Parameters
    ----------
    folder : MirrorFolder
    first : Ahead
        The calibration alone.

    Returns
    -------
    Ahead
        Its longest time is that of hands which the sessions tell: then all is done again with them.
    """
    asked = [one for one in folder.sessions if strokes_of(one.programme) <= MOST_STROKES]
    walked = sum(strokes_of(one.programme) for one in asked)
    seconds = 0.0
    if walked > 0.0:  # the longest is timed, the others last as much less as they have fewer strokes
        longest = max(asked, key=lambda one: strokes_of(one.programme))
        bench = longest.note.bench_for(folder.bench)
        timed = predict_ahead(bench, longest.programme, engine="planar", draws=0, planar=EFFECT).most
        seconds = WALKS * timed * walked / strokes_of(longest.programme)
    work = f"{first.work}, and {WALKS * len(asked)} walks with other hands on the planar engine"
    return Ahead(
        work, first.predictions + WALKS * len(asked), first.strokes, first.least + seconds,
        (1 + AGAIN) * (first.most + seconds), first.timed, first.timed_seconds,
    )  # fmt: skip


def history_ahead(folder: MirrorFolder, *, draws: int = DRAWS) -> Ahead:
    """What ``history`` would take: every session is predicted with what was known before it.

    Parameters
    ----------
    folder : MirrorFolder
    draws : int
        In a lot of calibration.

    Returns
    -------
    Ahead
    """
    whole, count = calibrate_ahead(folder, draws=draws), len(folder.sessions)
    forgotten = [n for n in range(1, count) if recalled(folder, n, draws=draws) is None]
    share = sum(forgotten) / max(1, count)
    least, most, timed, took = share * whole.least, share * whole.most, whole.timed, whole.timed_seconds
    worked = sum(session.minutes for session in folder.sessions)
    if worked > 0.0:  # the longest is timed, the others last as much less as they were shorter
        longest = max(folder.sessions, key=lambda session: session.minutes)
        one = predict_ahead(longest.note.bench_for(folder.bench), longest.programme)
        share = worked / longest.minutes
        least, most = least + share * one.least, most + share * one.most
    work = f"{_counted(len(forgotten), 'calibration')}, and {_counted(count, 'prediction')} with bands"
    return Ahead(work, 33 * count, 0.0, least, most, timed, took)


def known_so_far(folder: MirrorFolder) -> tuple[Bench, dict[str, Any], Ahead | None]:
    """What predictions on a folder start from, nothing being calibrated for it.

    Parameters
    ----------
    folder : MirrorFolder

    Returns
    -------
    bench : Bench
        With the newest measurement.
    known : dict
        Belief, glass and laps where they are remembered; empty where calibration is still to come.
    first : Ahead or None
        The calibration that would come first.
    """
    if not folder.sessions or recalled(folder) is not None:
        standing = standing_of(folder)
        return standing.bench, standing.known, None
    newest = folder.sessions[-1].measured
    return measured_bench(folder.bench, newest), {}, calibrate_ahead(folder)


def after_that(first: Ahead, then: Ahead) -> Ahead:
    """A calibration, and then something else.

    Parameters
    ----------
    first, then : Ahead

    Returns
    -------
    Ahead
    """
    return Ahead(
        f"calibration ({first.work}), then {then.work}", first.predictions + then.predictions, then.strokes,
        first.least + then.least, first.most + then.most, then.timed, then.timed_seconds,
    )  # fmt: skip


class PracticeSoFar(NamedTuple):
    """What a rehearsal starts from.

    Attributes
    ----------
    bench : Bench
    known : dict
        As :func:`known_so_far` has it.
    worked : int
        Sessions so far.
    accuracy : PlanarAccuracy
        With which the practice mirror is worked.
    first : Ahead or None
        The calibration that would come first.
    """

    bench: Bench
    known: dict[str, Any]
    worked: int
    accuracy: PlanarAccuracy
    first: Ahead | None


def practice_so_far(path: Path, new: Practice | None) -> PracticeSoFar:
    """A practice mirror as it stands; a new one is drawn, and nothing is made of it.

    Parameters
    ----------
    path : Path
        Its folder.
    new : Practice or None
        What it is to be, where there is no folder yet.

    Returns
    -------
    PracticeSoFar

    Raises
    ------
    InputError
        Where the folder is not for practice, or damaged.
    """
    if new is not None:
        mirror = new.mirror()
        return PracticeSoFar(mirror.bench, {"start": mirror.start}, 0, new.accuracy, None)
    folder = open_folder(path)
    practice = read_practice(folder)
    bench, known, first = known_so_far(folder)
    return PracticeSoFar(bench, known, len(folder.sessions), practice.accuracy, first)


def rehearse_ahead(
    bench: Bench, worked: int, accuracy: PlanarAccuracy, limits: Limits, *, sessions: int = 6,
    programme: Programme | None = None, **known: Any,
) -> Ahead:  # fmt: skip
    """What ``rehearse`` would take: a proposal, a run through a session and some strokes are timed.

    Parameters
    ----------
    bench : Bench
        Of the practice mirror, with its newest measurement.
    worked : int
        Sessions that it has had.
    accuracy : PlanarAccuracy
        With which the practice mirror is worked.
    limits : Limits
        Of a session.
    sessions : int
        To go on for at most.
    programme : Programme, optional
        Of the person's own: one session, and nothing proposed.
    **known
        ``belief``, ``start`` and ``laps``, where there is more than the bench says.

    Returns
    -------
    Ahead
    """
    work = usual_session(limits.minutes) if programme is None else programme
    start = known.get("start") or start_figure(bench)
    coarse = on_grid(bench, start, LEARNING)
    predict(bench, work, draws=0, accuracy=LEARNING, start=coarse)  # loads, and compiles where that is to do
    run = seconds_of(lambda: predict(bench, work, draws=0, accuracy=LEARNING, start=coarse)) / worker_count()
    planar = predict_ahead(bench, work, engine="planar", draws=0, planar=accuracy, **known)
    if programme is None:
        proposed = propose_ahead(bench, limits, **known)
        low, high, timed, took = proposed.least, proposed.most, proposed.timed, proposed.timed_seconds
        many = sessions
    else:
        low = high = predict_ahead(bench, work, **known).most
        timed, took, many = planar.timed, planar.timed_seconds, 1
    fewest, most = runs_of(len(NAMES), sessions=worked + max(1, many))
    again = planar.most * worked  # what was worked before is worked again first
    least_of = [low + planar.most + run * fewest * n for n in range(worked, worked + min(many, 1))]
    most_of = [high + planar.most + run * most * n for n in range(worked, worked + many)]
    what = "of your own" if programme is not None else "at most" if many else "(the mirror is only made)"
    return Ahead(
        f"{_counted(many, 'session')} {what}: calibrated, proposed, worked on the planar engine, read",
        33 * many, 0.0, again + sum(least_of), again + sum(most_of), timed, took,
    )  # fmt: skip


def usual_session(minutes: float) -> Programme:
    """A session such as ``propose`` might give, for timing: three W strokes with the tool on top.

    Parameters
    ----------
    minutes : float
        Of work [min].

    Returns
    -------
    Programme
    """
    spell = Spell(
        on_top="tool", stroke="w", length=Extent(0.4), side_sweep=Extent(0.15), rate=50.0, minutes=minutes / 3.0
    )
    return Programme(spells=(spell,) * 3)


def _counted(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"
