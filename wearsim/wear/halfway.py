"""The readings to expect halfway through a long spell: a check before it has gone too far (physics section 8)."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.programme import Programme, Spell
from wearsim.wear.accuracy import DEFAULT, Accuracy
from wearsim.wear.constants import Belief, prior
from wearsim.wear.predict import BAND_DRAWS, spread_over
from wearsim.wear.readings_after import ReadingsAfter, errors_at, read_of
from wearsim.wear.start import StartFigure, start_figure
from wearsim.wear.state import State

# A spell longer than this is worth a look halfway [min]. A judgement.
LONG_SPELL = 20.0


def is_long(spell: Spell) -> bool:
    """Whether a spell is worth a look halfway."""
    return not spell.is_press and spell.minutes > LONG_SPELL


def halved(programme: Programme) -> tuple[Programme, dict[int, int]]:
    """A programme as far as the middle of its last long spell, every long one in two halves.

    Splitting a spell changes nothing (physics section 6): the state between the halves is the one to look at.

    Parameters
    ----------
    programme : Programme

    Returns
    -------
    Programme
        Empty where no spell is long.
    dict of int to int
        Number of a long spell, from 1, to how many spells of the new programme lead to its middle.
    """
    spells: list[Spell] = []
    middles: dict[int, int] = {}
    for number, spell in enumerate(programme.spells, start=1):
        if is_long(spell):
            spells.append(spell.model_copy(update={"minutes": 0.5 * spell.minutes}))
            middles[number] = len(spells)
            spells.append(spells[-1].model_copy(update={"turn": 0.0}))
        else:
            spells.append(spell)
    last = max(middles.values(), default=0)
    return Programme(spells=tuple(spells[:last]), file=programme.file), middles


def with_halfway(
    found: ReadingsAfter, bench: Bench, programme: Programme, *, seed: int = 0, draws: int = BAND_DRAWS,
    belief: Belief | None = None, start: StartFigure | None = None, laps: State | None = None,
    accuracy: Accuracy = DEFAULT,
) -> ReadingsAfter:  # fmt: skip
    """The same readings, with those to expect halfway through every long spell.

    Parameters
    ----------
    found : ReadingsAfter
        After the programme.
    bench : Bench
    programme : Programme
    seed, draws : int
        Of the draws of the constants and of the measured glass, as for the band.
    belief, start, laps : optional
        As for :func:`wearsim.wear.predict.predict`.
    accuracy : Accuracy
    """
    part, middles = halved(programme)
    if not middles:
        return found
    belief = prior(bench) if belief is None else belief
    start = start_figure(bench, accuracy) if start is None else start
    one = errors_at(bench, part, tuple(middles.values()), start, laps, accuracy)
    likely = one(start.height, belief.best())
    if likely is None:
        return found
    drawn = spread_over(one, start.draws(draws, seed + 1), belief.draws(draws, seed)) if draws else []
    kept = [errors for errors in drawn if errors is not None]
    halfway = {
        number: read_of(
            bench, found.sheet, start.radius, likely[row], np.array([errors[row] for errors in kept])
        )
        for row, number in enumerate(middles)
    }
    return replace(found, halfway=MappingProxyType(halfway))
