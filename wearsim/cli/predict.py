"""``wearsim predict``: what will this do?"""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from wearsim.cli import inputs
from wearsim.cli.inputs import BenchPath, ProgrammePath
from wearsim.cli.messages import Voice
from wearsim.cli.options import PLOTS, DryRun, Manners, Workers
from wearsim.errors import InputError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from wearsim.bench.bench import Bench
    from wearsim.bench.programme import Programme
    from wearsim.wear.expected_readings import ReadingsAfter
    from wearsim.wear.outcome import Outcome

NAME = "predict"
EXAMPLE = "wearsim predict bench.toml --programme programme.toml --plot out.png"


class Engine(StrEnum):
    """How it is worked out."""

    radial = "radial"
    planar = "planar"


Output = Annotated[
    Path | None, typer.Option("-o", "--output", metavar="FILE", help="Everything, with provenance: .h5.")
]
Draws = Annotated[
    int, typer.Option("--draws", min=0, max=10_000, help="Draws of the uncertain constants for the band; 0: none.")
]
EngineDraws = Annotated[
    int | None,
    typer.Option(
        "--draws", min=0, max=10_000, show_default="32; planar engine: 0",
        help="Draws of the uncertain constants for the band; 0: none.",
    ),
]  # fmt: skip
EngineChoice = Annotated[
    Engine, typer.Option("--engine", help="radial: round averages. planar: stroke by stroke, not round.")
]
Cells = Annotated[
    int | None,
    typer.Option(
        "--cells", min=16, max=1024, show_default="128",
        help="Planar engine: cells across the mirror. Twice as many take four times as long.",
    ),
]  # fmt: skip


def settings_of(engine: Engine, draws: int | None, cells: int | None, seed: int) -> dict[str, Any]:
    """What the prediction is called with.

    Raises
    ------
    InputError
        Where cells are asked of the engine that has none.
    """
    settings: dict[str, Any] = {"engine": engine.value, "draws": draws, "seed": seed}
    if engine is Engine.planar:
        from wearsim.wear.planar.threads import claim_process

        claim_process()
    if cells is None:
        return settings
    if engine is not Engine.planar:
        raise InputError("planar engine only", key="--cells", value=cells, expected="--engine planar beside it")
    from wearsim.wear.accuracy import PlanarAccuracy

    return {**settings, "planar": PlanarAccuracy(cells=cells)}


def command(
    bench: BenchPath, programme: ProgrammePath, manners: Manners, engine: EngineChoice = Engine.radial,
    draws: EngineDraws = None, cells: Cells = None, output: Output = None,
    shadows: inputs.Shadows = None, dry_run: DryRun = False, workers: Workers = None,
) -> None:  # fmt: skip
    """What will this programme do to the figure?"""
    manners.reserve({output: (".h5", ".hdf5"), shadows: PLOTS}, inputs=[bench, programme])
    voice = manners.voice
    settings = settings_of(engine, draws, cells, manners.seed)
    if dry_run:
        manners.list_files([_checked(bench, programme, engine, voice), output, shadows])
        return
    pieces, known = inputs.read_known(bench, manners.voice)
    work = inputs.read_programme(programme, pieces)
    from wearsim.show.outcome import outcome_text
    from wearsim.wear.predict import predict

    inputs.tell_compiling(voice)
    if engine is Engine.planar and known.get("laps") is not None:
        voice.warn("the planar engine starts the laps as the bench says, not as the last session left them")
    with voice.bar("working the programme") as told:
        outcome = predict(pieces, work, progress=told, **settings, **known)
    after = _readings(pieces, work, outcome, known, manners.seed, 32 if draws is None else draws)
    inputs.tell_defaults(voice, pieces, work)

    def write() -> None:
        if output is not None:
            _write(outcome, output, manners)
        if shadows is not None:
            manners.draw(_shadows(pieces, outcome), shadows)

    if manners.json:
        for warning in outcome.warnings:
            voice.warn(warning)
    manners.deliver(
        lambda: outcome.to_json() | ({"expected_readings": after.to_json()} if after else {}),
        table=lambda: outcome_text(pieces, work, outcome) + _readings_text(pieces, after),
        figure=lambda: _figure(pieces, work, outcome),
        write=write,
    )
    inputs.tell_cautions(voice)
    voice.next("compare", bench, "--programme", programme)


def _checked(bench: Path, programme: Path, engine: Engine, voice: Voice) -> Path | None:
    """All input checked for a dry run; what would be written into a mirror's folder."""
    pieces, kept = inputs.check_bench(bench, voice)
    work = inputs.read_programme(programme, pieces)
    if engine is Engine.radial:
        inputs.check_round_laps(pieces, work)
    return kept


SHADOWS_AT = (0.35, 0.7, 0.95)
"""Zones of the surface before that the knife is set to, in clear radii: inner, middle, outer (judgement)."""


def _figure(bench: Bench, programme: Programme, outcome: Outcome) -> Figure:
    from wearsim.show.outcome import outcome_figure  # loaded only where a plot is asked for

    return outcome_figure(bench, programme, outcome)


def _write(outcome: Outcome, output: Path, manners: Manners) -> None:
    from wearsim.wear.hdf5 import write_outcome  # HDF5, only where a file is asked for

    write_outcome(outcome, output, seed=manners.seed, force=manners.force)


def _shadows(bench: Bench, outcome: Outcome) -> Figure:
    """What the tester shows before and after, with the knife where three zones darken before."""
    from wearsim.bench.units import length_unit
    from wearsim.knifeedge.longitudinal import SOURCES
    from wearsim.knifeedge.shadows import KnifeTester, knife_curve
    from wearsim.show.shadows import shadows_figure
    from wearsim.wear.initial_figure import own_sheet

    mirror, sheet = bench.mirror, own_sheet(bench)
    source = SOURCES[0] if sheet is None else sheet.source
    surfaces = {
        name: KnifeTester(outcome.radius, error, mirror.geometry, bench.light.wavelength, source)
        for name, error in (("before", outcome.before), ("predicted", outcome.figure_error))
    }
    zones = [share * mirror.clear_radius for share in SHADOWS_AT]
    return shadows_figure(surfaces, knife_curve(surfaces["before"], zones).tolist(), unit=length_unit(bench))


def _readings(
    bench: Bench, programme: Programme, outcome: Outcome, known: dict[str, Any], seed: int, draws: int
) -> ReadingsAfter | None:
    """The readings to expect afterwards, in the zones and the unit of the bench's own sheet, if it names one."""
    from wearsim.wear.expected_readings import drawn_figures, readings_after
    from wearsim.wear.initial_figure import own_sheet

    sheet = own_sheet(bench)
    if sheet is None or not programme.spells:
        return None
    drawn = drawn_figures(bench, programme, seed=seed, draws=draws, **known) if draws else None
    return readings_after(bench, outcome, sheet, drawn)


def _readings_text(bench: Bench, after: ReadingsAfter | None) -> str:
    from wearsim.show.expected_readings import expected_text

    return f"\n\n{expected_text(bench, after)}" if after is not None else ""
