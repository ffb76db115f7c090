"""``wearsim calibrate``: what do the sessions say of my hands and my pitch?"""

from __future__ import annotations

from typing import Annotated

import typer

from wearsim.cli import dry_run as dry
from wearsim.cli import inputs
from wearsim.cli.inputs import FolderPath
from wearsim.cli.manners import Manners

NAME = "calibrate"
EXAMPLE = "wearsim calibrate my-mirror --plot constants.png"
Draws = Annotated[
    int, typer.Option("--draws", min=16, max=100_000, help="Of the constants, in a lot of the search.")
]


def command(folder: FolderPath, manners: Manners, draws: Draws = 128, dry_run: dry.DryRun = False) -> None:
    """What do the sessions of a mirror say of hands and pitch?

    Preston coefficient, stiffness, relaxation time and edge gain from all sessions together, with what is still
    open; which sessions do not fit is said, and they do not count.
    """
    manners.reserve({}, inputs=[folder])
    from wearsim.learn.calibrate import calibrate
    from wearsim.learn.folder import open_folder
    from wearsim.learn.remember import FILE, Known, keep
    from wearsim.show.calibration_plot import calibration_figure
    from wearsim.show.calibration_table import calibration_text

    there = open_folder(folder)
    inputs.tell_compiling(manners.voice)
    if dry_run:
        from wearsim.learn.ahead import calibrate_ahead

        dry.tell(manners, calibrate_ahead(there, draws=draws), [folder / FILE])
        manners.voice.next("calibrate", folder)
        return
    with manners.voice.working("working through the sessions"):
        found = calibrate(there, seed=manners.seed, draws=draws)
    keep(there, len(there.sessions), Known.of(found), manners.seed, draws)
    manners.deliver(
        lambda: found.to_json(there.bench),
        table=lambda: calibration_text(there.bench, found),
        figure=lambda: calibration_figure(there.bench, found),
    )
    manners.voice.next("propose", folder, "--minutes", 60)
