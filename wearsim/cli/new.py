"""``wearsim new``: a mirror's folder to fill in."""

from __future__ import annotations

import sys
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from wearsim.cli import completion, inputs
from wearsim.cli.options import JsonOutput, Options, check_parent
from wearsim.errors import InputError

if TYPE_CHECKING:
    from wearsim.learn.new_folder import Answers, FreshFolder

NAME = "new"
EXAMPLE = 'wearsim new my-mirror --diameter "200 mm" --focal-ratio 6 --lap-mass "2 kg"'

Folder = Annotated[Path, typer.Argument(metavar="FOLDER", help="Where to write it.", show_default=False)]
Diameter = Annotated[str | None, typer.Option("--diameter", help='Of the mirror: "200 mm" or "8 in".')]
FocalRatio = Annotated[
    float | None,
    typer.Option(
        "--focal-ratio", metavar="RATIO", parser=inputs.parse_focal_ratio, help="Focal length over diameter: 6 or f/6."
    ),
]
GlassOption = Annotated[
    str | None,
    typer.Option("--glass", help="borosilicate, soda-lime, fused-silica.", autocompletion=completion.glasses),
]
Thickness = Annotated[str | None, typer.Option("--thickness", help='At the edge: "30 mm" or "1.2 in".')]
LapDiameter = Annotated[
    str | None, typer.Option("--lap-diameter", help="Of the pitch that touches, measured; the mirror's unless given.")
]
LapMass = Annotated[str | None, typer.Option("--lap-mass", help='Of the whole tool: "2 kg" or "5 lb".')]
PitchOption = Annotated[
    str | None,
    typer.Option("--pitch", help="very-soft, soft, medium, hard, very-hard.", autocompletion=completion.pitches),
]
Push = Annotated[str | None, typer.Option("--push", help='Of the hands: "30 N" or "7 lbf".')]
FLAGS = {
    "diameter": "--diameter", "mirror.diameter": "--diameter", "focal ratio": "--focal-ratio",
    "mirror.glass": "--glass", "mirror.thickness": "--thickness", "lap.diameter": "--lap-diameter",
    "lap.mass": "--lap-mass", "lap.pitch": "--pitch", "hands.push": "--push", "zones": "--zones",
}  # fmt: skip
"""Which flag of the command answers for a key of the bench."""
ZoneCount = Annotated[int | None, typer.Option("--zones", min=3, max=40, help="Windows of the mask.")]


def command(
    folder: Folder, options: Options, diameter: Diameter = None, focal_ratio: FocalRatio = None,
    glass: GlassOption = None, thickness: Thickness = None, lap_diameter: LapDiameter = None,
    lap_mass: LapMass = None, pitch: PitchOption = None, push: Push = None, zones: ZoneCount = None,
    output: JsonOutput = None,
) -> None:  # fmt: skip
    """A mirror's folder to fill in: bench, and a sheet for readings.

    At a terminal it asks for what the flags leave open; elsewhere diameter, focal ratio and the lap's mass
    must be given.
    """
    _check_free(folder)
    options.reserve({output: (".json",)}, inputs=[])
    given = {
        "diameter": diameter, "focal_ratio": focal_ratio, "glass": glass, "thickness": thickness,
        "lap_diameter": lap_diameter, "lap_mass": lap_mass, "pitch": pitch, "push": push,
    }  # fmt: skip
    asked = _asked(given) if at_terminal() else given
    _check_needed(asked)
    from wearsim.bench.units import length_unit
    from wearsim.learn.new_folder import Answers, fresh_folder
    from wearsim.show.mask import mask_figure, mask_text
    from wearsim.show.risks import risks_text
    from wearsim.wear.bench_risks import bench_risks, risks_json

    try:
        fresh = fresh_folder(Answers(**asked), zones)
    except InputError as error:
        raise inputs.by_flag(error, FLAGS) from None
    bench, readings = folder / "bench.toml", folder / "readings.toml"
    unit = length_unit(fresh.bench)
    risks = risks_text(bench_risks(fresh.bench), fresh.bench.light.wavelength)
    options.deliver(
        lambda: {
            "bench": str(bench),
            "readings": str(readings),
            "mask": fresh.mask.to_json(),
            **risks_json(fresh.bench),
        },
        table=lambda: f"{mask_text(fresh.mask, unit)}\n\n{risks}",
        figure=lambda: mask_figure(fresh.mask, unit=unit),
        json_file=output,
        write=lambda: _write(fresh, folder),
        done=f"written are {bench} and {readings}",
    )
    messages = options.messages
    messages.info(f"Written: {bench} and {readings}, with these windows.")
    messages.info("Fill in the readings, look through the bench; then:")
    messages.next("reduce", readings, "--bench", folder)  # then propose is given the folder, and keeps what it proposes


def at_terminal() -> bool:
    """Whether there is a person to ask."""
    return sys.stdin is not None and sys.stdin.isatty() and sys.stderr.isatty()


def _check_free(folder: Path) -> None:
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        expected = "a new folder, or an empty one; --force replaces the file of --plot, never a mirror's folder"
        raise InputError("exists already", file=folder, expected=expected)
    check_parent(folder)


def _check_needed(given: dict[str, Any]) -> None:
    for key in ("diameter", "focal_ratio", "lap_mass"):
        if given[key] is None:
            flag = "--" + key.replace("_", "-")
            raise InputError("missing", key=flag, expected="it as a flag, for nothing is asked away from a terminal")


def _write(fresh: FreshFolder, folder: Path) -> None:
    from wearsim.learn.record import create_folder
    from wearsim.wear.outcome_file import whole_file

    if not folder.exists():
        create_folder(folder, fresh.bench_text, {"readings.toml": fresh.readings_text})
        return
    with ExitStack() as stack:  # an empty one: both files or none
        for path, text in fresh.files(folder).items():
            stack.enter_context(whole_file(path)).write_text(text, encoding="utf-8")


def _asked(given: dict[str, Any]) -> dict[str, Any]:
    """Every answer that no flag gave, asked for; one that cannot be used is asked for again."""
    from wearsim.bench.materials import names
    from wearsim.learn.new_folder import Answers, fresh_folder, is_in_inches

    answers = Answers("200 mm", 6.0, "2 kg")

    def ask(key: str, question: str, default: str | None = None) -> None:
        nonlocal answers
        if given[key] is None:
            check = _checked(answers, key, fresh_folder)
            given[key] = typer.prompt(question, default, value_proc=check, err=True)
        answers = replace(answers, **{key: given[key]})

    ask("diameter", 'Diameter of the mirror, with its unit ("200 mm", "8 in")')
    ask("focal_ratio", "Focal ratio (6 for f/6)")
    ask("glass", f"Glass ({', '.join(names('glasses'))})", "borosilicate")
    inches = is_in_inches(given["diameter"])
    ask("thickness", "Thickness at the edge", "1.5 in" if inches else "38 mm")
    ask("lap_diameter", "Diameter of the pitch that touches, measured across it", given["diameter"])
    ask("lap_mass", 'Mass of the lap, with its unit ("2 kg", "5 lb")')
    ask("pitch", f"Pitch ({', '.join(names('pitches'))})", "medium")
    ask("push", "Push of the hands, besides the weight", "7 lbf" if inches else "30 N")
    return given


def _checked(answers: Answers, key: str, make: Callable[[Answers], object]) -> Callable[[str], Any]:
    """A check of one answer by making the bench of all answers so far."""

    def check(text: str) -> Any:
        try:
            value: Any = inputs.parse_focal_ratio(text) if key == "focal_ratio" else text
            make(replace(answers, **{key: value}))
        except InputError as error:
            raise typer.BadParameter(str(error)) from None
        return value

    return check
