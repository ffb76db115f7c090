"""``wearsim study``: how does it depend on ...?"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wearsim.cli import completion as ready
from wearsim.cli import inputs
from wearsim.cli.messages import case_bar
from wearsim.cli.options import Manners

if TYPE_CHECKING:
    from wearsim.study.plan import Study
    from wearsim.study.result import StudyResult

NAME = "study"
EXAMPLE = "wearsim study overhang-risk -o risk.h5 --plot risk.png"

StudyPath = Annotated[
    Path,
    typer.Argument(
        metavar="STUDY", help="study.toml, or the name of a ready study.", show_default=False,
        autocompletion=ready.studies,
    ),
]  # fmt: skip
Output = Annotated[
    Path | None, typer.Option("-o", "--output", metavar="FILE", help="The cases, .h5; by default named as the study.")
]
Workers = Annotated[
    int | None, typer.Option("--workers", min=1, max=1024, help="Processes of this machine; all cores by default.")
]
Scheduler = Annotated[
    str | None, typer.Option("--scheduler", metavar="ADDRESS", help="A Dask scheduler, tcp://host:port.")
]
DryRun = Annotated[bool, typer.Option("--dry-run", help="Only say how many cases, how long and how large a file.")]


def command(
    study: StudyPath, manners: Manners, output: Output = None, workers: Workers = None,
    scheduler: Scheduler = None, dry_run: DryRun = False,
) -> None:  # fmt: skip
    """How does it depend on overhang, pitch, temperature, anything?

    Interrupted, killed or out of disk: give the same command again, and it goes on with what was complete.
    """
    from wearsim.study.plan import load_study

    plan = load_study(study)
    inputs.tell_compiling(manners.voice)
    path = output or Path(f"{plan.name}.h5")
    _reserve(manners, study, path)
    if dry_run:
        _forecast(plan, path, manners, workers)
        return
    result = _worked(plan, path, manners, workers, scheduler)
    _deliver(result, manners)
    if manners.plot is None:
        manners.voice.next("study", study, "-o", path, "--plot", path.with_suffix(".png"))
    else:
        manners.voice.next("propose", plan.about.bench)


def _reserve(manners: Manners, study: Path, path: Path) -> None:
    """Check the files to write; an output that is there already is looked at by the study itself."""
    manners.reserve({}, inputs=[study, path])
    replace(manners, force=True, plot=None).reserve({path: (".h5", ".hdf5")}, inputs=[study])


def _worked(plan: Study, path: Path, manners: Manners, workers: int | None, scheduler: str | None) -> StudyResult:
    from wearsim.study.run import run_study

    with case_bar(manners.quiet) as watch:
        return run_study(
            plan, path, workers=workers, scheduler=scheduler, seed=manners.seed, force=manners.force, watch=watch
        )


def _deliver(result: StudyResult, manners: Manners) -> None:
    from wearsim.show.study import study_figure, study_json, study_text

    manners.deliver(lambda: study_json(result), table=lambda: study_text(result), figure=lambda: study_figure(result))
    manners.voice.say(f"In {result.file}: all {result.cases} cases, for any reader of HDF5.")


def _forecast(plan: Study, path: Path, manners: Manners, workers: int | None) -> None:
    from wearsim.show.study import forecast_text
    from wearsim.study.forecast import forecast

    expected = forecast(plan, workers=workers, seed=manners.seed)
    manners.list_files([path], forecast_text(plan, expected), **expected.to_json())
