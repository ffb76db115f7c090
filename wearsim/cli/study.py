"""``wearsim study``: how does it depend on ...?"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from wearsim.cli import completion
from wearsim.cli.options import Options, Workers

NAME = "study"
EXAMPLE = "wearsim study overhang-risk -o risk.h5 --plot risk.png"

StudyPath = Annotated[
    Path,
    typer.Argument(
        metavar="STUDY", help="study.toml, or the name of a ready study.", show_default=False,
        autocompletion=completion.studies,
    ),
]  # fmt: skip
Output = Annotated[
    Path | None, typer.Option("-o", "--output", metavar="FILE", help="The cases, .h5; by default named as the study.")
]
Scheduler = Annotated[
    str | None, typer.Option("--scheduler", metavar="ADDRESS", help="A Dask scheduler, tcp://host:port.")
]
StudyDryRun = Annotated[bool, typer.Option("--dry-run", help="Only say how many cases, how long and how large a file.")]


def command(
    study: StudyPath, options: Options, output: Output = None, workers: Workers = None,
    scheduler: Scheduler = None, dry_run: StudyDryRun = False,
) -> None:  # fmt: skip
    """How does it depend on overhang, pitch, temperature, anything?

    Interrupted, killed or out of disk: give the same command again, and it goes on with what was complete.
    """
    from wearsim.show.study import forecast_text, study_figure, study_json, study_text
    from wearsim.study.forecast import forecast
    from wearsim.study.plan import load_study
    from wearsim.study.run import run_study

    messages = options.messages
    plan = load_study(study)
    messages.compiling()
    path = output or Path(f"{plan.name}.h5")
    options.reserve({}, inputs=[study, path])
    # an output that is there already is looked at by the study itself
    replace(options, force=True, plot=None).reserve({path: (".h5", ".hdf5")}, inputs=[study])
    if dry_run:
        expected = forecast(plan, workers=workers, seed=options.seed)
        return options.list_files([path], forecast_text(plan, expected), **expected.to_json())
    with messages.case_bar() as progress:
        result = run_study(
            plan, path, workers=workers, scheduler=scheduler, seed=options.seed, force=options.force, progress=progress
        )
    options.deliver(lambda: study_json(result), table=lambda: study_text(result), figure=lambda: study_figure(result))
    messages.info(f"In {result.file}: all {result.cases} cases, for any reader of HDF5.")
    if options.plot is None:
        messages.next("study", study, "-o", path, "--plot", path.with_suffix(".png"))
    else:
        messages.next("propose", plan.about.bench)
