"""Messages beside the answer: all of them go to stderr, none of them moves away from a terminal."""

from __future__ import annotations

import os
import shlex
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import date
from io import TextIOWrapper
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

from wearsim.errors import CouldNotError
from wearsim.show.text import duration, paragraph

if TYPE_CHECKING:
    from wearsim.bench.bench import Bench
    from wearsim.bench.programme import Programme
    from wearsim.learn.mirror_folder import MirrorFolder
    from wearsim.study.run import StudyProgress
    from wearsim.wear.constants import Belief


_CONTROL = {code: f"\\x{code:02x}" for code in (*range(32), *range(127, 160)) if chr(code) not in "\n\t"}


def shown(text: str) -> str:
    """A text that may hold what a file holds, with nothing in it that a terminal obeys."""
    return text.translate(_CONTROL)


def be_ready() -> None:
    """Let the streams take every name and text, and be there: what they cannot show is replaced."""
    for name, how in (("stdout", "replace"), ("stderr", "backslashreplace")):
        stream = getattr(sys, name)
        if stream is None:  # closed by whoever started us
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115, PTH123
        elif isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors=how)


def put(text: str) -> None:
    """Print the answer, down to whatever stdout is.

    Raises
    ------
    CouldNotError
        Where it is not taken, such as by a full disk. Whoever merely stopped reading is a ``BrokenPipeError``.
    """
    try:
        print(shown(text))
        sys.stdout.flush()
    except BrokenPipeError:
        raise
    except OSError as error:
        discard_output()
        raise CouldNotError(f"stdout cannot be written ({error.strerror or error})") from error


def discard_output() -> None:
    """Lead stdout nowhere: what is left in it must not fail again when Python ends."""
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def is_coloured(stream: TextIO) -> bool:
    """Whether emphasis is wanted: at a terminal that can show it, unless ``NO_COLOR`` says no."""
    return stream.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def _say(text: str) -> None:
    """To stderr; where even that is full nothing can be said, and the work goes on."""
    with suppress(OSError, ValueError):
        print(text, file=sys.stderr)


@dataclass(frozen=True)
class Messages:
    """To the person: nothing but failures where ``quiet``, sources and details too where ``verbose``."""

    quiet: bool = False
    verbose: bool = False

    def info(self, text: str = "") -> None:
        """Lines that are laid out already."""
        if not self.quiet:
            _say(shown(text))

    def warn(self, text: str) -> None:
        """A warning, in bold where that can be shown."""
        line = shown(paragraph(text, "Warning: ", "         "))
        if is_coloured(sys.stderr):
            line = line.replace("Warning:", "\x1b[1mWarning:\x1b[0m", 1)
        if not self.quiet:
            _say(line)

    def next(self, *arguments: object) -> None:
        """Name the sensible next command, ready to be copied."""
        self.info("Next: " + shlex.join(["wearsim", *map(str, arguments)]))

    def nothing_to_write(self, why: str, *files: Path | None) -> None:
        """Name the files that were asked for and are not written, because there is nothing to put in them."""
        if names := [str(file) for file in files if file is not None]:
            verb = "is" if len(names) == 1 else "are"
            self.info(paragraph(f"{' and '.join(names)} {verb} not written: {why}."))

    def fail(self, text: str) -> None:
        """The one line of a failure."""
        _say(f"wearsim: {shown(' '.join(text.split()))}")

    def compiling(self) -> None:
        """Say so where the first call ever has to compile the kernels."""
        from wearsim.kernels._jit import is_compiled, why_not_kept

        if is_compiled():
            return
        reason = why_not_kept()
        if reason is None:
            self.info("First use on this machine: compiling takes about a minute, once only.")
        else:
            self.info(
                "Compiling takes about a minute and will be repeated on every run, because the result cannot be saved "
                f"({reason})."
            )

    def calibrating(self, count: int, reason: str | None = None) -> None:
        """Say that a mirror's folder is calibrated now, from how many sessions, and why again; nothing where it is not."""
        if reason is not None:
            self.info(reason)
        if count:
            from wearsim.bench.units import counted

            self.info(f"Calibrating from {counted(count, 'session')}.")

    def defaults(self, bench: Bench, programme: Programme | None = None, belief: Belief | None = None) -> None:
        """Say which defaults were used; with ``-v`` where each comes from.

        Where a mirror's sessions give the constants, ``belief``, these are said.
        """
        from wearsim.show.notices import defaults_text

        used = bench.defaults_used + (programme.defaults_used if programme else ())
        if belief is not None:
            from wearsim.show.calibration import learned_text

            self.info(learned_text(bench, belief))
        if used:
            self.info(defaults_text(used, sources=self.verbose))

    def cautions(self, *, at_the_light: bool = False) -> None:
        """Two lines of caution; with ``-v`` all of them."""
        from wearsim.show.notices import cautions_text

        self.info(cautions_text(whole=self.verbose, at_the_light=at_the_light))

    def risks(self, bench: Bench) -> None:
        """With ``-v`` how much surface each effect may make that a prediction leaves out."""
        if not self.verbose:
            return
        from wearsim.show.risks import risks_text
        from wearsim.wear.bench_risks import bench_risks

        self.info(risks_text(bench_risks(bench), bench.light.wavelength))

    def waiting(self, bench: Bench, waited: float | None) -> None:
        """Warn where the glass cooled for too short a time [s], if the time is known."""
        if waited is None:
            return
        from wearsim.knifeedge.cooling import cooling

        mirror = bench.mirror
        warning = cooling(mirror.diameter, mirror.thickness, mirror.material).warning(waited)
        if warning is not None:
            self.warn(warning)

    def dates(self, folder: MirrorFolder) -> None:
        """Warn of a session that is dated before the one before it, sessions being taken in the order of their numbers, or
        in the future."""
        for session in folder.sessions:
            if session.note.date > date.today():
                self.warn(
                    f"session {session.number} is dated {session.note.date}, in the future by this computer's clock."
                )
        for before, session in pairwise(folder.sessions):
            if session.note.date < before.note.date:
                self.warn(
                    f"session {session.number} is dated {session.note.date}, before session {before.number} "
                    f"({before.note.date}); the order of the numbers is used."
                )

    @property
    def is_live(self) -> bool:
        """Whether somebody watches: a terminal, and not ``quiet``."""
        return not self.quiet and sys.stderr.isatty()

    @contextmanager
    def working(self, what: str) -> Iterator[Any]:
        """Show at a terminal that something is being worked on.

        Yields
        ------
        rich.status.Status or None
            None away from a terminal.
        """
        if not self.is_live:
            yield None
            return
        from rich.console import Console

        with Console(stderr=True).status(what) as status:
            yield status

    @contextmanager
    def searching(self) -> Iterator[Callable[[str, float], None] | None]:
        """Where a search can say its stage; None away from a terminal.

        Yields
        ------
        callable or None
            Takes the stage's name and the best RMS so far [m].
        """
        from wearsim.bench.personal_units import height_text

        with self.working("searching") as status:
            yield (
                None
                if status is None
                else lambda stage, best: status.update(f"{stage}: best so far {height_text(best)} RMS")
            )

    def forecast(self, kept: str = "without keeping anything") -> Callable[[float], None] | None:
        """What takes the share of the work done [1] and says in a line how long it takes, if long; None where ``quiet``."""
        return None if self.quiet else LongWork(self, kept=kept).report

    @contextmanager
    def bar(self, what: str) -> Iterator[Callable[[float], None] | None]:
        """A bar of the share of the work done, with the time left; away from a terminal a line where it takes long.

        Yields
        ------
        callable or None
            Takes the share of the work that is done [1]; None where ``quiet``.
        """
        if not self.is_live:
            yield self.forecast()
            return
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

        columns = TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeRemainingColumn()
        with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
            task, work = progress.add_task(what, total=1.0), LongWork(self)

            def show(share: float) -> None:
                work.report(share)
                progress.update(task, completed=share)

            yield show

    @contextmanager
    def case_bar(self) -> Iterator[Callable[[StudyProgress], None]]:
        """The bar of a study: cases done, rate, time left, failures; away from a terminal a line where it takes long.

        Yields
        ------
        callable
            Takes a :class:`wearsim.study.run.StudyProgress`.
        """
        if not self.is_live:
            forecast = self.forecast("and keeps the finished cases")

            def say(progress: StudyProgress) -> None:
                if forecast is not None and progress.done > progress.kept:  # the workers have begun
                    forecast(progress.done / progress.cases)

            yield say
            return
        from rich.console import Console
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

        columns = (
            MofNCompleteColumn(), TextColumn("cases"), BarColumn(), TextColumn("{task.fields[rate]}"),
            TimeRemainingColumn(compact=True), TextColumn("{task.fields[failed]}"),
        )  # fmt: skip
        with Progress(*columns, console=Console(stderr=True)) as bar:
            task = bar.add_task("", total=None, rate="", failed="")

            def show(progress: StudyProgress) -> None:
                speed = bar.tasks[task].speed
                rate = f"{speed:.0f}/s" if speed else ""
                failed = f"{progress.failed} failed" if progress.failed else ""
                bar.update(task, completed=progress.done, total=progress.cases, rate=rate, failed=failed)

            yield show


class LongWork:
    """Says once how long work takes that takes long, as soon as that can be known.

    Parameters
    ----------
    clock : callable, optional
        The time [s].
    kept : str
        What stays of it where it is stopped.
    """

    AFTER, LONG = 2.0, 120.0
    """It is estimated after so long, and said where more than that is left [s]."""

    def __init__(
        self, messages: Messages, clock: Callable[[], float] = time.monotonic, kept: str = "without keeping anything"
    ) -> None:
        self._messages, self._clock, self._kept = messages, clock, kept
        self._began: tuple[float, float] | None = None
        self._is_said = False

    def report(self, share: float) -> None:
        """Take the share of the work that is done [1]; the first begins the clock, everything is loaded by then."""
        now = self._clock()
        if self._began is None:
            self._began = share, now
            return
        done, taken = share - self._began[0], now - self._began[1]
        if self._is_said or taken < self.AFTER or done <= 0.0:
            return
        left = taken * (1.0 - share) / done
        if left > self.LONG:
            self._is_said = True
            self._messages.info(f"This will take about {duration(left)} more. Ctrl-C stops it {self._kept}.")
