"""``wearsim history``: a mirror through its sessions."""

from __future__ import annotations

from typing import TYPE_CHECKING

from wearsim.cli import inputs
from wearsim.cli.options import DryRun, FolderPath, JsonOutput, Options, Workers

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from wearsim.cli.terminal import Messages
    from wearsim.learn.history import History
    from wearsim.learn.mirror_folder import MirrorFolder

NAME = "history"
EXAMPLE = "wearsim history my-mirror --plot history.png"


def command(
    folder: FolderPath, options: Options, output: JsonOutput = None, dry_run: DryRun = False, workers: Workers = None
) -> None:
    """The figure after each session, predicted and measured.

    Shows the hours worked as well. Each session is predicted from what was known before it.
    """
    options.reserve({output: (".json",)}, inputs=[folder])
    from wearsim.show.history import history_text

    messages = options.messages
    mirror = inputs.load_folder(folder, messages)
    if dry_run:
        inputs.check_folder(mirror)
        return options.list_files([inputs.kept_file(mirror, every=True, seed=options.seed), output])
    messages.compiling()
    mirror_history = history_of(mirror, messages, options.seed)
    options.deliver(
        mirror_history.to_json,
        table=lambda: history_text(mirror_history),
        figure=lambda: plot_of(mirror, mirror_history),
        json_file=output,
    )
    messages.next("propose", folder, "--minutes", 60)


def history_of(folder: MirrorFolder, messages: Messages, seed: int) -> History:
    """The history of a mirror, its folder calibrated after every session where that has not been done."""
    from wearsim.learn.history import history

    with inputs.calibrating(folder, messages, every=True, seed=seed):
        return history(folder, seed=seed)


def plot_of(folder: MirrorFolder, mirror_history: History) -> Figure:
    """The plot of it, in the unit of the mirror's bench."""
    from wearsim.bench.units import length_unit
    from wearsim.show.history import history_figure

    return history_figure(mirror_history, folder.bench.mirror, length_unit(folder.bench))
