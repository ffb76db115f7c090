"""Long work in a process of its own."""

from __future__ import annotations

import asyncio
import multiprocessing
import os
import time
from concurrent.futures import ProcessPoolExecutor
from typing import Any

import pytest

from wearsim.errors import CouldNotError, InputError
from wearsim.worker import Job, Latest, Stopped, Worker


def double(number: int) -> tuple[int, int]:
    """Also says which process it was."""
    return 2 * number, os.getpid()


def count(most: int, *, progress: Any) -> str:
    """Reports each number."""
    for number in range(most):
        progress(number)
    return "done"


def ask_children() -> bool:
    """Has processes of its own, as a study has."""
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as pool:
        return pool.submit(os.getpid).result() != os.getpid()


def sleep_long(*, progress: Any) -> None:
    """Longer than any test."""
    time.sleep(600)


def refuse() -> None:
    """As bad input does."""
    raise InputError("not so", key="k", value=3, expected="better")


def fail() -> None:
    """As a fault of ours does."""
    raise ZeroDivisionError


def test_what_a_worker_does() -> None:
    async def ask() -> None:
        worker, told = Worker("test"), list[int]()
        (answer, process), again = await worker.ask(double, 21), await worker.ask(double, 1)
        assert answer == 42 and process != os.getpid() and again == (2, process)
        assert await worker.ask(count, 3, progress=told.append) == "done" and told == [0, 1, 2]
        with pytest.raises(InputError, match=r"not so.*better"):
            await worker.ask(refuse)
        with pytest.raises(CouldNotError, match="ZeroDivisionError"):
            await worker.ask(fail)
        assert await worker.ask(ask_children)
        await _stop(worker, process)
        await _cancel(worker)
        worker.close()

    asyncio.run(ask())


async def _stop(worker: Worker, before: int) -> None:
    """Work that is stopped ends at once; the next piece is done by another process."""
    sleeping = asyncio.ensure_future(worker.ask(time.sleep, 600))
    await asyncio.sleep(0.3)
    worker.stop()
    with pytest.raises(Stopped):
        await sleeping
    assert (await worker.ask(double, 2))[1] != before


async def _cancel(worker: Worker) -> None:
    """Who is cancelled while waiting for a turn stops nobody else; who is at work is ended."""
    first, second = Job(), Job()
    told: list[str] = []
    works = [asyncio.create_task(job.run(worker, "", told.append, sleep_long)) for job in (first, second)]
    await asyncio.sleep(0.3)
    second.stop()
    await asyncio.wait_for(works[1], 60)
    assert second.fault == "Stopped." and first.is_running
    first.stop()
    await asyncio.wait_for(works[0], 60)
    assert first.fault == "Stopped." and not first.is_running and told.count("job") == 4
    assert (await worker.ask(double, 3))[0] == 6


def test_only_the_newest_request_is_worked() -> None:
    async def ask() -> list[int]:
        worked: list[int] = []

        async def work(number: int) -> None:
            worked.append(number)
            await asyncio.sleep(0.02)

        latest = Latest(work)
        await asyncio.gather(*(latest.ask(number) for number in range(20)))
        return worked

    assert asyncio.run(ask()) == [0, 19]
