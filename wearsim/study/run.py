"""A study from its plan to its file: chunks to the workers, what comes back to the checkpoint, one file at the end."""

from __future__ import annotations

import hashlib
from collections import Counter, deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, wait
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import wearsim
from wearsim.errors import CouldNotError, StoreError
from wearsim.kernels._jit import source_digest
from wearsim.kernels.arrays import Floats
from wearsim.study.cases import Chunk, ChunkResult, Job, job_for
from wearsim.study.checkpoint import Checkpoint, checkpoint_folder, locked, open_checkpoint, remove_parts
from wearsim.study.executors import Pool, compile_kernels, pool_for, work_compiled
from wearsim.study.plan import Study, sample_of
from wearsim.study.study_file import StudyResult, read_study, write_study, written_texts
from wearsim.wear.accuracy import DEFAULT, Accuracy

MOST_TRIES = 3
"""How often a chunk is given out when its worker dies."""
# A chunk of the radial engine lasts about a second, so that handing it over costs next to nothing; on the other
# hand every worker should get a few of them.
RUNS_IN_CHUNK = 250
CHUNKS_A_WORKER = 8


@dataclass(frozen=True)
class StudyProgress:
    """How far a study is: cases done (of them kept from an earlier run), failed, all."""

    done: int
    kept: int
    failed: int
    cases: int


Report = Callable[[StudyProgress], None]
Keep = Callable[[Chunk, ChunkResult], None]


def run_study(
    study: Study, output: str | Path, executor: Executor | None = None, *, workers: int | None = None,
    scheduler: str | None = None, seed: int = 0, accuracy: Accuracy = DEFAULT, force: bool = False,
    progress: Report | None = None,
) -> StudyResult:  # fmt: skip
    """Work out a study and keep it in an HDF5 file; one that is complete is read, and nothing is worked out.

    Started again after it was interrupted or killed, or ran out of disk, it goes on with what was complete (in the
    folder ``<output>.parts``) and ends with the same data.

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
    progress : callable, optional
        Given the :class:`StudyProgress` after every chunk.

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
    output, job = Path(output), job_for(study, seed, accuracy)
    identity = digest_of(study, job)
    if not output.exists() or not _is_complete(study, job, output, identity, force):
        with locked(output):
            pool = pool_for(executor, workers, scheduler)
            checkpoint = _work(study, job, identity, output, pool, force, progress)
            write_study(study, job, identity, checkpoint, output, force=force)
            checkpoint.remove()
    return read_study(output)


def _is_complete(study: Study, job: Job, output: Path, identity: str, force: bool) -> bool:
    """Whether an output that is there is this study, and is to stay; a study that is to be replaced must be sound."""
    kept = read_study(output).attributes
    if kept["identity"] != identity and not force:
        message = f"holds another study: {_what_differs(kept, study, job)}"
        raise StoreError(message, file=output, expected="another name, or --force")
    return not force


def _what_differs(kept: Mapping[str, Any], study: Study, job: Job) -> str:
    """In what a study that is there differs from this one, in words."""
    now = written_texts(study)
    parts = {
        "the study's settings": kept["study_toml"] != now["study_toml"],
        "the bench": kept["bench_toml"] != now["bench_toml"],
        "the programme": kept["programme_toml"] != now["programme_toml"],
        "the figure's file": kept.get("figure_file") != now.get("figure_file"),
        "the seed": int(kept["seed"]) != job.seed,
        "the accuracy": kept["accuracy"] != repr(job.accuracy),
    }
    found = [name for name, differs in parts.items() if differs]
    if not found:
        return "the same settings, computed by another version of wearsim's code"
    return f"{' and '.join(found)} differ{'s' if len(found) == 1 and found[0][-1] != 's' else ''}"


def _work(
    study: Study, job: Job, identity: str, output: Path, pool: Pool, force: bool, progress: Report | None
) -> Checkpoint:
    """Work out what is missing."""
    interrupted = True
    try:
        if force:
            remove_parts(checkpoint_folder(output))
        checkpoint = open_checkpoint(output, identity, chunk_size(job, study.cases, pool.count()), study.cases)
        work_missing(study, job, checkpoint, pool, progress)
        interrupted = False
    finally:
        pool.close(abandon=interrupted)
    return checkpoint


def chunk_size(job: Job, cases: int, workers: int) -> int:
    """Cases in a chunk."""
    runs = RUNS_IN_CHUNK if job.engine == "radial" else 1
    most = max(1, runs // (1 + job.draws))
    return max(1, min(most, -(-cases // (CHUNKS_A_WORKER * workers))))


def digest_of(study: Study, job: Job) -> str:
    """Digest of everything that the numbers rest on: settings, figure, seed, accuracy, program."""
    bench = study.bench
    about = study.about.model_copy(update={"bench": "", "programme": None})
    pieces = (bench.mirror, bench.laps, bench.hands, bench.wear, bench.spread, bench.light)
    figure = bench.figure if bench.figure.path is None else hashlib.sha256(bench.figure.content).hexdigest()
    rest = (about, pieces, figure, study.programme.spells, study.axes, study.sampled, study.sample)
    program = (wearsim.__version__, source_digest(), job.seed, job.accuracy)
    return hashlib.sha256(repr((rest, program)).encode()).hexdigest()


def work_missing(study: Study, job: Job, checkpoint: Checkpoint, pool: Pool, progress: Report | None = None) -> None:
    """Work out the chunks that are missing."""
    complete = checkpoint.complete()
    kept = sum(last - first for first, last in map(checkpoint.bounds, complete))
    counts = Counter(done=kept, failed=sum(complete.values()))

    def report() -> None:
        if progress is not None:
            progress(StudyProgress(counts["done"], kept, counts["failed"], checkpoint.cases))

    def keep(chunk: Chunk, result: ChunkResult) -> None:
        checkpoint.write(chunk.number, result)
        counts.update(done=len(result), failed=result.failed)
        report()

    report()
    if len(complete) < checkpoint.count:
        rows = sample_of(study, job.seed)
        missing = (number for number in range(checkpoint.count) if number not in complete)
        Dispatcher(job, (_chunk(number, checkpoint, rows) for number in missing), pool, keep).run()


def _chunk(number: int, checkpoint: Checkpoint, rows: Floats | None) -> Chunk:
    first, last = checkpoint.bounds(number)
    own = None if rows is None else rows[[place % len(rows) for place in range(first, last)]]
    return Chunk(number, first, last, own)


class Dispatcher:
    """Gives chunks to a pool, a few ahead, and keeps what comes back; what a dead worker had is given out again.

    Parameters
    ----------
    keep : callable
        Takes a chunk and its result.
    most_tries : int
        How often a chunk is given out.
    """

    def __init__(self, job: Job, chunks: Iterator[Chunk], pool: Pool, keep: Keep, most_tries: int = MOST_TRIES) -> None:
        self.job, self.chunks, self.pool, self.keep, self.most_tries = job, chunks, pool, keep, most_tries
        self.again: deque[Chunk] = deque()
        self.out: dict[Future[ChunkResult], Chunk] = {}
        self.losses: Counter[int] = Counter()

    def run(self) -> None:
        """Give out all chunks.

        Raises
        ------
        CouldNotError
            Where a chunk has lost as many workers as it may be tried.
        """
        compile_kernels(self.job)  # here first, so that workers of this machine do not all compile at once
        executor = self.pool.open()
        while True:
            broken = not self._fill(executor)
            if not self.out and not broken:
                return
            if not broken:
                broken = self._collect(wait(self.out, return_when=FIRST_COMPLETED).done)
            if broken:  # what else was out is lost with it, or done
                self._collect(wait(self.out).done)
                executor = self.pool.renew()
            self._count_losses()

    def _fill(self, executor: Executor) -> bool:
        """Give out chunks until two wait for every worker; whether the executor took them."""
        while len(self.out) < 2 * self.pool.count() + 1:
            chunk = self.again.popleft() if self.again else next(self.chunks, None)
            if chunk is None:
                return True
            try:
                self.out[executor.submit(work_compiled, self.job, chunk)] = chunk
            except self.pool.lost:
                self.again.appendleft(chunk)
                return False
        return True

    def _collect(self, ready: Iterable[Future[ChunkResult]]) -> bool:
        """Keep what futures bring, line up again what was lost; whether the executor itself broke."""
        broken = False
        for future in list(ready):
            chunk = self.out.pop(future)
            try:
                result = future.result()
            except self.pool.lost as error:
                self.again.append(chunk)
                broken = broken or isinstance(error, BrokenExecutor)
            else:
                self.keep(chunk, result)
        return broken

    def _count_losses(self) -> None:
        """Count what is lined up again, and stop where something has been too often."""
        for chunk in self.again:
            self.losses[chunk.number] += 1
            if self.losses[chunk.number] >= self.most_tries:
                raise CouldNotError(
                    f"cases {chunk.first + 1} to {chunk.last} lost their worker {self.most_tries} times (out of memory?); "
                    "finished cases are kept"
                )
