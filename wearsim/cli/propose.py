"""``wearsim propose``: what stroke flattens this?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wearsim.cli import completion, inputs
from wearsim.cli.options import CARDS, COMMAND_LINE, Aim, BandDraws, BenchPath, Card, DryRun, Options, Workers
from wearsim.errors import CouldNotError, InputError

if TYPE_CHECKING:
    from wearsim.bench.bench import Bench
    from wearsim.cli.terminal import Messages
    from wearsim.decide.choice import Alternative
    from wearsim.decide.proposal import Proposal
    from wearsim.wear.expected_readings import ReadingsAfter

NAME = "propose"
EXAMPLE = "wearsim propose bench.toml -o programme.toml --card card.pdf"


class OnTopChoice(StrEnum):
    """Which piece may lie on top."""

    tool = "tool"
    mirror = "mirror"
    either = "either"


class ChoiceName(StrEnum):
    """A row of the table of choices."""

    best = "best"
    one_spell = "one-spell"
    tool_only = "tool-only"
    textbook = "textbook"
    trial = "trial"
    uncommon = "uncommon"


FILES = ("-o", "trial.toml", "--card", "card.pdf")
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
Choose = Annotated[
    ChoiceName | None,
    typer.Option("--choose", help="Row of the table of choices to take instead of the proposed programme."),
]
Output = Annotated[Path | None, typer.Option("-o", "--output", metavar="FILE", help="File for the programme: .toml.")]


def command(
    bench: BenchPath, options: Options, minutes: Minutes = 60.0, spells: Spells = 3, shortest: Shortest = None,
    edge_limit: EdgeLimit = 0.125, on_top: OnTopOption = None, rate: Rate = None,
    repertoire: RepertoireOption = "common", aim: Aim = 0.95, sessions: Sessions = 1,
    time_limit: TimeLimit = None, draws: BandDraws = 32, choose: Choose = None, output: Output = None, card: Card = None,
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
    from wearsim.decide.propose import propose, with_programme
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
        if choose is not None:
            proposal = with_programme(pieces, proposal, _chosen(proposal, choose), **drawn)
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
    _name_next(messages, bench, pieces, proposal, output, card)


def _chosen(proposal: Proposal, name: ChoiceName) -> Alternative:
    """The row of the table of choices with this name."""
    from wearsim.decide.choice import ANY_STROKE, BEST, HANDBOOK, ONE_SPELL, TOOL_ONLY, TRIAL

    rows = dict(zip(ChoiceName, (BEST, ONE_SPELL, TOOL_ONLY, HANDBOOK, TRIAL, ANY_STROKE), strict=True))
    there = {one.name: one for one in proposal.choices}
    if rows[name] not in there:
        names = [one.value for one in ChoiceName if rows[one] in there]
        expected = f"one of {', '.join(names)}" if names else "no --choose: there is nothing else to take"
        raise InputError("not in the table of choices this time", key="--choose", value=name.value, expected=expected)
    return there[rows[name]]


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
        files[output] = lambda part: part.write_text(_programme_file(bench, proposal), encoding="utf-8")
    return files


def _programme_file(bench: Bench, proposal: Proposal) -> str:
    """A proposed programme, and how its sizes are meant."""
    from wearsim.bench.units import length_unit

    text = proposal.programme.text
    length = length_unit(bench).short(0.25 * bench.mirror.diameter)
    return (
        f'# Sizes without a unit are fractions of the mirror\'s diameter; you may write "{length}" instead.\n\n{text}'
    )


def _keep(file: Path | None, proposal: Proposal, messages: Messages) -> None:
    """Keep the proposal in the mirror's folder; where that cannot be done it is said, and the answer is no worse."""
    if file is None:
        return
    from wearsim.learn.proposal_file import keep_proposal

    try:
        keep_proposal(file, proposal.programme)
    except CouldNotError as error:
        messages.warn(f"{error}: record --as-proposed will not know this proposal.")


def _name_next(
    messages: Messages, bench: Path, pieces: Bench, proposal: Proposal, output: Path | None, card: Path | None
) -> None:  # fmt: skip
    if not proposal.programme.spells:
        _name_next_to_nothing(messages, bench, pieces, proposal, () if output or card else FILES)
    elif card is not None and bench.is_dir():
        inputs.name_record(messages, bench, ("--as-proposed",), pieces, proposal.pressings)
    elif output is None:
        messages.next("propose", bench, "-o", "programme.toml", "--card", "card.pdf")
    else:
        messages.next("predict", bench, "--programme", output, "--plot", "out.png")


def _name_next_to_nothing(
    messages: Messages, bench: Path, pieces: Bench, proposal: Proposal, files: Sequence[str]
) -> None:  # fmt: skip
    """Where nothing is proposed: stop, see to what is not round, allow more strokes, test again, or take the trial."""
    from wearsim.decide.good_enough import AIM_REACHED

    if any(line.startswith("astigmatism:") for line in proposal.outcome.warnings):
        messages.next("predict", bench, "--programme", "programme.toml", "--engine", "planar")
    elif proposal.reason.startswith(AIM_REACHED):
        messages.info("Next: stop here; more work would risk more than it gains.")
    else:
        _name_what_is_left(messages, pieces, proposal, files)


def _name_what_is_left(messages: Messages, pieces: Bench, proposal: Proposal, files: Sequence[str]) -> None:
    """Less usual strokes, another test, and the short trial of the table of choices where there is one."""
    from wearsim.decide.choice import TRIAL
    from wearsim.decide.limits import COMMON
    from wearsim.decide.repertoire import common_words
    from wearsim.show.text import paragraph

    if proposal.limits.repertoire == COMMON:
        messages.info(paragraph(
            f"Only common strokes were allowed: here {common_words(pieces, proposal.limits)} (D: the mirror's diameter; "
            "full list: docs/theory/search.md). To allow every stroke that is mechanically possible:"
        ))  # fmt: skip
        messages.next(*COMMAND_LINE.get(), "--repertoire", "any")
    if "--repertoire any" not in proposal.reason:
        messages.info("Or test the mirror again, with more repeats or more windows, before you decide.")
    if any(one.name == TRIAL for one in proposal.choices):
        messages.info("Or carry out the short trial:")
        messages.next(*COMMAND_LINE.get(), "--choose", "trial", *files)
