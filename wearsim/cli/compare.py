"""``wearsim compare``: tool on top or mirror on top?"""

from __future__ import annotations

from wearsim.cli import inputs
from wearsim.cli import options as shared
from wearsim.cli.options import BenchPath, DryRun, EngineChoice, JsonOutput, Options, ProgrammePath, Workers

NAME = "compare"
EXAMPLE = "wearsim compare bench.toml --programme programme.toml --plot out.png"


def command(
    bench: BenchPath, programme: ProgrammePath, options: Options, engine: shared.EngineOption = EngineChoice.radial,
    draws: shared.EngineDraws = None, cells: shared.Cells = None, output: JsonOutput = None,
    dry_run: DryRun = False, workers: Workers = None,
) -> None:  # fmt: skip
    """Tool on top or mirror on top, all else equal?

    Every stroke of the programme is predicted with the tool on top, then with the mirror on top; pressings
    stay as they are written.
    """
    options.reserve({output: (".json",)}, inputs=[bench, programme])
    messages = options.messages
    settings = inputs.engine_settings(engine, draws, cells, options.seed)
    if dry_run:
        return options.list_files([inputs.check_inputs(bench, programme, engine, either_way=True, draws=draws), output])
    pieces, known = inputs.read_known(bench, messages)
    work = inputs.stated_programme(programme)
    from wearsim.decide.compare import compare
    from wearsim.show.comparison import comparison_figure, comparison_text

    messages.compiling()
    with inputs.named_by_flag({"draws": "--draws"}), messages.bar("predicting both ways") as progress:
        both = compare(pieces, work, progress=progress, **settings, **known)
    messages.defaults(pieces, work)
    options.deliver(
        both.to_json,
        table=lambda: comparison_text(pieces, both),
        figure=lambda: comparison_figure(pieces, both),
        json_file=output,
    )
    messages.cautions()
    messages.next("propose", bench, "--minutes", 60)
