"""What is said beside the answer: all of it goes to stderr, none of it moves away from a terminal.

The bar of a study: cases done, rate, time left, failures; nothing at all away from a terminal.
"""

from __future__ import annotations

import os
import shlex
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, TextIO

from wearsim.show.text import paragraph

if TYPE_CHECKING:
    from wearsim.study.run import Progress


@contextmanager
def case_bar(quiet: bool = False) -> Iterator[Callable[[Progress], None] | None]:
    """Something to tell a study's progress to, None where nobody looks.

    Parameters
    ----------
    quiet : bool
        Nothing is shown.

    Yields
    ------
    callable or None
        Takes a :class:`wearsim.study.run.Progress`.
    """
    if quiet or not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeRemainingColumn
    from rich.progress import Progress as Bar

    columns = (
        MofNCompleteColumn(), TextColumn("cases"), BarColumn(), TextColumn("{task.fields[rate]}"),
        TimeRemainingColumn(compact=True), TextColumn("{task.fields[failed]}"),
    )  # fmt: skip
    with Bar(*columns, console=Console(stderr=True)) as bar:
        task = bar.add_task("", total=None, rate="", failed="")

        def show(progress: Progress) -> None:
            speed = bar.tasks[task].speed
            bar.update(
                task, completed=progress.done, total=progress.cases,
                rate=f"{speed:.0f}/s" if speed else "",
                failed=f"{progress.failed} failed" if progress.failed else "",
            )  # fmt: skip

        yield show


def is_coloured(stream: TextIO) -> bool:
    """Whether emphasis is wanted: at a terminal that can show it, unless ``NO_COLOR`` says no."""
    return stream.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


@dataclass(frozen=True)
class Voice:
    """Speaks to the person.

    Parameters
    ----------
    quiet : bool
        Nothing but failures.
    verbose : bool
        Sources and details too.
    """

    quiet: bool = False
    verbose: bool = False

    def say(self, text: str = "") -> None:
        """Lines that are laid out already."""
        if not self.quiet:
            print(text, file=sys.stderr)

    def warn(self, text: str) -> None:
        """A warning, in bold where that can be shown."""
        if self.quiet:
            return
        line = paragraph(text, "Warning: ", "         ")
        if is_coloured(sys.stderr):
            line = line.replace("Warning:", "\x1b[1mWarning:\x1b[0m", 1)
        print(line, file=sys.stderr)

    def next(self, *arguments: object) -> None:
        """Name the sensible next command, ready to be copied."""
        self.say("Next: " + shlex.join(["wearsim", *map(str, arguments)]))

    def fail(self, text: str) -> None:
        """The one line of a failure."""
        print(f"wearsim: {text}", file=sys.stderr)

    @contextmanager
    def working(self, what: str) -> Iterator[None]:
        """Show at a terminal that something is being worked on.

        Parameters
        ----------
        what : str
            Said beside it.

        Yields
        ------
        None
        """
        if self.quiet or not sys.stderr.isatty():
            yield
            return
        from rich.console import Console

        with Console(stderr=True).status(what):
            yield

    @contextmanager
    def progress(self) -> Iterator[Callable[[str, float], None] | None]:
        """Where a search can say its stage; None away from a terminal.

        Yields
        ------
        callable or None
            Takes the stage's name and the best RMS so far [m].
        """
        if self.quiet or not sys.stderr.isatty():
            yield None
            return
        from rich.console import Console

        with Console(stderr=True).status("searching") as status:

            def report(stage: str, best: float) -> None:
                status.update(f"{stage}: best so far {best * 1e9:.0f} nm RMS")

            yield report

    @contextmanager
    def bar(self, what: str) -> Iterator[Callable[[float], None] | None]:
        """A bar that is told the share of the work done, with the time left; None away from a terminal.

        Parameters
        ----------
        what : str
            Said beside it.

        Yields
        ------
        callable or None
            Takes the share of the work that is done [1].
        """
        if self.quiet or not sys.stderr.isatty():
            yield None
            return
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

        columns = TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeRemainingColumn()
        with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
            task = progress.add_task(what, total=1.0)
            yield lambda share: progress.update(task, completed=share)
