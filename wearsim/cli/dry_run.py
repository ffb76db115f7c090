"""``--dry-run``: everything is checked, nothing is written, and the work ahead is told."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wearsim.cli.manners import SAID, Manners

if TYPE_CHECKING:
    from wearsim.wear.ahead import Ahead

DryRun = Annotated[
    bool, typer.Option("--dry-run", help="Check all input, say how long it would take; write nothing.")
]


def after(first: Ahead | None, then: Ahead) -> Ahead:
    """What comes first, if anything, and then the command's own work.

    Parameters
    ----------
    first : Ahead or None
    then : Ahead

    Returns
    -------
    Ahead
    """
    if first is None:
        return then
    from wearsim.learn.ahead import after_that  # slow to import, and of use to a mirror's folder alone

    return after_that(first, then)


def tell(manners: Manners, ahead: Ahead, files: Iterable[Path | None], *more: str) -> None:
    """Print what a dry run has to say; next comes the same command in earnest.

    Parameters
    ----------
    manners : Manners
    ahead : Ahead
        What the command would do.
    files : iterable of Path or None
        What it would write besides the plot; None for what was not asked for.
    *more : str
        Worth adding to the command.
    """
    from wearsim.show.ahead_table import ahead_text
    from wearsim.wear.ahead import started

    ahead = started(ahead)
    named = [str(path) for path in (*files, manners.plot) if path is not None]
    if manners.json:
        print(json.dumps({"dry_run": True, **ahead.to_json(), "would_write": named}, allow_nan=False))
    else:
        print(ahead_text(ahead, named))
    in_earnest(manners, *more)


def in_earnest(manners: Manners, *more: str) -> None:
    """Name what comes next: the same command without ``--dry-run``.

    Parameters
    ----------
    manners : Manners
    *more : str
        Worth adding to it.
    """
    manners.voice.next(*(word for word in SAID.get() if word != "--dry-run"), *more)
