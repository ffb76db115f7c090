"""``wearsim compare``: tool on top or mirror on top?"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from wearsim.cli import inputs
from wearsim.cli import options as dry
from wearsim.cli.inputs import BenchPath, ProgrammePath
from wearsim.cli.options import JsonOutput, Manners, Workers
from wearsim.cli.predict import Cells, Engine, EngineChoice, EngineDraws, settings_of

NAME = "compare"
EXAMPLE = "wearsim compare bench.toml --programme programme.toml --plot out.png"


def command(
    bench: BenchPath, programme: ProgrammePath, manners: Manners, engine: EngineChoice = Engine.radial,
    draws: EngineDraws = None, cells: Cells = None, output: JsonOutput = None,
    dry_run: dry.DryRun = False, workers: Workers = None,
) -> None:  # fmt: skip
    """Tool on top or mirror on top, all else equal?

    Every stroke of the programme is worked with the tool on top, then with the mirror on top; pressings stay
    as they are written.
    """
    manners.reserve({output: (".json",)}, inputs=[bench, programme])
    voice = manners.voice
    if dry_run:
        _tell_ahead(manners, bench, programme, settings_of(engine, draws, cells, manners.seed), output)
        return
    pieces = inputs.read_bench(bench)
    work = inputs.read_programme(programme)
    from wearsim.decide.compare import compare
    from wearsim.show.comparison import comparison_figure, comparison_text

    inputs.tell_compiling(voice)
    settings = settings_of(engine, draws, cells, manners.seed)
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


def _tell_ahead(manners: Manners, bench: Path, programme: Path, settings: dict[str, Any], output: Path | None) -> None:
    from wearsim.decide.ahead import compare_ahead

    inputs.tell_compiling(manners.voice)
    pieces, _, first = inputs.read_ahead(bench)
    work = inputs.read_programme(programme)
    dry.tell(manners, dry.after(first, compare_ahead(pieces, work, **settings)), [output])
