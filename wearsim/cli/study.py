"""``wearsim study``: how does the result depend on ...?"""

from __future__ import annotations

from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wearsim.cli import completion, inputs
from wearsim.cli.options import Options, Workers
from wearsim.errors import InputError

if TYPE_CHECKING:
    from wearsim.cli.terminal import Messages
    from wearsim.study.plan import Study
    from wearsim.study.study_file import StudyResult

NAME = "study"
EXAMPLE = "wearsim study overhang-risk -o risk.h5 --plot risk.png"


class QuestionChoice(StrEnum):
    """The standard questions, by the names in :data:`wearsim.study.questions.QUESTIONS`."""

    overhang = "overhang"
    on_top = "on-top"
    pitch = "pitch"


StudyPath = Annotated[
    Path,
    typer.Argument(
        metavar="STUDY", show_default=False,
        help="study.toml, or the name of a ready-made study; with --question a bench or a mirror's folder.",
        autocompletion=completion.studies,
    ),
]  # fmt: skip
Output = Annotated[
    Path | None,
    typer.Option("-o", "--output", metavar="FILE", help="File for the cases: .h5; by default named after the study."),
]
Scheduler = Annotated[
    str | None, typer.Option("--scheduler", metavar="ADDRESS", help="A Dask scheduler, tcp://host:port.")
]
QuestionOption = Annotated[
    QuestionChoice | None,
    typer.Option("--question", help="Answer a standard question for your bench; no study file needed."),
]
StudyDryRun = Annotated[
    bool, typer.Option("--dry-run", help="Print only the number of cases, the time and the size of the file.")
]


def command(
    study: StudyPath, options: Options, question: QuestionOption = None, output: Output = None,
    workers: Workers = None, scheduler: Scheduler = None, dry_run: StudyDryRun = False,
) -> None:  # fmt: skip
    """How does the result depend on overhang, pitch or temperature?

    After an interruption or a full disk, repeat the same command; it continues from the cases already
    finished.
    """
    from wearsim.show.study import forecast_text, study_figure, study_json, study_text
    from wearsim.study.forecast import forecast
    from wearsim.study.run import run_study

    messages = options.messages
    plan, name = _plan(study, question, messages)
    messages.compiling()
    path = output or Path(f"{name}.h5")
    options.reserve({}, inputs=[None if study.is_dir() else study, path])
    # an output that is there already is looked at by the study itself
    replace(options, force=True, plot=None).reserve(
        {path: (".h5", ".hdf5")}, inputs=[None if study.is_dir() else study]
    )
    if dry_run:
        expected = forecast(plan, workers=workers, seed=options.seed)
        return options.list_files([path], forecast_text(plan, expected), **expected.to_json())
    with messages.case_bar() as progress:
        result = run_study(
            plan, path, workers=workers, scheduler=scheduler, seed=options.seed, force=options.force, progress=progress
        )
    if question is None:
        options.deliver(
            lambda: study_json(result), table=lambda: study_text(result), figure=lambda: study_figure(result)
        )
    else:
        _deliver_answer(plan, question, result, options)
    messages.info(f"All {result.cases} cases are in {result.file}, an HDF5 file.")
    if options.plot is None:
        asked = [] if question is None else ["--question", question.value]
        messages.next("study", study, *asked, "-o", path, "--plot", path.with_suffix(".png"))
    else:
        messages.next("propose", plan.about.bench)


def _plan(study: Path, question: QuestionChoice | None, messages: Messages) -> tuple[Study, str]:
    """The study of a file, or of a question to a bench; and the name of its output, without its ending."""
    from wearsim.study.plan import load_study
    from wearsim.study.questions import study_of

    if question is not None:
        bench = inputs.read_bench(study, messages)
        return study_of(question.value, bench, study), f"{study.resolve().stem}-{question.value}"
    if study.is_dir():
        raise InputError(
            "this is a folder, not a study",
            file=study,
            expected="a study file, or --question overhang, on-top or pitch",
        )
    plan = load_study(study)
    return plan, plan.name


def _deliver_answer(plan: Study, question: QuestionChoice, result: StudyResult, options: Options) -> None:
    from wearsim.show.answers import answer_figure, answer_text
    from wearsim.study.questions import answer_of

    answer = answer_of(question.value, plan, result)
    options.deliver(
        lambda: {"file": str(result.file), **answer.to_json()},
        table=lambda: answer_text(plan.bench, answer, result),
        figure=lambda: answer_figure(plan.bench, answer, result),
    )
