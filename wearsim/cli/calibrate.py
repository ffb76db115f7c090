"""``wearsim calibrate``: what do the sessions say of my hands and my pitch?"""

from __future__ import annotations

from typing import Annotated

import typer

from wearsim.cli import inputs
from wearsim.cli.inputs import FolderPath
from wearsim.cli.options import DryRun, JsonOutput, Manners, Workers

NAME = "calibrate"
EXAMPLE = "wearsim calibrate my-mirror --plot constants.png"
Draws = Annotated[int, typer.Option("--draws", min=16, max=100_000, help="Of the constants, in a lot of the search.")]


def command(
    folder: FolderPath, manners: Manners, draws: Draws = 128, output: JsonOutput = None,
    dry_run: DryRun = False, workers: Workers = None,
) -> None:  # fmt: skip
    """What do the sessions of a mirror say of hands and pitch?

    Preston coefficient, stiffness, relaxation time and edge gain from all sessions together, with what is still
    open; which sessions do not fit is said, and they do not count.
    """
    manners.reserve({output: (".json",)}, inputs=[folder])
    from wearsim.learn.cache import FILE, Known, keep
    from wearsim.learn.calibrate import calibrate, check_sessions
    from wearsim.learn.folder import open_folder
    from wearsim.show.calibration import calibration_figure, calibration_text

    there = open_folder(folder)
    inputs.tell_days(manners.voice, there)
    if dry_run:
        check_sessions(there)
        inputs.check_folder(there)
        manners.list_files([folder / FILE, output])
        return
    inputs.tell_stale(manners.voice, there, seed=manners.seed, draws=draws)
    inputs.tell_compiling(manners.voice)
    with manners.voice.working("working through the sessions"):
        found = calibrate(there, seed=manners.seed, draws=draws)
    keep(there, len(there.sessions), Known.of(found), manners.seed, draws)
    manners.deliver(
        lambda: found.to_json(there.bench),
        table=lambda: calibration_text(there.bench, found),
        figure=lambda: calibration_figure(there.bench, found),
        write=lambda: manners.write_json(found.to_json(there.bench), output),
    )
    manners.voice.next("propose", folder, "--minutes", 60)
