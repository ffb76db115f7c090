"""The bar of a study: cases done, rate, time left, failures; nothing at all away from a terminal."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

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
