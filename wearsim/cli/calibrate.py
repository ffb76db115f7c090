"""``wearsim calibrate``: what do the sessions say of my hands and my pitch?"""

from __future__ import annotations

from typing import Annotated

import typer

from wearsim.cli import inputs
from wearsim.cli.options import DryRun, FolderPath, JsonOutput, Options, Workers

NAME = "calibrate"
EXAMPLE = "wearsim calibrate my-mirror --plot constants.png"
BatchDraws = Annotated[
    int | None,
    typer.Option("--draws", min=16, max=5_000, help="Random draws of the constants in each round of the search."),
]


def command(
    folder: FolderPath, options: Options, draws: BatchDraws = None, output: JsonOutput = None,
    dry_run: DryRun = False, workers: Workers = None,
) -> None:  # fmt: skip
    """What do a mirror's sessions show about your pitch and abrasive?

    Finds the Preston coefficient, stiffness, relaxation time and edge gain from all sessions together, and how well
    each is known. Names the sessions that do not fit. The worse a session fits, the less weight it has.
    """
    options.reserve({output: (".json",)}, inputs=[folder])
    from wearsim.learn.cache import FILE, KeptCalibration, keep, stale
    from wearsim.learn.calibrate import DRAWS, calibrate, check_sessions
    from wearsim.show.calibration import calibration_figure, calibration_text

    draws = DRAWS if draws is None else draws  # as every other command calibrates, so that they recall this one
    messages = options.messages
    mirror = inputs.load_folder(folder, messages)
    if dry_run:
        check_sessions(mirror)
        inputs.check_folder(mirror)
        return options.list_files([folder / FILE, output])
    messages.calibrating(len(mirror.sessions), stale(mirror, seed=options.seed, draws=draws))
    messages.compiling()
    with messages.working("working through the sessions"):
        found = calibrate(mirror, seed=options.seed, draws=draws, weighed=messages.forecast())
    keep(mirror, len(mirror.sessions), KeptCalibration.of(found), options.seed, draws)
    options.deliver(
        lambda: found.to_json(mirror.bench),
        table=lambda: calibration_text(mirror.bench, found),
        figure=lambda: calibration_figure(mirror.bench, found),
        json_file=output,
    )
    messages.next("propose", folder, "--minutes", 60)
