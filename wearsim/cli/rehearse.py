"""``wearsim rehearse``: the whole loop on a mirror that costs nothing."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from wearsim.cli import inputs
from wearsim.cli.inputs import FolderPath
from wearsim.cli.options import DryRun, JsonOutput, Manners, Workers
from wearsim.errors import InputError

if TYPE_CHECKING:
    from wearsim.learn.folder import MirrorFolder
    from wearsim.learn.practice.file import Practice

NAME = "rehearse"
EXAMPLE = "wearsim rehearse practice-mirror --seed 7"


class FaultChoice(StrEnum):
    """What is wrong with a new practice mirror."""

    ring = "raised ring"
    oblate = "oblate"
    sphere = "sphere"
    edge = "turned edge"


Fault = Annotated[FaultChoice | None, typer.Option("--fault", help="Of a new one; drawn, if not said.")]
Diameter = Annotated[str | None, typer.Option("--diameter", metavar="D", help='Of a new one: "250 mm" or "10 in".')]
Ratio = Annotated[
    float | None,
    typer.Option("--focal-ratio", metavar="RATIO", parser=inputs.read_focal_ratio, help="Of a new one: 5 or f/5."),
]
Sessions = Annotated[int, typer.Option("--sessions", min=0, max=50, help="To go on for at most.")]
Minutes = Annotated[float, typer.Option("--minutes", help="Of work a session.")]
Own = Annotated[
    Path | None, typer.Option("--programme", "-p", metavar="FILE", help="Work this, once, instead of what is proposed.")
]


def command(
    folder: FolderPath, manners: Manners, fault: Fault = None, diameter: Diameter = None,
    focal_ratio: Ratio = None, sessions: Sessions = 6, minutes: Minutes = 60.0, programme: Own = None,
    output: JsonOutput = None, dry_run: DryRun = False, workers: Workers = None,
) -> None:  # fmt: skip
    """Practise the whole loop on a simulated mirror.

    Read, propose, work, record and calibrate, round after round. A folder that is not there yet is made, and says
    that its mirror is a practice mirror; one that is goes on where it stands. With --sessions 0 the mirror is only
    made, with --programme a session of your own is worked.
    """
    manners.reserve({output: (".json",)}, inputs=[folder, *([programme] if programme else [])])
    inputs.read_limits(minutes=minutes)
    if dry_run:
        _check(folder, _asked(folder, manners.seed, fault, diameter, focal_ratio), programme)
        manners.list_files([folder, output])
        return
    inputs.tell_compiling(manners.voice)
    there = _folder(folder, manners, fault, diameter, focal_ratio)
    rounds = _own(there, programme) if programme else _rounds(folder, manners, sessions, minutes)
    from wearsim.bench.units import length_unit
    from wearsim.learn.folder import open_folder
    from wearsim.learn.history import history
    from wearsim.show.history import ending_text, history_figure

    there = open_folder(folder)
    payload = {"rounds": [one.to_json() for one in rounds]}
    manners.deliver(
        lambda: payload,
        table=lambda: ending_text(rounds),
        figure=lambda: history_figure(history(there, seed=manners.seed), there.bench.mirror, length_unit(there.bench)),
        write=lambda: manners.write_json(payload, output),
    )
    manners.voice.next("history", folder, "--plot", "history.png")


def _folder(
    path: Path, manners: Manners, fault: FaultChoice | None, diameter: str | None, focal_ratio: float | None
) -> MirrorFolder:
    """The practice folder, made where there is none."""
    from wearsim.learn.folder import open_folder
    from wearsim.learn.practice.rehearse import start_practice

    asked = _asked(path, manners.seed, fault, diameter, focal_ratio)
    if asked is None:
        return open_folder(path)
    made = start_practice(path, asked)
    manners.voice.say(f"A practice mirror, simulated, in {path}.")
    return made


def _asked(
    path: Path, seed: int, fault: FaultChoice | None, diameter: str | None, focal_ratio: float | None
) -> Practice | None:
    """What a new practice mirror is to be; None where the folder is there already."""
    if not path.exists():
        if not path.parent.is_dir():
            raise InputError("its folder is missing", file=path, expected=inputs.MISSING_FOLDER)
        return _practice(seed, fault, diameter, focal_ratio)
    if fault is not None or diameter is not None or focal_ratio is not None:
        raise InputError("exists already", file=path, expected="the name of a new folder for a new mirror")
    return None


def _check(path: Path, asked: Practice | None, programme: Path | None) -> None:
    """All input checked for a dry run: a folder that is there, or what is asked for, and a programme on it."""
    from wearsim.learn.folder import open_folder
    from wearsim.learn.practice.file import read_practice

    if asked is None:
        there = open_folder(path)
        read_practice(there)
        inputs.check_folder(there)
        bench = there.bench
    else:
        bench = asked.drawn().bench
    if programme is not None:
        inputs.read_programme(programme, bench)


def _practice(seed: int, fault: FaultChoice | None, diameter: str | None, focal_ratio: float | None) -> Practice:
    from wearsim.bench import units
    from wearsim.learn.practice.file import Practice
    from wearsim.learn.practice.mirror import FAULTS

    if focal_ratio is not None and not 2.0 <= focal_ratio <= 20.0:
        raise InputError("out of range", key="--focal-ratio", value=focal_ratio, expected="2 to 20")
    size = None
    if diameter is not None:
        try:
            size = units.read(diameter, "m")
        except units.NotAQuantity as error:
            raise InputError(
                str(error), key="--diameter", value=diameter, expected='a length such as "250 mm" or "10 in"'
            ) from error
        if not 0.05 <= size <= 2.0:
            raise InputError("out of range", key="--diameter", value=diameter, expected="0.05 m to 2 m")
    chosen = next((one for one in FAULTS if fault is not None and one == fault.value), None)
    return Practice(seed, chosen, size, focal_ratio)


def _rounds(folder: Path, manners: Manners, sessions: int, minutes: float) -> list[Any]:
    """Rounds of the loop, each told when it is done."""
    from wearsim.learn.practice.rehearse import rehearse
    from wearsim.show.history import round_text

    rounds = []
    for one in rehearse(folder, sessions=sessions, minutes=minutes, tell=manners.voice.say):
        rounds.append(one)
        manners.voice.say(round_text(one))
    return rounds


def _own(there: MirrorFolder, programme: Path) -> list[Any]:
    """One session of the person's own."""
    from wearsim.learn.practice.rehearse import one_session

    return [one_session(there, inputs.read_programme(programme, there.bench))]
