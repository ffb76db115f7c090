"""The same programme with the tool on top and with the mirror on top, all else equal."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from wearsim.bench.bench import Bench
from wearsim.bench.programme import Programme
from wearsim.errors import InputError
from wearsim.wear.engine_protocol import Progress
from wearsim.wear.outcome import Outcome
from wearsim.wear.predict import predict

OnTop = Literal["tool", "mirror"]


@dataclass(frozen=True)
class Side:
    """One of the two ways.

    Parameters
    ----------
    on_top : {"tool", "mirror"}
    programme : Programme
        With this piece on top.
    outcome : Outcome or None
        None where it cannot be done.
    refused : str
        Then why, in one line; empty otherwise.
    """

    on_top: OnTop
    programme: Programme
    outcome: Outcome | None
    refused: str = ""


@dataclass(frozen=True)
class Comparison:
    """Both ways of one programme.

    Parameters
    ----------
    tool, mirror : Side
        With the tool on top, with the mirror on top. At least one has an outcome.
    """

    tool: Side
    mirror: Side

    @property
    def sides(self) -> tuple[Side, Side]:
        """Both, the tool on top first."""
        return self.tool, self.mirror

    def to_json(self) -> dict[str, Any]:
        """One object: ``tool`` and ``mirror`` as the JSON of ``predict``, or null with the reason beside it.

        Returns
        -------
        dict
            Units in the names of the keys.
        """
        result: dict[str, Any] = {}
        for side in self.sides:
            result[side.on_top] = None if side.outcome is None else side.outcome.to_json()
            if side.refused:
                result[f"{side.on_top}_refused"] = side.refused
        return result


def with_on_top(programme: Programme, on_top: OnTop) -> Programme:
    """The programme with one piece on top in every stroke; pressings stay as they are."""
    spells = tuple(
        spell if spell.is_press else spell.model_copy(update={"on_top": on_top}) for spell in programme.spells
    )
    return programme.model_copy(update={"spells": spells, "text": ""})


def check_either_way(bench: Bench, programme: Programme) -> None:
    """Refuse a programme that can be done neither with the tool on top nor with the mirror on top.

    Raises
    ------
    InputError
        As for the tool on top.
    """
    try:
        with_on_top(programme, "tool").check_on(bench)
    except InputError as error:
        try:
            with_on_top(programme, "mirror").check_on(bench)
        except InputError:
            raise error from None


def compare(bench: Bench, programme: Programme, *, progress: Progress | None = None, **options: Any) -> Comparison:
    """Work a programme with the tool on top and with the mirror on top.

    Every stroke gets the one piece on top, then the other; pressings keep theirs. Both are worked with the same
    draws of the constants, so that what differs is the piece on top alone.

    Parameters
    ----------
    bench : Bench
    programme : Programme
    progress : callable, optional
        Called now and then with the share of the work done.
    **options
        Of :func:`wearsim.wear.predict.predict`.

    Returns
    -------
    Comparison

    Raises
    ------
    InputError
        Where neither way can be done.
    """
    tool = _side(bench, programme, "tool", {**options, "progress": _half(progress, 0)})
    mirror = _side(bench, programme, "mirror", {**options, "progress": _half(progress, 1)})
    if isinstance(tool, InputError) and isinstance(mirror, InputError):
        raise tool
    return Comparison(_side_or_refusal(tool, programme, "tool"), _side_or_refusal(mirror, programme, "mirror"))


def _half(progress: Progress | None, number: int) -> Progress | None:
    """Progress of one of the two ways, as a share of both."""
    return None if progress is None else lambda share: progress(0.5 * (number + share))


def _side(bench: Bench, programme: Programme, on_top: OnTop, options: dict[str, Any]) -> Side | InputError:
    turned = with_on_top(programme, on_top)
    try:
        outcome = predict(bench, turned.check_on(bench), **options)
    except InputError as error:
        return error
    return Side(on_top, turned, outcome)


def _side_or_refusal(side: Side | InputError, programme: Programme, on_top: OnTop) -> Side:
    if isinstance(side, Side):
        return side
    return Side(on_top, with_on_top(programme, on_top), None, f"{side.key}: {side.message}")
