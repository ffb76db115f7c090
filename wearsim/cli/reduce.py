"""``wearsim reduce``: what is the surface?"""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wearsim.cli import inputs
from wearsim.cli.options import PLOTS, Aim, Options, Shadows, Waited, is_folder
from wearsim.errors import InputError

if TYPE_CHECKING:
    from wearsim.bench.bench import Bench
    from wearsim.cli.terminal import Messages
    from wearsim.learn.known_figure import KnownFigure

NAME = "reduce"
_PROVENANCE = "figure error from knife-edge readings, by wearsim reduce"
EXAMPLE = "wearsim reduce readings.toml --bench bench.toml -o profile.csv"

ReadingsPath = Annotated[
    Path,
    typer.Argument(metavar="READINGS", help="readings.toml, or a bench that names its readings.", show_default=False),
]
OnBench = Annotated[
    Path | None,
    typer.Option(
        "--bench", "-b", metavar="BENCH", show_default=False,
        help="Bench of the mirror that was tested. By default the bench.toml beside the readings, or "
        "the one in the mirror's folder.",
    ),
]  # fmt: skip
Output = Annotated[
    Path | None,
    typer.Option(
        "-o", "--output", metavar="FILE", help="Write the profile and its uncertainty (.csv), for use in a bench."
    ),
]
Picture = Annotated[
    Path | None,
    typer.Option("--masking", metavar="FILE", help="Plot what masking the rim would gain: .png, .svg or .pdf."),
]


def command(
    readings: ReadingsPath, options: Options, bench: OnBench = None, output: Output = None, waited: Waited = None,
    masking: Picture = None, shadows: Shadows = None, aim: Aim = 0.95,
) -> None:  # fmt: skip
    """What shape is the surface? Knife-edge readings reduced.

    Shows the surface with its uncertainty, and whether it is good enough to stop. For a mirror's folder it also shows the
    figure from all sessions together.
    """
    messages = options.messages
    _check_there(readings)
    if bench is None:
        bench = _bench_beside(readings, messages)
    options.reserve({output: (".csv",), masking: PLOTS, shadows: PLOTS}, inputs=[readings, bench])
    seconds = inputs.parse_waited(waited)
    pieces = inputs.stated_bench(readings if bench is None else bench)
    from wearsim.bench.units import length_unit, round_unit
    from wearsim.knifeedge.readings import load_readings
    from wearsim.knifeedge.reduction import reduce_readings
    from wearsim.knifeedge.stopping import when_to_stop
    from wearsim.show.reduction import masking_figure, reduction_figure, reduction_text
    from wearsim.show.shadows import measured_shadows

    sheet = load_readings(_sheet_of(readings, pieces, bench))
    reduction = reduce_readings(sheet, pieces.mirror.geometry, pieces.light.wavelength, seed=options.seed)
    unit = length_unit(pieces)
    advice = when_to_stop(reduction, aim=aim, seed=options.seed, length=round_unit(unit).text)
    known = _known(readings, messages)
    messages.waiting(pieces, seconds)
    messages.defaults(pieces)

    options.deliver(
        lambda: {
            **reduction.to_json(),
            "stop": advice.to_json(),
            **({} if known is None else {"all": known.to_json()}),
        },
        table=lambda: reduction_text(sheet, reduction, advice, unit, known),
        figure=lambda: reduction_figure(reduction, unit, known),
        figures={
            masking: lambda: masking_figure(advice, unit),
            shadows: lambda: measured_shadows(pieces, sheet, reduction),
        },
        files={output: lambda part: reduction.write_profile(part, _PROVENANCE)},
    )
    messages.cautions(at_the_light=True)
    _name_next(messages, advice.verdict, readings, bench, output)


def _known(readings: Path, messages: Messages) -> KnownFigure | None:
    """The figure that all sessions of a mirror's folder give together; None where there is no session."""
    if not readings.is_dir():
        return None
    from wearsim.learn.known_figure import known_figure
    from wearsim.learn.mirror_folder import open_folder

    if not open_folder(readings).sessions:
        return None
    return known_figure(*inputs.read_state(readings, messages))


def _check_there(readings: Path) -> None:
    """Refuse a sheet that is not there, with the sheets that are."""
    from wearsim.bench.materials import ready_bench
    from wearsim.knifeedge.readings import is_sheet

    if os.path.lexists(readings) or ready_bench(str(readings)) is not None:
        return
    folder = readings.parent
    sheets = [str(path) for path in sorted(folder.glob("*.toml")) if is_sheet(path)] if is_folder(folder) else []
    expected = (
        f"a sheet of readings: {', '.join(sheets)}" if sheets else "a sheet of readings, or a bench that names one"
    )
    raise InputError("no such file", file=readings, expected=expected)


def _bench_beside(readings: Path, messages: Messages) -> Path | None:
    """The bench beside a sheet that was named without one, or of the mirror whose session it is; None for no sheet."""
    from wearsim.knifeedge.readings import is_sheet

    if not is_sheet(readings):
        return None
    folder = readings.absolute().parent
    places = [readings.parent / "bench.toml"]
    if folder.name.isdecimal():  # of a session, in its mirror's folder
        places.append(
            readings.parent.parent / "bench.toml" if len(readings.parts) > 2 else folder.parent / "bench.toml"
        )
    bench = next((place for place in places if place.is_file()), None)
    if bench is None:
        expected = "the mirror's bench as well: --bench BENCH"
        raise InputError("there is no bench.toml beside this sheet of readings", file=readings, expected=expected)
    messages.info(f"Bench: {bench}.")
    return bench


def _sheet_of(readings: Path, pieces: Bench, bench: Path | None) -> Path:
    """The sheet that was given, or the one that a bench or a folder given in its place names."""
    if bench is None:
        return _named(pieces)
    return _named(inputs.stated_bench(readings)) if readings.is_dir() else readings


def _named(bench: Bench) -> Path:
    """The readings that a bench names."""
    if bench.figure.readings is None:
        expected = "readings there, or reduce READINGS --bench BENCH"
        raise InputError("this bench specifies no readings", file=bench.file, key="figure.readings", expected=expected)
    return bench.figure.readings


def _name_next(messages: Messages, verdict: str, readings: Path, bench: Path | None, output: Path | None) -> None:
    """What the verdict calls for: polish on, test again, or stop and keep what was found."""
    mirror = readings if bench is None else bench
    again = ("reduce", readings, *(("--bench", bench) if bench else ()))
    if verdict == "no":
        messages.next("propose", mirror, "--minutes", 60)
    elif verdict == "open":
        messages.info("Test it again, add the new rows to the sheet, and then:")
        messages.next(*again)
    elif mirror.is_dir():
        messages.next("history", mirror, "--plot", "history.png")
    elif output is None:
        messages.next(*again, "-o", "profile.csv")
    else:
        messages.info("Next: stop here; the readings call for no more polishing.")
