"""Long work in a process of its own: asked for from the page's loop, watched while it runs, stopped at any time."""

from __future__ import annotations

import asyncio
import atexit
import multiprocessing
import traceback
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from typing import Any

from wearsim.errors import CouldNotError, WearsimError
from wearsim.parallel import begin_worker

Progress = Callable[..., None]
_SPAWN = multiprocessing.get_context("spawn")


class Stopped(Exception):
    """The work was stopped before it was done."""


class Worker:
    """A process that does one piece of work after another.

    Parameters
    ----------
    name : str
        Of the process.
    """

    def __init__(self, name: str) -> None:
        self.name = name
        self._process: Any = None
        self._pipe: Connection | None = None
        self._turn = asyncio.Lock()
        self._waiting = ThreadPoolExecutor(1, f"{name}-answers")
        atexit.register(self.stop)

    async def ask(self, function: Callable[..., Any], *arguments: Any, progress: Progress | None = None) -> Any:
        """Have a function of a module called there.

        Parameters
        ----------
        function : callable
            Arguments and answer can be pickled; with ``progress`` it takes one argument more, called ``progress``.
        progress : callable, optional
            Called here with whatever the function reports.

        Raises
        ------
        Stopped
            Where the process was ended meanwhile. To cancel what asks ends the process too, where it works on this.
        WearsimError
            As the function raises it.
        """
        async with self._turn:
            pipe = self._started()
            try:
                pipe.send((function, arguments, progress is not None))
                return await self._answer(pipe, progress)
            except (EOFError, OSError):
                self._ended()
                raise Stopped from None
            except asyncio.CancelledError:
                self.stop()
                self._ended()
                raise

    async def _answer(self, pipe: Connection, progress: Progress | None) -> Any:
        loop = asyncio.get_running_loop()
        while True:
            kind, content = await loop.run_in_executor(self._waiting, pipe.recv)
            if kind == "progress":
                if progress is not None:
                    progress(*content)
            elif kind == "done":
                return content
            else:
                raise content

    def stop(self) -> None:
        """End what is being done, at once; the next piece of work starts a new process."""
        if self._process is not None:
            self._process.kill()

    def close(self) -> None:
        """End the process for good."""
        self.stop()
        atexit.unregister(self.stop)
        self._waiting.shutdown(wait=False, cancel_futures=True)

    def _started(self) -> Connection:
        if self._process is not None and not self._process.is_alive():
            self._ended()
        if self._process is None or self._pipe is None:
            self._pipe, theirs = _SPAWN.Pipe()
            # no daemon, which could have no processes of its own: a study has
            self._process = _SPAWN.Process(target=_serve, args=(theirs,), name=self.name)
            self._process.start()
            theirs.close()
        return self._pipe

    def _ended(self) -> None:
        # the pipe is closed by whoever lets go of it last: a thread may still be reading from it
        if self._process is not None:
            self._process.join()
        self._process = self._pipe = None


def _serve(pipe: Connection) -> None:
    """What the process does: work off what comes until nobody is there to ask."""
    begin_worker()
    with suppress(EOFError, OSError):
        while True:
            function, arguments, reports = pipe.recv()
            pipe.send(_outcome(pipe, function, arguments, reports))


def _outcome(pipe: Connection, function: Callable[..., Any], arguments: tuple[Any, ...], reports: bool) -> Any:
    more = {"progress": lambda *content: pipe.send(("progress", content))} if reports else {}
    try:
        return "done", function(*arguments, **more)
    except WearsimError as error:
        return "failed", error
    except Exception as error:  # a fault of ours: the page lives on, and says what it was
        traceback.print_exc()
        return "failed", CouldNotError(
            f"a bug in wearsim, not a mistake in your input: {type(error).__name__}: {error}"
        )


class Desk:
    """The two processes of a page: one for answers within a second, one for what takes longer."""

    def __init__(self) -> None:
        self.quick, self.long = Worker("wearsim-quick"), Worker("wearsim-long")
        self._prepared: asyncio.Task[Any] | None = None

    async def prepare(self, function: Callable[[], Any]) -> None:
        """Have what takes a while the first time done by both, once for all who wait for it; the quick one comes second.

        Kernels, for one: two processes that compile the same ones take twice as long, and while the quick one does,
        whoever types readings waits for minutes.
        """
        if self._prepared is None:
            self._prepared = asyncio.create_task(self._prepare(function))
        await asyncio.shield(self._prepared)

    async def _prepare(self, function: Callable[[], Any]) -> None:
        for worker in (self.long, self.quick):
            with suppress(Stopped, WearsimError):  # then it is done, or refused, where it is needed
                await worker.ask(function)

    def close(self) -> None:
        """End both."""
        if self._prepared is not None:
            self._prepared.cancel()
        self.quick.close()
        self.long.close()


@dataclass
class Job:
    """A piece of long work as all see it who look at it.

    Parameters
    ----------
    stage, best : str
        What is being done; the best so far, in words.
    found : list
        What there is so far.
    fault : str
        Why it ended, where it did not go well.
    work : Task, optional
        What is waited for.
    """

    is_running: bool = False
    stage: str = ""
    best: str = ""
    found: list[dict[str, Any]] = field(default_factory=list)
    fault: str = ""
    work: asyncio.Task[Any] | None = None

    async def run(
        self, worker: Worker, stage: str, changed: Callable[[str], None], function: Callable[..., Any], *arguments: Any
    ) -> None:
        """Have a function called as :meth:`Worker.ask` does, once at a time, to its end whoever stops waiting.

        Parameters
        ----------
        changed : callable
            Takes "choices" where something was found meanwhile, else "job".
        """
        if self.is_running:
            return
        self.is_running, self.stage, self.best, self.fault, self.found = True, stage, "", "", []
        changed("job")
        ask = worker.ask(function, *arguments, progress=lambda *said: changed(self._progress(*said)))
        self.work = asyncio.create_task(ask)
        try:
            found = await asyncio.shield(self.work)
            self.found += [found] if found is not None else []
        except (Stopped, asyncio.CancelledError):
            self.fault = "Stopped."
        except WearsimError as error:
            self.fault = str(error)
        finally:
            self.is_running = False
            changed("job")

    def _progress(self, kind: str, *said: Any) -> str:
        """Note what is reported: ``"stage", stage, best``, ``"choice", what was found``, or a stage alone."""
        if kind == "choice":
            self.found.append(said[0])
            return "choices"
        self.stage, self.best = (said[0], said[1] or self.best) if kind == "stage" else (kind, self.best)
        return "job"

    def stop(self) -> None:
        """Let it be, whether it is being worked or waits for its turn."""
        if self.work is not None:
            self.work.cancel()


class Latest:
    """Of requests that come faster than they are answered, the newest alone is worked.

    Parameters
    ----------
    work : callable
        Takes what was asked for last; a coroutine function.
    """

    def __init__(self, work: Callable[..., Any]) -> None:
        self._work, self._busy = work, False
        self._asked: tuple[Any, ...] | None = None

    async def ask(self, *arguments: Any) -> None:
        """Have this worked next; returns when nothing newer is waiting."""
        self._asked = arguments
        if self._busy:
            return
        self._busy = True
        try:
            while self._asked is not None:
                newest, self._asked = self._asked, None
                await self._work(*newest)
        finally:
            self._busy = False
