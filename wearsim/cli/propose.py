"""``wearsim propose``: what stroke flattens this?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wearsim.cli import completion, inputs
from wearsim.cli.options import CARDS, Aim, BandDraws, BenchPath, Card, DryRun, Options, Workers
from wearsim.errors import CouldNotError, InputError

if TYPE_CHECKING:
    from wearsim.bench.bench import Bench
    from wearsim.cli.terminal import Messages
    from wearsim.decide.proposal import Proposal
    from wearsim.wear.expected_readings import ReadingsAfter

NAME = "propose"
EXAMPLE = "wearsim propose bench.toml -o programme.toml --card card.pdf"


class OnTopChoice(StrEnum):
    """Which piece may lie on top."""

    tool = "tool"
    mirror = "mirror"
    either = "either"


TOPS = {OnTopChoice.tool: ("tool",), OnTopChoice.mirror: ("mirror",), OnTopChoice.either: ("tool", "mirror")}
Minutes = Annotated[float, typer.Option("--minutes", help="Maximum minutes of work; pressing does not count.")]
Spells = Annotated[int, typer.Option("--spells", help="Maximum number of spells, each with its own stroke.")]
Shortest = Annotated[
    float | None,
    typer.Option("--shortest", help="Shortest spell, in minutes; by default 5, or less where that gains a great deal."),
]
EdgeLimit = Annotated[float, typer.Option("--edge-limit", help="Largest edge roll, in waves of surface height.")]
OnTopOption = Annotated[
    OnTopChoice | None,
    typer.Option(
        "--on-top", help="Which piece may be on top; by default either, but a mirror over 30 kg is never put on top."
    ),
]
Rate = Annotated[
    float | None, typer.Option("--rate", help="Strokes per minute; the default depends on the mirror's size.")
]


RepertoireOption = Annotated[
    str,
    typer.Option(
        "--repertoire", metavar="<common|any>", parser=inputs.parse_repertoire, autocompletion=completion.repertoires,
        help="common: strokes in common use only; any: whatever is mechanically possible.",
    ),
]  # fmt: skip
Sessions = Annotated[int, typer.Option("--sessions", min=1, max=9, help="Sessions to plan, with a test between them.")]
TimeLimit = Annotated[
    float | None, typer.Option("--time-limit", help="Seconds after which no further search is started.")
]
TradeOffOption = Annotated[
    bool,
    typer.Option(
        "--trade-off", help="Include in --json the results for fewer minutes and spells; --plot always shows them."
    ),
]
Output = Annotated[Path | None, typer.Option("-o", "--output", metavar="FILE", help="File for the programme: .toml.")]


def command(
    bench: BenchPath, options: Options, minutes: Minutes = 60.0, spells: Spells = 3, shortest: Shortest = None,
    edge_limit: EdgeLimit = 0.125, on_top: OnTopOption = None, rate: Rate = None,
    repertoire: RepertoireOption = "common", aim: Aim = 0.95, sessions: Sessions = 1,
    time_limit: TimeLimit = None, draws: BandDraws = 32, output: Output = None, card: Card = None,
    trade_off: TradeOffOption = False, dry_run: DryRun = False, workers: Workers = None,
) -> None:  # fmt: skip
    """What stroke flattens this?

    Finds the simplest programme of common strokes that does as well as the best one, allowing for all uncertainties. If
    nothing allowed is better than stopping, it says why. If you give a mirror's folder, the proposal is saved
    there for record --as-proposed.
    """
    options.reserve({output: (".toml",), card: CARDS}, inputs=[bench])
    messages = options.messages
    limits = inputs.parse_limits(
        minutes=minutes,
        spells=spells,
        shortest=shortest,
        edge_limit=edge_limit,
        on_top=None if on_top is None else TOPS[on_top],
        rate=rate,
        repertoire=repertoire,
    )
    if time_limit is not None and not time_limit > 0.0:
        raise InputError("out of range", key="--time-limit", value=time_limit, expected="more than 0 seconds")
    if dry_run:
        return options.list_files([inputs.check_inputs(bench), inputs.kept_proposal_file(bench), output, card])
    pieces, known = inputs.read_known(bench, messages)
    kept = inputs.kept_proposal_file(bench)
    from wearsim.decide.propose import propose
    from wearsim.show.expected_readings import expected_text
    from wearsim.show.proposal import proposal_figure, proposal_text
    from wearsim.wear.expected_readings import expected_after

    messages.compiling()
    drawn = {"seed": options.seed, "draws": draws, **known}
    with messages.searching() as progress:
        proposal = propose(
            pieces, limits=limits, sessions=sessions, time_limit=time_limit,
            with_trade_off=trade_off or options.plot is not None, aim=aim, progress=progress, **drawn,
        )  # fmt: skip
        after = expected_after(pieces, proposal.programme, proposal.outcome, for_card=card is not None, **drawn)
    messages.defaults(pieces, belief=inputs.learned(known))
    own = after if after is not None and after.is_own else None
    options.deliver(
        lambda: proposal.to_json() | ({"expected_readings": own.to_json()} if own else {}),
        table=lambda: proposal_text(pieces, proposal, expected_text(pieces, own) if own else ""),
        figure=lambda: proposal_figure(pieces, proposal),
        files=files_of(pieces, proposal, after, output, card) if proposal.programme.spells else {},
        write=lambda: _keep(kept, proposal, messages),
        warnings=proposal.outcome.warnings,
    )
    if not proposal.programme.spells:
        messages.nothing_to_write("nothing is proposed", output, card)
    messages.cautions()
    _name_next(messages, bench, proposal, output, card)


def files_of(
    bench: Bench, proposal: Proposal, after: ReadingsAfter | None, output: Path | None, card: Path | None
) -> dict[Path | None, Callable[[Path], object]]:  # fmt: skip
    """The programme and the card, as far as they are asked for, and what writes each."""
    files: dict[Path | None, Callable[[Path], object]] = {}
    if card is not None:
        from wearsim.show.card import card_bytes

        ending = card.suffix
        files[card] = lambda part: part.write_bytes(card_bytes(bench, proposal, after, ending))
    if output is not None:
        files[output] = lambda part: part.write_text(proposal.programme.text, encoding="utf-8")
    return files


def _keep(file: Path | None, proposal: Proposal, messages: Messages) -> None:
    """Keep the proposal in the mirror's folder; where that cannot be done it is said, and the answer is no worse."""
    if file is None:
        return
    from wearsim.learn.proposal_file import keep_proposal

    try:
        keep_proposal(file, proposal.programme)
    except CouldNotError as error:
        messages.warn(f"{error}: record --as-proposed will not know this proposal.")


def _name_next(messages: Messages, bench: Path, proposal: Proposal, output: Path | None, card: Path | None) -> None:
    if not proposal.programme.spells:
        files = [("-o", output), ("--card", card)]
        asked = [word for flag, file in files if file is not None for word in (flag, file)]
        _name_next_to_nothing(messages, bench, proposal, asked)
    elif card is not None and bench.is_dir():
        inputs.name_record(messages, bench, ("--as-proposed",), proposal.pressings)
    elif output is None:
        messages.next("propose", bench, "-o", "programme.toml", "--card", "card.pdf")
    else:
        messages.next("predict", bench, "--programme", output, "--plot", "out.png")


def _name_next_to_nothing(messages: Messages, bench: Path, proposal: Proposal, asked: Sequence[object] = ()) -> None:
    """Where nothing is proposed: stop, see to what is not round, allow more strokes for the files that were asked for, or
    test again."""
    from wearsim.decide.good_enough import AIM_REACHED

    if any(line.startswith("astigmatism:") for line in proposal.outcome.warnings):
        messages.next("predict", bench, "--programme", "programme.toml", "--engine", "planar")
    elif proposal.reason.startswith(AIM_REACHED):
        messages.info("Next: stop here; more work would risk more than it gains.")
    elif "--repertoire any" in proposal.reason:
        messages.next("propose", bench, "--minutes", f"{proposal.limits.minutes:g}", "--repertoire", "any", *asked)
    else:
        messages.info("Test the mirror again, with more repeats or more windows, before you decide.")
        _show_trial(messages, bench, proposal)


def _show_trial(messages: Messages, bench: Path, proposal: Proposal) -> None:
    """The short trial of the table of choices, where there is one, as a programme to save."""
    from wearsim.bench.programme import Programme
    from wearsim.bench.toml_io import dump_programme
    from wearsim.decide.choice import TRIAL

    for one in (one for one in proposal.choices if one.name == TRIAL):
        rate = proposal.limits.strokes_a_minute
        spells = tuple(spell.stroke.spell(spell.minutes, rate) for spell in one.candidate.plan)
        text = dump_programme(Programme(spells=spells)).strip()
        messages.info(f"Or carry out the short trial. Save it as trial.toml:\n\n{text}\n")
        messages.next("predict", bench, "--programme", "trial.toml", "--card", "card.pdf")
