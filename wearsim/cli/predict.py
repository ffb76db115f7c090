"""``wearsim predict``: what will this do?"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from wearsim.cli import inputs
from wearsim.cli import options as shared
from wearsim.cli.options import PLOTS, BenchPath, DryRun, EngineChoice, Options, ProgrammePath, Workers

NAME = "predict"
EXAMPLE = "wearsim predict bench.toml --programme programme.toml --plot out.png"

Output = Annotated[
    Path | None, typer.Option("-o", "--output", metavar="FILE", help="Everything, with provenance: .h5.")
]


def command(
    bench: BenchPath, programme: ProgrammePath, options: Options, engine: shared.EngineOption = EngineChoice.radial,
    draws: shared.EngineDraws = None, cells: shared.Cells = None, output: Output = None,
    shadows: shared.Shadows = None, dry_run: DryRun = False, workers: Workers = None,
) -> None:  # fmt: skip
    """What will this programme do to the figure?"""
    options.reserve({output: (".h5", ".hdf5"), shadows: PLOTS}, inputs=[bench, programme])
    messages = options.messages
    settings = inputs.engine_settings(engine, draws, cells, options.seed)
    if dry_run:
        return options.list_files([inputs.check_inputs(bench, programme, engine), output, shadows])
    pieces, known = inputs.read_known(bench, messages)
    work = inputs.stated_programme(programme, pieces)
    from wearsim.show.expected_readings import expected_text
    from wearsim.show.outcome import outcome_figure, outcome_text
    from wearsim.show.shadows import predicted_shadows
    from wearsim.wear.bench_risks import risks_json
    from wearsim.wear.expected_readings import expected_after
    from wearsim.wear.predict import predict

    messages.compiling()
    if engine is EngineChoice.planar and known.get("laps") is not None:
        messages.warn("the planar engine starts the laps as the bench says, not as the last session left them")
    with messages.bar("working the programme") as progress:
        outcome = predict(pieces, work, progress=progress, **settings, **known)
    after = expected_after(pieces, work, outcome, seed=options.seed, draws=32 if draws is None else draws, **known)
    messages.defaults(pieces, work, inputs.learned(known))
    messages.risks(pieces)

    def write() -> None:
        if output is not None:
            from wearsim.wear.outcome_file import write_outcome  # HDF5, only where a file is asked for

            write_outcome(outcome, output, seed=options.seed, force=options.force)

    options.deliver(
        lambda: outcome.to_json() | risks_json(pieces) | ({"expected_readings": after.to_json()} if after else {}),
        table=lambda: "\n\n".join(
            [outcome_text(pieces, work, outcome, options.verbose), *([expected_text(pieces, after)] if after else [])]
        ),
        figure=lambda: outcome_figure(pieces, work, outcome),
        figures={shadows: lambda: predicted_shadows(pieces, outcome)},
        write=write,
        warnings=outcome.warnings,
    )
    messages.cautions()
    messages.next("compare", bench, "--programme", programme)
