"""A study from its plan to its file: chunks to the crew, parts to the disk, one file at the end."""

from __future__ import annotations

import hashlib
from collections import Counter, deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, wait
from dataclasses import dataclass
from pathlib import Path

import wearsim
from wearsim.errors import CouldNotError, StoreError
from wearsim.kernels._jit import source_digest
from wearsim.kernels.arrays import Floats
from wearsim.study.cases import Chunk, Job, Part, job_for
from wearsim.study.checkpoint import Parts, open_parts, parts_folder
from wearsim.study.executors import Crew, crew_for, warm_up, work_warm
from wearsim.study.hdf5_store import write_study
from wearsim.study.plan import Study, sample_of
from wearsim.study.result import StudyResult, identity_of, read_study
from wearsim.wear.accuracy import DEFAULT, Accuracy

TRIES = 3
"""How often a chunk is given out when its worker dies."""
# A chunk of the radial engine lasts about a second, so that handing it over costs next to nothing; on the other
# hand every worker should get a few of them.
RUNS_IN_CHUNK = 250
CHUNKS_A_WORKER = 8


@dataclass(frozen=True)
class Progress:
    """How far a study is: cases done (of them kept from an earlier run), failed, all."""

    done: int
    kept: int
    failed: int
    cases: int


Watch = Callable[[Progress], None]


def run_study(
    study: Study, output: str | Path, executor: Executor | None = None, *, workers: int | None = None,
    scheduler: str | None = None, seed: int = 0, accuracy: Accuracy = DEFAULT, force: bool = False,
    watch: Watch | None = None,
) -> StudyResult:  # fmt: skip
    """Work out a study and keep it in an HDF5 file.

    Started again after it was interrupted or killed, or ran out of disk, it goes on with what was complete (in the
    folder ``<output>.parts``) and ends with the same data. A file that is complete is read, nothing is worked out.

    Parameters
    ----------
    study : Study
    output : str or Path
    executor : concurrent.futures.Executor, optional
        Who does the work; left open. Otherwise:
    workers : int, optional
        Processes of this machine; all cores by default.
    scheduler : str, optional
        Address of a Dask scheduler.
    seed : int
        Of the sample and of the draws of the constants.
    accuracy : Accuracy
    force : bool
        Replace a whole study in ``output`` and forget what was begun. A file that is no whole study of ours is
        never replaced.
    watch : callable, optional
        Told the :class:`Progress` after every chunk.

    Returns
    -------
    StudyResult

    Raises
    ------
    StoreError
        Where the output, or what was begun, is damaged or of another study.
    CouldNotError
        Where the disk is full, the workers die again and again, or nobody answers at the scheduler.
    """
    output = Path(output)
    job = job_for(study, seed, accuracy)
    identity = digest_of(study, job)
    if output.exists():
        if not force and identity_of(output) == identity:
            return read_study(output)
        if not force:
            raise StoreError("holds another study", file=output, expected="another name, or --force")
        identity_of(output)
    crew = crew_for(executor, workers, scheduler)
    hurry = True
    try:
        if force and parts_folder(output).exists():
            Parts(parts_folder(output), identity, 1, study.cases).remove()
        parts = open_parts(output, identity, chunk_size(job, study.cases, crew.now()), study.cases)
        work_parts(study, job, parts, crew, watch)
        hurry = False
    finally:
        crew.close(hurry)
    write_study(study, job, identity, parts, output, force=force)
    parts.remove()
    return read_study(output)


def chunk_size(job: Job, cases: int, workers: int) -> int:
    """Cases in a chunk."""
    runs = RUNS_IN_CHUNK if job.engine == "radial" else 1
    most = max(1, runs // (1 + job.draws))
    return max(1, min(most, -(-cases // (CHUNKS_A_WORKER * workers))))


def digest_of(study: Study, job: Job) -> str:
    """Digest of everything that the numbers rest on: settings, figure, seed, accuracy, program."""
    bench = study.bench
    content = b"" if bench.figure.path is None else bench.figure.path.read_bytes()
    about = study.about.model_copy(update={"bench": "", "programme": None})
    pieces = (bench.mirror, bench.laps, bench.hands, bench.wear, bench.spread, bench.light)
    figure = bench.figure if bench.figure.path is None else hashlib.sha256(content).hexdigest()
    rest = (about, pieces, figure, study.programme.spells, study.axes, study.sampled, study.sample)
    program = (wearsim.__version__, source_digest(), job.seed, job.accuracy)
    return hashlib.sha256(repr((rest, program)).encode()).hexdigest()


def work_parts(study: Study, job: Job, parts: Parts, crew: Crew, watch: Watch | None = None) -> None:
    """Work out the parts that are missing.

    Parameters
    ----------
    study : Study
    job : Job
    parts : Parts
    crew : Crew
    watch : callable, optional
    """
    done = parts.done()
    kept = sum(last - first for first, last in map(parts.bounds, done))
    counts = Counter(done=kept, failed=sum(int((parts.read(n).failure > 0).sum()) for n in done))

    def keep(chunk: Chunk, part: Part) -> None:
        parts.write(chunk.number, part)
        counts.update(done=len(part), failed=int((part.failure > 0).sum()))
        tell()

    def tell() -> None:
        if watch is not None:
            watch(Progress(counts["done"], kept, counts["failed"], parts.cases))

    tell()
    rows = sample_of(study, job.seed)
    if len(done) < parts.count:
        hand_out(job, _chunks(parts, done, rows), crew, keep)


def _chunks(parts: Parts, done: set[int], rows: Floats | None) -> Iterator[Chunk]:
    for number in range(parts.count):
        if number not in done:
            first, last = parts.bounds(number)
            own = None if rows is None else rows[[place % len(rows) for place in range(first, last)]]
            yield Chunk(number, first, last, own)


def hand_out(
    job: Job, chunks: Iterator[Chunk], crew: Crew, keep: Callable[[Chunk, Part], None], tries: int = TRIES
) -> None:
    """Give chunks to the crew, a few ahead, and keep what comes back; what a dead worker had is given out again.

    Parameters
    ----------
    job : Job
    chunks : iterator of Chunk
    crew : Crew
    keep : callable
        Takes a chunk and its part.
    tries : int
        How often a chunk is given out.

    Raises
    ------
    CouldNotError
        Where a chunk has lost that many workers.
    """
    warm_up(job)  # here first, so that workers of this machine do not all compile at once
    executor = crew.open()
    again: deque[Chunk] = deque()
    out: dict[Future[Part], Chunk] = {}
    lost: Counter[int] = Counter()
    while True:
        broken = not _fill(executor, job, chunks, again, out, crew)
        if not out and not broken:
            return
        if not broken:
            broken = _collect(wait(out, return_when=FIRST_COMPLETED).done, out, again, crew, keep)
        if broken:  # what else was out is lost with it, or done
            _collect(wait(out).done, out, again, crew, keep)
            executor = crew.renew()
        _give_up(again, lost, tries)


def _collect(
    ready: Iterable[Future[Part]], out: dict[Future[Part], Chunk], again: deque[Chunk], crew: Crew,
    keep: Callable[[Chunk, Part], None],
) -> bool:  # fmt: skip
    """Keep what futures bring, line up again what was lost; whether the executor itself broke."""
    broken = False
    for future in list(ready):
        chunk = out.pop(future)
        try:
            part = future.result()
        except crew.lost as error:
            again.append(chunk)
            broken = broken or isinstance(error, BrokenExecutor)
            continue
        keep(chunk, part)
    return broken


def _give_up(again: Iterable[Chunk], lost: Counter[int], tries: int) -> None:
    """Count what is lined up again, and stop where something has been too often."""
    for chunk in again:
        lost[chunk.number] += 1
        if lost[chunk.number] >= tries:
            raise CouldNotError(
                f"cases {chunk.first + 1} to {chunk.last} lost their worker {tries} times (out of memory?); "
                "what is complete is kept"
            )


def _fill(
    executor: Executor, job: Job, chunks: Iterator[Chunk], again: deque[Chunk],
    out: dict[Future[Part], Chunk], crew: Crew,
) -> bool:  # fmt: skip
    """Give out chunks until two wait for every worker; whether the executor took them."""
    while len(out) < 2 * crew.now() + 1:
        chunk = again.popleft() if again else next(chunks, None)
        if chunk is None:
            return True
        try:
            out[executor.submit(work_warm, job, chunk)] = chunk
        except crew.lost:
            again.appendleft(chunk)
            return False
    return True
