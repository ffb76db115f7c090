"""``wearsim new``: a mirror's folder to fill in."""

from __future__ import annotations

import sys
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from wearsim.cli import completion, inputs
from wearsim.cli.options import JsonOutput, Options, check_parent
from wearsim.errors import InputError

if TYPE_CHECKING:
    from wearsim.learn.new_folder import Answers, FreshFolder, Question

NAME = "new"
EXAMPLE = 'wearsim new my-mirror --diameter "200 mm" --focal-ratio 6 --lap-mass "2 kg"'

Folder = Annotated[Path, typer.Argument(metavar="FOLDER", help="Folder to create.", show_default=False)]
Diameter = Annotated[str | None, typer.Option("--diameter", help='Diameter of the mirror: "200 mm" or "8 in".')]
FocalRatio = Annotated[
    float | None,
    typer.Option(
        "--focal-ratio", metavar="RATIO", parser=inputs.parse_focal_ratio, help="Focal length over diameter: 6 or f/6."
    ),
]
Target = Annotated[
    str | None, typer.Option("--target", help="paraboloid, sphere, or a conic constant.", show_default="paraboloid")
]
GlassOption = Annotated[
    str | None,
    typer.Option("--glass", help="Glass: borosilicate, plate, quartz, ...", autocompletion=completion.glasses),
]
Thickness = Annotated[str | None, typer.Option("--thickness", help='Thickness at the edge: "30 mm" or "1 1/4 in".')]
Rim = Annotated[
    str | None, typer.Option("--rim", help='Width of the rim to ignore, such as a bevel: "2 mm" or "1/16 in".')
]
LapDiameter = Annotated[
    str | None, typer.Option("--lap-diameter", help="Measured diameter of the pitch face; by default the mirror's.")
]
LapMass = Annotated[str | None, typer.Option("--lap-mass", help='Weight of the whole tool: "2 kg" or "5 lb".')]
Facet = Annotated[
    str | None, typer.Option("--facet", help='Side of one facet: "25 mm" or "1 in"; "none" for a lap without channels.')
]
PitchOption = Annotated[
    str | None,
    typer.Option("--pitch", help="very-soft, soft, medium, hard, very-hard.", autocompletion=completion.pitches),
]
AbrasiveOption = Annotated[
    str | None,
    typer.Option("--abrasive", help="Abrasive: cerium oxide, rouge, ...", autocompletion=completion.abrasives),
]
TemperatureOption = Annotated[
    str | None, typer.Option("--temperature", help='Temperature of the room: "18 C" or "65 F".')
]
Push = Annotated[str | None, typer.Option("--push", help='Push of the hands: "30 N" or "7 lb".')]
FLAGS = {
    "diameter": "--diameter", "mirror.diameter": "--diameter", "focal ratio": "--focal-ratio", "target": "--target",
    "mirror.conic": "--target", "mirror.glass": "--glass", "mirror.thickness": "--thickness",
    "mirror.rim_excluded": "--rim", "lap.diameter": "--lap-diameter", "lap.mass": "--lap-mass",
    "lap.facet": "--facet", "lap.pitch": "--pitch", "wear.abrasive": "--abrasive",
    "temperature": "--temperature", "wear.temperature": "--temperature", "hands.push": "--push", "zones": "--zones",
}  # fmt: skip
"""Which flag of the command answers for a key of the bench."""
GO_BACK = ("back", "b", "<")
ZoneCount = Annotated[int | None, typer.Option("--zones", min=3, max=40, help="Number of windows in the mask.")]


def command(
    folder: Folder, options: Options, diameter: Diameter = None, focal_ratio: FocalRatio = None,
    target: Target = None, thickness: Thickness = None, rim: Rim = None, glass: GlassOption = None,
    lap_diameter: LapDiameter = None, lap_mass: LapMass = None, facet: Facet = None, pitch: PitchOption = None,
    abrasive: AbrasiveOption = None, temperature: TemperatureOption = None, push: Push = None,
    zones: ZoneCount = None, output: JsonOutput = None,
) -> None:  # fmt: skip
    """Create a mirror's folder: a bench and a readings sheet.

    At a terminal it asks for anything the flags do not give; "back" returns to the previous question. In a script, give
    at least the diameter, the focal ratio and the weight of the tool.
    """
    _check_free(folder)
    options.reserve({output: (".json",)}, inputs=[])
    given = {
        "diameter": diameter, "focal_ratio": focal_ratio, "target": target, "thickness": thickness,
        "rim_excluded": rim, "glass": glass, "lap_diameter": lap_diameter, "lap_mass": lap_mass, "facet": facet,
        "pitch": pitch, "abrasive": abrasive, "temperature": temperature, "push": push,
        "surface_unit": None if options.surface_unit is None else options.surface_unit.value,
    }  # fmt: skip
    asked = _asked(given) if at_terminal() else given
    _check_needed(asked)
    from wearsim.bench.units import length_unit
    from wearsim.learn.new_folder import Answers, fresh_folder, weights_text
    from wearsim.show.mask import mask_figure, mask_text
    from wearsim.show.risks import risks_text
    from wearsim.show.text import paragraph
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
    messages.info(paragraph(weights_text(fresh.bench)))
    messages.info("Fill in the readings and look through the bench. Then:")
    messages.next("reduce", readings, "--bench", folder)  # then propose is given the folder, and keeps what it proposes


def at_terminal() -> bool:
    """Whether there is a person to ask."""
    return sys.stdin is not None and sys.stdin.isatty() and sys.stderr.isatty()


def _check_free(folder: Path) -> None:
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        expected = "a new or empty folder; --force replaces only the --plot file, never a mirror's folder"
        raise InputError("already exists", file=folder, expected=expected)
    check_parent(folder)


def _check_needed(given: dict[str, Any]) -> None:
    for key in ("diameter", "focal_ratio", "lap_mass"):
        if given[key] is None:
            flag = "--" + key.replace("_", "-")
            raise InputError("missing: give this flag (questions are asked only at a terminal)", key=flag)


def _write(fresh: FreshFolder, folder: Path) -> None:
    from wearsim.bench.whole_file import whole_file
    from wearsim.learn.record import create_folder

    if not folder.exists():
        create_folder(folder, fresh.bench_text, {"readings.toml": fresh.readings_text})
        return
    with ExitStack() as stack:  # an empty one: both files or none
        for path, text in fresh.files(folder).items():
            stack.enter_context(whole_file(path)).write_text(text, encoding="utf-8")


def _asked(given: dict[str, Any]) -> dict[str, Any]:
    """Every answer that no flag gave, asked for; one that cannot be used is asked for again, "back" goes back."""
    from wearsim.learn.new_folder import QUESTIONS, Answers

    questions = [question for question in QUESTIONS if given[question.key] is None]
    answers, place = replace(Answers("200 mm", 6.0, "2 kg"), **{k: v for k, v in given.items() if v is not None}), 0
    if questions:
        typer.echo('Enter accepts the value in brackets; "back" returns to the previous question.', err=True)
    while place < len(questions):
        question = questions[place]
        value = _answer(question, answers, given[question.key])
        if value is None:
            place = max(0, place - 1)
            continue
        given[question.key] = value
        answers, place = replace(answers, **{question.key: value}), place + 1
    return given


def _answer(question: Question, answers: Answers, before: Any) -> Any:
    """One answer, checked by making the bench of all answers so far; None for going back."""
    from wearsim.bench.materials import called
    from wearsim.learn.new_folder import fresh_folder, offered
    from wearsim.show.text import paragraph, text_width

    def check(text: str) -> Any:
        if text.strip().lower() in GO_BACK:
            return None
        try:
            value: Any = inputs.parse_focal_ratio(text) if question.key == "focal_ratio" else text
            fresh_folder(replace(answers, **{question.key: value}))
        except InputError as error:
            raise typer.BadParameter(str(error)) from None
        return value

    why = question.why.rstrip(".")
    choices = ", ".join(called(question.choices)) if question.choices else ""
    hint = f"{choices}. {why}" if question.key == "pitch" else choices or why
    shown = offered(answers, question) if before is None else str(before)
    value = f" [{shown}]".replace(" ", "\0")[1:] if shown else ""  # not to be broken
    words = paragraph(f"{question.words} ({hint}) {value}".rstrip(), width=text_width() - 2).replace("\0", " ")
    return typer.prompt(words, shown, show_default=False, value_proc=check, err=True)
