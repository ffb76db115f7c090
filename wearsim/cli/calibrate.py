"""``wearsim calibrate``: what do the sessions say of my hands and my pitch?"""

from __future__ import annotations

from typing import Annotated

import typer

from wearsim.cli import inputs
from wearsim.cli import options as dry
from wearsim.cli.inputs import FolderPath
from wearsim.cli.options import JsonOutput, Manners, Workers

NAME = "calibrate"
EXAMPLE = "wearsim calibrate my-mirror --plot constants.png"
Draws = Annotated[int, typer.Option("--draws", min=16, max=100_000, help="Of the constants, in a lot of the search.")]

Hands = Annotated[
    bool,
    typer.Option(
        "--jitter",
        help="Ask about the hands' spread from stroke to stroke too: ten seconds or more a session. Most often they "
        "cannot tell.",
    ),
]


def command(
    folder: FolderPath, manners: Manners, draws: Draws = 128, jitter: Hands = False,
    output: JsonOutput = None, dry_run: dry.DryRun = False, workers: Workers = None,
) -> None:  # fmt: skip
    """What do the sessions of a mirror say of hands and pitch?

    Preston coefficient, stiffness, relaxation time and edge gain from all sessions together, with what is still
    open; which sessions do not fit is said, and they do not count. The spread of the hands from stroke to stroke stays as
    the bench states it, unless it is asked for.
    """
    manners.reserve({output: (".json",)}, inputs=[folder])
    from wearsim.learn.calibrate import calibrate, calibrate_with_jitter
    from wearsim.learn.calibration_file import FILE
    from wearsim.learn.folder import open_folder
    from wearsim.learn.remember import Known, fault_in, keep, remembered_jitter
    from wearsim.show.calibration import calibration_figure, calibration_text

    there = open_folder(folder)
    inputs.tell_days(manners.voice, there)
    damage = fault_in(there, manners.seed, draws)
    if damage is not None:
        manners.voice.warn(f"{damage.file}: {damage.key or ''} {damage.message}: all that was kept there is made anew.")
    known = 1.0 if jitter or damage is not None else remembered_jitter(there)
    inputs.tell_compiling(manners.voice)
    if dry_run:
        from wearsim.learn.ahead import calibrate_ahead, with_hands

        ahead = calibrate_ahead(there, draws=draws)
        dry.tell(manners, with_hands(there, ahead) if jitter else ahead, [folder / FILE, output])
        return
    with manners.voice.working("working through the sessions"):
        if jitter:
            found = calibrate_with_jitter(there, seed=manners.seed, draws=draws)
        else:
            found = calibrate(there.with_jitter(known), seed=manners.seed, draws=draws)
    keep(there, len(there.sessions), Known.of(found, known), manners.seed, draws, asked=jitter, anew=damage is not None)
    manners.deliver(
        lambda: found.to_json(there.bench, known),
        table=lambda: calibration_text(there.bench, found, known),
        figure=lambda: calibration_figure(there.bench, found),
        write=lambda: manners.write_json(found.to_json(there.bench, known), output),
    )
    manners.voice.next("propose", folder, "--minutes", 60)
