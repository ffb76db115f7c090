"""Kernels compiled once, before workers ask for them.

Workers that start together would each compile the same kernels at once. So the kernels are compiled by a process of
their own that works a few seconds of the programme and ends; a mark in the cache folder says that it has been. Where
the cache cannot be written all compile for themselves; the results are the same to the last bit (kernels that others
call are compiled into them: :func:`wearsim.kernels._jit.inlined`).
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

from wearsim.errors import ContactError, InputError
from wearsim.kernels._jit import cache_folder
from wearsim.study.cases import Chunk, Job, Part, work_case, work_chunk

_MINUTES = 0.05
"""A spell this long runs through every kernel."""


def mark_of(engine: str) -> Path:
    """The file that says that an engine's kernels are in the cache."""
    return cache_folder() / f"study-{engine}.ready"


@lru_cache(maxsize=8)
def _asked(mark: Path) -> list[bool]:
    return []


def warm_up(job: Job) -> None:
    """Have the kernels of a job compiled by a process of their own, where that has not been done; once a process."""
    mark = mark_of(job.engine)
    asked = _asked(mark)
    if asked or mark.exists():
        return
    asked.append(True)
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
    subprocess.run(
        [sys.executable, "-m", "wearsim.study.warm"], input=pickle.dumps(job), env=environment, check=False,
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip


def work_warm(job: Job, chunk: Chunk) -> Part:
    """Work out a chunk with kernels from the cache; what workers run."""
    warm_up(job)
    return work_chunk(job, chunk)


def compile_for(job: Job) -> bool:
    """Work a short version of the job's programme on its bench as it stands, and leave the mark.

    Returns
    -------
    bool
        Whether it could be worked; otherwise no mark is left, and workers compile for themselves.
    """
    spells = tuple(spell.model_copy(update={"minutes": _MINUTES}) for spell in job.programme.spells)
    programme = job.programme.model_copy(update={"spells": spells})
    try:
        work_case(replace(job, programme=programme, axes=(), sampled=(), shape=(1,), draws=0), 0, None)
        mark_of(job.engine).touch()
    except (InputError, ContactError, OSError):
        return False
    return True


if __name__ == "__main__":
    compile_for(pickle.load(sys.stdin.buffer))
