"""``wearsim rehearse``: the whole loop on a mirror that costs nothing."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wearsim.cli import inputs
from wearsim.cli.history import history_of, plot_of
from wearsim.cli.options import DryRun, FolderPath, JsonOutput, Options, Workers, check_parent
from wearsim.errors import InputError

if TYPE_CHECKING:
    from wearsim.cli.terminal import Messages
    from wearsim.learn.practice.practice_file import Practice
    from wearsim.learn.practice.rehearse import Round

NAME = "rehearse"
EXAMPLE = "wearsim rehearse practice-mirror --seed 7"


class FaultChoice(StrEnum):
    """What is wrong with a new practice mirror."""

    ring = "raised ring"
    oblate = "oblate"
    sphere = "sphere"
    edge = "turned edge"


FaultOption = Annotated[
    FaultChoice | None, typer.Option("--fault", help="Fault of a new mirror; drawn at random by default.")
]
Diameter = Annotated[
    str | None, typer.Option("--diameter", metavar="D", help='Diameter of a new mirror: "250 mm" or "10 in".')
]
Ratio = Annotated[
    float | None,
    typer.Option(
        "--focal-ratio", metavar="RATIO", parser=inputs.parse_focal_ratio, help="Focal ratio of a new mirror: 5 or f/5."
    ),
]
Sessions = Annotated[int, typer.Option("--sessions", min=0, max=50, help="Maximum number of sessions.")]
Minutes = Annotated[float, typer.Option("--minutes", help="Minutes of work per session.")]
Own = Annotated[
    Path | None,
    typer.Option("--programme", "-p", metavar="FILE", help="Programme for one session, instead of a proposal."),
]


def command(
    folder: FolderPath, options: Options, fault: FaultOption = None, diameter: Diameter = None,
    focal_ratio: Ratio = None, sessions: Sessions = 6, minutes: Minutes = 60.0, programme: Own = None,
    output: JsonOutput = None, dry_run: DryRun = False, workers: Workers = None,
) -> None:  # fmt: skip
    """Practise the whole cycle on a simulated mirror.

    Takes readings, proposes, works the glass, records and calibrates, round after round. Creates a new folder,
    marked as practice, or continues an existing one. --sessions 0 only makes the mirror; --programme carries out a
    session of your own.
    """
    options.reserve({output: (".json",)}, inputs=[folder, programme])
    inputs.parse_limits(minutes=minutes)
    messages = options.messages
    fresh = _fresh(folder, options.seed, fault, diameter, focal_ratio)
    if dry_run:
        _check(folder, fresh, programme)
        return options.list_files([folder, output])
    from wearsim.learn.mirror_folder import open_folder
    from wearsim.learn.practice.rehearse import one_session, start_practice
    from wearsim.show.history import ending_text

    messages.compiling()
    if fresh is not None:
        start_practice(folder, fresh)
        messages.info(f"A simulated practice mirror is in {folder}.")
    mirror = open_folder(folder)
    if programme is None:
        rounds = _rounds(folder, messages, sessions, minutes)
    else:
        own = inputs.stated_programme(programme, mirror.bench)
        with inputs.calibrating(mirror, messages):
            rounds = [one_session(mirror, own)]
    mirror = open_folder(folder)
    options.deliver(
        lambda: {"rounds": [one.to_json() for one in rounds]},
        table=lambda: ending_text(rounds),
        figure=lambda: plot_of(mirror, history_of(mirror, messages, options.seed)),
        json_file=output,
    )
    if not rounds and programme is None and sessions > 0:
        return _name_ways_on(messages, folder)
    messages.next("history", folder, "--plot", "history.png")


def _name_ways_on(messages: Messages, folder: Path) -> None:
    """What can be done where the rehearsal ended before the first session."""
    messages.info("Two ways to continue. Look at the readings and carry out a session of your own:")
    messages.next("reduce", folder)
    messages.next("rehearse", folder, "--programme", "programme.toml")
    messages.info("Or start with another mirror, such as one with a turned edge:")
    messages.next("rehearse", folder.with_name(f"{folder.name}-2"), "--fault", FaultChoice.edge.value)


def _fresh(
    path: Path, seed: int, fault: FaultChoice | None, diameter: str | None, focal_ratio: float | None
) -> Practice | None:
    """What a new practice mirror is to be; None where the folder is there already."""
    if path.exists():
        if fault is not None or diameter is not None or focal_ratio is not None:
            raise InputError("already exists", file=path, expected="the name of a new folder for a new mirror")
        return None
    check_parent(path)
    from wearsim.learn.practice.mirror import FAULTS
    from wearsim.learn.practice.practice_file import Practice

    if focal_ratio is not None and not 2.0 <= focal_ratio <= 20.0:
        raise InputError("out of range", key="--focal-ratio", value=focal_ratio, expected="2 to 20")
    size = None
    if diameter is not None:
        size = inputs.parse_quantity(diameter, "--diameter", "m", 'a length such as "250 mm" or "10 in"')
        if not 0.05 <= size <= 2.0:
            raise InputError("out of range", key="--diameter", value=diameter, expected="0.05 m to 2 m")
    chosen = next((one for one in FAULTS if fault is not None and one == fault.value), None)
    return Practice(seed, chosen, size, focal_ratio)


def _check(path: Path, fresh: Practice | None, programme: Path | None) -> None:
    """All input checked for a dry run: a folder that is there, or what is asked for, and a programme on it."""
    from wearsim.learn.mirror_folder import open_folder
    from wearsim.learn.practice.practice_file import read_practice

    if fresh is None:
        mirror = open_folder(path)
        read_practice(mirror)
        inputs.check_folder(mirror)
        bench = mirror.bench
    else:
        bench = fresh.drawn().bench
    if programme is not None:
        inputs.stated_programme(programme, bench)


def _rounds(folder: Path, messages: Messages, sessions: int, minutes: float) -> list[Round]:
    """Rounds of the loop, each reported when it is done."""
    from wearsim.learn.practice.rehearse import rehearse
    from wearsim.show.history import round_text

    rounds = []
    for one in rehearse(folder, sessions=sessions, minutes=minutes, progress=messages.info):
        rounds.append(one)
        messages.info(round_text(one))
    return rounds
