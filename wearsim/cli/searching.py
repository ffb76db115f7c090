"""The bar of a search: at a terminal alone, with the stage and the best so far."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from wearsim.cli.voice import Voice

Tell = Callable[[str, float], None]


def best_text(stage: str, cost: float) -> str:
    """One line of a search: its stage, and the best cost so far [m]."""
    return f"{stage}: best so far {cost * 1e9:.1f} nm"


@contextmanager
def searching(voice: Voice) -> Iterator[Tell | None]:
    """Show how a search goes.

    Parameters
    ----------
    voice : Voice

    Yields
    ------
    callable or None
        To be told the stage and the best cost so far [m]; None where nobody looks.
    """
    if voice.quiet or not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    look = (BarColumn(bar_width=24), TimeElapsedColumn(), TextColumn("{task.description}"))
    with Progress(*look, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("looking at every allowed stroke", total=None)
        yield lambda stage, cost: bar.update(task, description=best_text(stage, cost))
