"""``wearsim propose``: what stroke flattens this?"""

from __future__ import annotations

from contextlib import ExitStack
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from wearsim.cli import inputs
from wearsim.cli.inputs import BenchPath
from wearsim.cli.options import DryRun, Manners, Workers
from wearsim.cli.predict import Draws
from wearsim.errors import InputError

if TYPE_CHECKING:
    from wearsim.bench.bench import Bench
    from wearsim.cli.messages import Voice
    from wearsim.decide.limits import Limits
    from wearsim.decide.proposal import Proposal
    from wearsim.wear.expected_readings import ReadingsAfter

NAME = "propose"
EXAMPLE = "wearsim propose bench.toml -o programme.toml --card card.pdf"
CARDS = (".pdf", ".html")


class OnTop(StrEnum):
    """Which piece may lie on top."""

    tool = "tool"
    mirror = "mirror"
    either = "either"


Minutes = Annotated[float, typer.Option("--minutes", help="Work at most, pressing not counted.")]
Spells = Annotated[int, typer.Option("--spells", help="Different strokes at most.")]
Shortest = Annotated[float, typer.Option("--shortest", help="Shortest spell, in minutes.")]
EdgeLimit = Annotated[float, typer.Option("--edge-limit", help="Edge roll at most, in waves of surface height.")]
OnTopChoice = Annotated[OnTop, typer.Option("--on-top", help="Which piece may lie on top.")]
Rate = Annotated[float, typer.Option("--rate", help="Strokes a minute.")]
Sessions = Annotated[int, typer.Option("--sessions", min=1, max=9, help="Sessions to plan, with a test between them.")]
TimeLimit = Annotated[
    float | None, typer.Option("--time-limit", help="Seconds after which nothing new is looked into.")
]
TradeOff = Annotated[
    bool, typer.Option("--trade-off", help="For --json: what fewer minutes and spells buy; --plot shows it anyway.")
]
Output = Annotated[
    Path | None, typer.Option("-o", "--output", metavar="FILE", help="The programme, for predict: .toml.")
]
Card = Annotated[Path | None, typer.Option("--card", metavar="FILE", help="The bench card, to print: .pdf or .html.")]


def command(
    bench: BenchPath, manners: Manners, minutes: Minutes = 60.0, spells: Spells = 3, shortest: Shortest = 2.0,
    edge_limit: EdgeLimit = 0.125, on_top: OnTopChoice = OnTop.either, rate: Rate = 50.0, sessions: Sessions = 1,
    time_limit: TimeLimit = None, draws: Draws = 32, output: Output = None, card: Card = None,
    trade_off: TradeOff = False, dry_run: DryRun = False, workers: Workers = None,
) -> None:  # fmt: skip
    """What stroke flattens this?

    The programme of strokes that is predicted to better the figure most, all that is uncertain considered; or
    none, and why, where nothing allowed is better than stopping.
    """
    manners.reserve({output: (".toml",), card: CARDS}, inputs=[bench])
    voice = manners.voice
    limits = _limits(minutes, spells, shortest, edge_limit, on_top, rate)
    trade_off = trade_off or manners.plot is not None
    if time_limit is not None and not time_limit > 0.0:
        raise InputError("out of range", key="--time-limit", value=time_limit, expected="more than 0 seconds")
    if dry_run:
        pieces, kept = inputs.check_bench(bench, manners.voice)
        inputs.check_round_laps(pieces)
        manners.list_files([kept, output, card])
        return
    pieces, known = inputs.read_known(bench, manners.voice)
    from wearsim.decide.propose import propose
    from wearsim.show.expected_readings import expected_text
    from wearsim.show.proposal import proposal_figure, proposal_text

    inputs.tell_compiling(voice)
    with voice.progress() as tell:
        proposal = propose(
            pieces, limits=limits, sessions=sessions, time_limit=time_limit, seed=manners.seed, draws=draws,
            with_trade_off=trade_off, progress=tell, **known,
        )  # fmt: skip
        after = _readings(pieces, known, proposal, manners.seed, draws, for_card=card is not None)
    inputs.tell_defaults(voice, pieces)
    if manners.json:
        for warning in proposal.outcome.warnings:
            voice.warn(warning)
    own = after if after is not None and after.is_own else None
    manners.deliver(
        lambda: proposal.to_json() | ({"expected_readings": own.to_json()} if own else {}),
        table=lambda: proposal_text(pieces, proposal, expected_text(pieces, own) if own else ""),
        figure=lambda: proposal_figure(pieces, proposal),
        write=lambda: _write(manners, pieces, known, proposal, after, output, card),
    )
    inputs.tell_cautions(voice)
    _tell_next(voice, bench, proposal, output)


def _limits(minutes: float, spells: int, shortest: float, edge_limit: float, on_top: OnTop, rate: float) -> Limits:
    pieces = ("tool", "mirror") if on_top is OnTop.either else (on_top.value,)
    return inputs.read_limits(
        minutes=minutes, spells=spells, shortest=shortest, edge_limit=edge_limit, on_top=pieces, rate=rate
    )


def _readings(
    bench: Bench, known: dict[str, Any], proposal: Proposal, seed: int, draws: int, *, for_card: bool
) -> ReadingsAfter | None:
    """The readings to expect, in the bench's own zones; for a card also in usual ones, or halfway through a spell."""
    from wearsim.wear.expected_readings import drawn_figures, readings_after, usual_sheet, with_halfway
    from wearsim.wear.initial_figure import own_sheet

    own = own_sheet(bench)
    sheet = own if own is not None or not for_card else usual_sheet(bench)
    if sheet is None or not proposal.programme.spells:
        return None
    drawn = drawn_figures(bench, proposal.programme, seed=seed, draws=draws, **known) if draws else None
    after = readings_after(bench, proposal.outcome, sheet, drawn, is_own=own is not None)
    if not for_card or own is None:
        return after
    return with_halfway(after, bench, proposal.programme, seed=seed, draws=draws, **known)


def _write(
    manners: Manners, bench: Bench, known: dict[str, Any], proposal: Proposal, after: ReadingsAfter | None,
    output: Path | None, card: Path | None,
) -> None:  # fmt: skip
    """The programme and the card, both or neither."""
    from wearsim.wear.hdf5 import whole_file

    with ExitStack() as files:
        if card is not None:
            from wearsim.show.card import card_bytes

            part = files.enter_context(whole_file(card, force=manners.force))
            as_left = known.get("laps") is not None
            part.write_bytes(card_bytes(bench, proposal, after, card.suffix, as_left=as_left))
        if output is not None:
            part = files.enter_context(whole_file(output, force=manners.force))
            part.write_text(proposal.programme.text, encoding="utf-8")


def _tell_next(voice: Voice, bench: Path, proposal: Proposal, output: Path | None) -> None:
    if not proposal.programme.spells:
        voice.next("mask", bench)
    elif output is None:
        voice.next("propose", bench, "-o", "programme.toml", "--card", "card.pdf")
    else:
        voice.next("predict", bench, "--programme", output, "--plot", "out.png")
