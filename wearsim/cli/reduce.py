"""``wearsim reduce``: what is the surface?"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wearsim.cli import inputs
from wearsim.cli.options import PLOTS, Manners
from wearsim.errors import InputError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from wearsim.bench.bench import Bench
    from wearsim.knifeedge.readings import Readings
    from wearsim.knifeedge.reduction import Reduction
    from wearsim.knifeedge.shadows import KnifeTester

NAME = "reduce"
EXAMPLE = "wearsim reduce readings.toml --bench bench.toml -o profile.csv"

Source = Annotated[
    Path,
    typer.Argument(metavar="READINGS", help="readings.toml, or a bench that names its readings.", show_default=False),
]
OnBench = Annotated[
    Path | None,
    typer.Option(
        "--bench",
        "-b",
        metavar="BENCH",
        show_default=False,
        help="The mirror that was read; bench.toml beside the readings, if not said.",
    ),
]
Output = Annotated[
    Path | None, typer.Option("-o", "--output", metavar="FILE", help="The profile with its sigma: .csv, for a bench.")
]
Picture = Annotated[
    Path | None,
    typer.Option("--masking", metavar="FILE", help="Draw what masking the rim would buy: .png, .svg or .pdf."),
]


def command(
    readings: Source, manners: Manners, bench: OnBench = None, output: Output = None, waited: inputs.Waited = None,
    masking: Picture = None, shadows: inputs.Shadows = None,
) -> None:  # fmt: skip
    """What is the surface? From knife-edge readings to figure error.

    With the band that the readings leave, and whether it is good enough to stop.
    """
    if bench is None:
        bench = _beside(readings, manners)
    manners.reserve({output: (".csv",), masking: PLOTS, shadows: PLOTS}, inputs=[readings, *([bench] if bench else [])])
    seconds = inputs.read_waited(waited)
    pieces = inputs.read_bench(readings if bench is None else bench, manners.voice)
    from wearsim.bench.units import length_unit, round_unit
    from wearsim.knifeedge.readings import load_readings
    from wearsim.knifeedge.reduction import reduce_readings
    from wearsim.knifeedge.stopping import when_to_stop
    from wearsim.show.reduction import reduction_figure, reduction_text

    sheet = load_readings(_named(pieces) if bench is None else readings)
    reduction = reduce_readings(sheet, pieces.mirror.geometry, pieces.light.wavelength, seed=manners.seed)
    unit = length_unit(pieces)
    advice = when_to_stop(reduction, seed=manners.seed, length=round_unit(unit).text)
    inputs.tell_waiting(manners.voice, pieces, seconds)
    inputs.tell_defaults(manners.voice, pieces)

    def write() -> None:
        if output is not None:
            _write_profile(reduction, output, manners)
        if masking is not None:
            from wearsim.show.reduction import masking_figure

            manners.draw(masking_figure(advice, unit), masking)
        if shadows is not None:
            manners.draw(_shadows(pieces, sheet, reduction), shadows)

    manners.deliver(
        lambda: {**reduction.to_json(), "stop": advice.to_json()},
        table=lambda: reduction_text(sheet, reduction, advice, unit),
        figure=lambda: reduction_figure(reduction, unit),
        write=write,
    )
    _tell_next(manners, advice.verdict, readings, bench, output)


def _beside(readings: Path, manners: Manners) -> Path | None:
    """The bench in the folder of a sheet that was named without one; None where no sheet was named."""
    from wearsim.knifeedge.readings import is_sheet

    if not is_sheet(readings):
        return None
    bench = readings.parent / "bench.toml"
    if not bench.is_file():
        raise InputError(
            "a sheet of readings, and no bench.toml beside it",
            file=readings,
            expected="the mirror that was read as well: --bench BENCH",
        )
    manners.voice.say(f"Bench: {bench}, beside the readings.")
    return bench


def _tell_next(manners: Manners, verdict: str, readings: Path, bench: Path | None, output: Path | None) -> None:
    """What the verdict calls for: polish on, read again, or stop and keep what was found."""
    mirror = readings if bench is None else bench
    again = ("reduce", readings, *(("--bench", bench) if bench else ()))
    if verdict == "no":
        manners.voice.next("propose", mirror, "--minutes", 60)
    elif verdict == "open":
        manners.voice.say("Read it again, and put the new rows into the sheet; then:")
        manners.voice.next(*again)
    elif mirror.is_dir():
        manners.voice.next("history", mirror, "--plot", "history.png")
    elif output is None:
        manners.voice.next(*again, "-o", "profile.csv")
    else:
        manners.voice.say("Next: stop here; the readings call for no more polishing.")


def _write_profile(reduction: Reduction, path: Path, manners: Manners) -> None:
    from wearsim.wear.hdf5 import whole_file

    with whole_file(path, force=manners.force) as part:
        reduction.write_profile(part, "figure error from knife-edge readings, by wearsim reduce")


def _shadows(bench: Bench, sheet: Readings, reduction: Reduction) -> Figure:
    """The surface at the knife positions of the first, the middle and the last zone, a perfect one beneath."""
    from wearsim.bench.units import length_unit
    from wearsim.knifeedge.shadows import KnifeTester
    from wearsim.show.shadows import shadows_figure

    def stand(share: float) -> KnifeTester:
        error = share * reduction.figure_error
        return KnifeTester(reduction.radius, error, bench.mirror.geometry, bench.light.wavelength, sheet.source)

    zones = reduction.zones
    knives = [zones[i].reading for i in (0, len(zones) // 2, len(zones) - 1)]
    return shadows_figure({"as read": stand(1.0), "on target": stand(0.0)}, knives, unit=length_unit(bench))


def _named(bench: Bench) -> Path:
    """The readings that a bench names."""
    if bench.figure.readings is None:
        raise InputError(
            "this bench names no readings",
            file=bench.file,
            key="figure.readings",
            expected="readings there, or reduce READINGS --bench BENCH",
        )
    return bench.figure.readings
