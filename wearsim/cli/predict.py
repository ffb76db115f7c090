"""``wearsim predict``: what will this do?"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from wearsim.cli import inputs
from wearsim.cli import options as shared
from wearsim.cli.options import PLOTS, BenchPath, DryRun, EngineChoice, Options, ProgrammePath, Workers

if TYPE_CHECKING:
    from wearsim.bench.bench import Bench
    from wearsim.bench.programme import Programme
    from wearsim.cli.terminal import Messages
    from wearsim.wear.expected_readings import ReadingsAfter
    from wearsim.wear.outcome import Outcome

NAME = "predict"
EXAMPLE = "wearsim predict bench.toml --programme programme.toml --plot out.png"

Output = Annotated[
    Path | None, typer.Option("-o", "--output", metavar="FILE", help="File for the whole result, with its inputs: .h5.")
]


def command(
    bench: BenchPath, programme: ProgrammePath, options: Options, engine: shared.EngineOption = EngineChoice.radial,
    draws: shared.EngineDraws = None, cells: shared.Cells = None, output: Output = None,
    card: shared.Card = None, shadows: shared.Shadows = None, dry_run: DryRun = False, workers: Workers = None,
) -> None:  # fmt: skip
    """What will this programme do to the figure?"""
    options.reserve({output: (".h5", ".hdf5"), card: shared.CARDS, shadows: PLOTS}, inputs=[bench, programme])
    messages = options.messages
    settings = inputs.engine_settings(engine, draws, cells, options.seed)
    if dry_run:
        return options.list_files([inputs.check_inputs(bench, programme, engine, draws=draws), output, card, shadows])
    pieces, known = inputs.read_known(bench, messages)
    work = inputs.stated_programme(programme, pieces)
    from wearsim.show.expected_readings import expected_text
    from wearsim.show.outcome import outcome_figure, outcome_text
    from wearsim.show.shadows import predicted_shadows
    from wearsim.wear.bench_risks import risks_json
    from wearsim.wear.expected_readings import expected_after
    from wearsim.wear.predict import predict, pressings_before

    messages.compiling()
    with inputs.named_by_flag({"draws": "--draws"}), messages.bar("predicting") as progress:
        outcome = predict(pieces, work, progress=progress, **settings, **known)
    drawn = {"seed": options.seed, "draws": 32 if draws is None else draws, **known}
    after = expected_after(pieces, work, outcome, for_card=card is not None, **drawn)
    own = after if after is not None and after.is_own else None
    messages.defaults(pieces, work, inputs.learned(known))
    messages.risks(pieces)

    filled = card if work.spells else None

    def write() -> None:
        if output is not None:
            from wearsim.wear.outcome_file import write_outcome  # HDF5, only where a file is asked for

            write_outcome(outcome, output, seed=options.seed, force=options.force)

    options.deliver(
        lambda: outcome.to_json() | risks_json(pieces) | ({"expected_readings": own.to_json()} if own else {}),
        table=lambda: "\n\n".join(
            [outcome_text(pieces, work, outcome, options.verbose), *([expected_text(pieces, own)] if own else [])]
        ),
        figure=lambda: outcome_figure(pieces, work, outcome),
        figures={shadows: lambda: predicted_shadows(pieces, _smooth(pieces, work, outcome, known))},
        files={filled: lambda part: part.write_bytes(_card(pieces, work, outcome, after, str(card), known))},
        write=write,
        warnings=outcome.warnings,
    )
    if filled is None:
        messages.nothing_to_write("the programme has no spells", card)
    _say_what_is_uncommon(messages, pieces, work, outcome)
    messages.cautions()
    if filled is None or not bench.is_dir():
        messages.next("compare", bench, "--programme", programme)
    else:
        pressings = pressings_before(pieces, work, **known)
        inputs.name_record(messages, bench, ("--programme", programme), pieces, pressings)


def _smooth(bench: Bench, programme: Programme, outcome: Outcome, known: dict[str, Any]) -> Outcome:
    """The outcome as shadows need it, which show slopes: without the rings that the radial engine's offsets leave."""
    from wearsim.wear.accuracy import SMOOTH
    from wearsim.wear.predict import predict

    return predict(bench, programme, draws=0, accuracy=SMOOTH, **known) if outcome.engine == "radial" else outcome


def _say_what_is_uncommon(messages: Messages, bench: Bench, programme: Programme, outcome: Outcome) -> None:
    """What ``propose`` would not have tried, and where the conic goes another way than is commonly said."""
    from wearsim.decide.repertoire import is_said_to_deepen, why_uncommon
    from wearsim.show.text import paragraph

    for number, spell in enumerate(programme.spells, start=1):
        if why := why_uncommon(spell, bench):
            messages.info(paragraph(
                f"Spell {number} is not among the common strokes (docs/theory/search.md): {why}. propose tries it only with "
                "--repertoire any."
            ))  # fmt: skip
    before, after = outcome.numbers_before.conic_fit, outcome.numbers.conic_fit
    if after > before > bench.mirror.conic and any(is_said_to_deepen(spell, bench) for spell in programme.spells):
        messages.info(paragraph(
            "The conic constant moves away from the target, although long strokes with the mirror on top are said to "
            "deepen it: here they do so from about 0.6 of the diameter on. Why, and how far that can be trusted: "
            "docs/validation.md, \"Mirror on top: 0.26 D leaves almost a sphere\"."
        ))  # fmt: skip


def _card(
    bench: Bench, programme: Programme, outcome: Outcome, after: ReadingsAfter | None, name: str, known: dict[str, Any]
) -> bytes:
    """The card of a programme of the person's own, in the kind of file that a name has."""
    from wearsim.show.card import PredictedWork, card_bytes
    from wearsim.wear.predict import pressings_before

    work = PredictedWork(programme, outcome, pressings_before(bench, programme, **known))
    return card_bytes(bench, work, after, Path(name).suffix)
