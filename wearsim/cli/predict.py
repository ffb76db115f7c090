"""``wearsim predict``: what will this do?"""

from __future__ import annotations

from enum import StrEnum
from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from wearsim.cli import inputs
from wearsim.cli.inputs import BenchPath, ProgrammePath
from wearsim.cli.manners import Manners

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
    int,
    typer.Option(
        "--draws", min=0, max=10_000, help="Draws of the uncertain constants for the band; 0: none."
    ),
]
EngineChoice = Annotated[Engine, typer.Option("--engine", help="Round averages, or the whole of it.")]


def command(
    bench: BenchPath, programme: ProgrammePath, manners: Manners, engine: EngineChoice = Engine.radial,
    draws: Draws = 32, output: Output = None,
) -> None:  # fmt: skip
    """What will this programme do to the figure?"""
    manners.reserve({output: (".h5", ".hdf5")}, inputs=[bench, programme])
    voice = manners.voice
    pieces, known = inputs.read_known(bench)
    work = inputs.read_programme(programme, pieces)
    from wearsim.show.outcome_plot import outcome_figure
    from wearsim.show.outcome_table import outcome_text
    from wearsim.wear.predict import predict
    from wearsim.wear.store import write_outcome

    inputs.tell_compiling(voice)
    if engine is Engine.planar and known.get("laps") is not None:
        voice.warn("the planar engine starts the laps as the bench says, not as the last session left them")
    with voice.working("working the programme"):
        outcome = predict(pieces, work, engine.value, seed=manners.seed, draws=draws, **known)
    inputs.tell_defaults(voice, pieces, work)
    if manners.json:
        for warning in outcome.warnings:
            voice.warn(warning)
    manners.deliver(
        outcome.to_json,
        table=lambda: outcome_text(pieces, work, outcome),
        figure=lambda: outcome_figure(pieces, work, outcome),
        write=partial(write_outcome, outcome, output, seed=manners.seed, force=manners.force)
        if output
        else None,
    )
    inputs.tell_cautions(voice)
    voice.next("compare", bench, "--programme", programme)
