"""``wearsim compare``: tool on top or mirror on top?"""

from __future__ import annotations

from pathlib import Path

from wearsim.cli import inputs
from wearsim.cli.inputs import BenchPath, ProgrammePath
from wearsim.cli.messages import Voice
from wearsim.cli.options import DryRun, JsonOutput, Manners, Workers
from wearsim.cli.predict import Cells, Engine, EngineChoice, EngineDraws, settings_of

NAME = "compare"
EXAMPLE = "wearsim compare bench.toml --programme programme.toml --plot out.png"


def command(
    bench: BenchPath, programme: ProgrammePath, manners: Manners, engine: EngineChoice = Engine.radial,
    draws: EngineDraws = None, cells: Cells = None, output: JsonOutput = None,
    dry_run: DryRun = False, workers: Workers = None,
) -> None:  # fmt: skip
    """Tool on top or mirror on top, all else equal?

    Every stroke of the programme is worked with the tool on top, then with the mirror on top; pressings stay
    as they are written.
    """
    manners.reserve({output: (".json",)}, inputs=[bench, programme])
    voice = manners.voice
    settings = settings_of(engine, draws, cells, manners.seed)
    if dry_run:
        manners.list_files([_checked(bench, programme, engine, voice), output])
        return
    pieces = inputs.read_bench(bench, voice)
    work = inputs.read_programme(programme)
    from wearsim.decide.compare import compare
    from wearsim.show.comparison import comparison_figure, comparison_text

    inputs.tell_compiling(voice)
    with voice.bar("working the programme both ways") as told:
        both = compare(pieces, work, progress=told, **settings)
    inputs.tell_defaults(voice, pieces, work)
    manners.deliver(
        both.to_json,
        table=lambda: comparison_text(pieces, both),
        figure=lambda: comparison_figure(pieces, both),
        write=lambda: manners.write_json(both.to_json(), output),
    )
    inputs.tell_cautions(voice)
    voice.next("propose", bench, "--minutes", 60)


def _checked(bench: Path, programme: Path, engine: Engine, voice: Voice) -> Path | None:
    """All input checked for a dry run; what would be written into a mirror's folder."""
    from wearsim.decide.compare import check_either_way

    pieces, kept = inputs.check_bench(bench, voice)
    work = inputs.read_programme(programme)
    check_either_way(pieces, work)
    if engine is Engine.radial:
        inputs.check_round_laps(pieces, work)
    return kept
