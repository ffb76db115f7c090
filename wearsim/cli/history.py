"""``wearsim history``: a mirror through its sessions."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from wearsim.cli import inputs
from wearsim.cli.inputs import FolderPath
from wearsim.cli.options import DryRun, JsonOutput, Manners

if TYPE_CHECKING:
    from wearsim.learn.folder import MirrorFolder

NAME = "history"
EXAMPLE = "wearsim history my-mirror --plot history.png"


def command(
    folder: FolderPath, manners: Manners, output: JsonOutput = None, dry_run: DryRun = False
) -> None:  # fmt: skip
    """The figure through the sessions, predicted against measured.

    With the hours worked. Each session is predicted with what was known before it.
    """
    manners.reserve({output: (".json",)}, inputs=[folder])
    from wearsim.bench.units import length_unit
    from wearsim.learn.folder import open_folder
    from wearsim.learn.history import history
    from wearsim.show.history import history_figure, history_text

    there = open_folder(folder)
    inputs.tell_days(manners.voice, there)
    unit = length_unit(there.bench)
    if dry_run:
        inputs.check_folder(there)
        manners.list_files([_kept(there, manners.seed), output])
        return
    inputs.tell_stale(manners.voice, there, seed=manners.seed)
    inputs.tell_compiling(manners.voice)
    with manners.voice.working("working through the sessions"):
        told = history(there, seed=manners.seed)
    manners.deliver(
        told.to_json,
        table=lambda: history_text(told),
        figure=lambda: history_figure(told, there.bench.mirror, unit),
        write=lambda: manners.write_json(told.to_json(), output),
    )
    manners.voice.next("propose", folder, "--minutes", 60)


def _kept(there: MirrorFolder, seed: int) -> Path | None:
    """What is written into the folder, where something is still to be calibrated."""
    from wearsim.learn.cache import FILE, recalled

    counts = range(1, len(there.sessions) + 1)
    is_known = all(recalled(there, count, seed=seed) is not None for count in counts)
    return None if is_known else there.path / FILE
