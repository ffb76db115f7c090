"""``wearsim history``: a mirror through its sessions."""

from __future__ import annotations

from wearsim.cli import inputs
from wearsim.cli import options as dry
from wearsim.cli.inputs import FolderPath
from wearsim.cli.options import JsonOutput, Manners

NAME = "history"
EXAMPLE = "wearsim history my-mirror --plot history.png"


def command(
    folder: FolderPath, manners: Manners, output: JsonOutput = None, dry_run: dry.DryRun = False
) -> None:  # fmt: skip
    """The figure through the sessions, predicted against measured.

    With the hours worked. Each session is predicted with what was known before it.
    """
    manners.reserve({output: (".json",)}, inputs=[folder])
    from wearsim.learn.cache import FILE
    from wearsim.learn.folder import open_folder
    from wearsim.learn.history import history
    from wearsim.show.history import history_figure, history_text
    from wearsim.show.units import length_unit

    there = open_folder(folder)
    inputs.tell_days(manners.voice, there)
    unit = length_unit(there.bench)
    inputs.tell_compiling(manners.voice)
    if dry_run:
        from wearsim.learn.ahead import history_ahead

        dry.tell(manners, history_ahead(there), [folder / FILE, output])
        return
    inputs.tell_stale(manners.voice, there, seed=manners.seed)
    with manners.voice.working("working through the sessions"):
        told = history(there, seed=manners.seed)
    manners.deliver(
        told.to_json,
        table=lambda: history_text(told),
        figure=lambda: history_figure(told, there.bench.mirror, unit),
        write=lambda: manners.write_json(told.to_json(), output),
    )
    manners.voice.next("propose", folder, "--minutes", 60)
